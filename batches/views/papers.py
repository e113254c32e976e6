"""Enter from paper: take a sheet up, copy its lines, be done with it."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse

from batches.forms.papers import PaperForm
from batches.models import Batch, Transcription
from batches.services import planning, transcribing
from batches.services.cooking.how import PLAIN, How
from batches.views.batches import batch_by_number, page_of
from producer.models import Right
from producer.views import acts
from producer.views.acts import needs, read_only, user_of

FROM = "paper"  # the parameter of an address that says which sheet is copied from


def sheet_of(request: HttpRequest, batch: Batch) -> Transcription | None:
    """Return the sheet that this page is filled in from, or answer 404."""
    key = request.GET.get(FROM, "")
    if not key:
        return None
    return get_object_or_404(
        Transcription.objects.select_related("attachment"),
        batch=batch,
        pk=key if key.isascii() and key.isdigit() and len(key) < 10 else 0,  # noqa: PLR2004
    )


def home_of(batch: Batch, sheet: Transcription | None) -> str:
    """Return where to go from an entry: back to the sheet, else to the batch."""
    if sheet is None:
        return page_of(batch)
    return reverse("batches:paper_sheet", args=[batch.number, sheet.pk])


def band(batch: Batch, sheet: Transcription | None) -> dict[str, Any]:
    """Return what a page shows at its head while it is filled in from a sheet."""
    if sheet is None:
        return {}
    return {
        "from_paper": sheet,
        "paper_home": home_of(batch, sheet),
        "paper_done": page_of(batch),
    }


def charged_from(
    facts: Mapping[str, Any], sheet: Transcription | None
) -> Mapping[str, Any]:
    """Return what a charge takes, with the sheet it is copied from, if any."""
    if sheet is None:
        return facts
    how: How = facts.get("how", PLAIN)
    return {**facts, "how": dataclasses.replace(how, transcription=sheet)}


@needs(Right.MAKER)
def paper(request: HttpRequest, number: str) -> HttpResponse:
    """Take a sheet up that was written at the pot."""
    found = batch_by_number(number)
    return acts.handle(
        request,
        PaperForm(request.POST or None, request.FILES or None),
        do=lambda facts, submission: transcribing.begin(
            by=user_of(request), batch=found, submission=submission, **facts
        ),
        then=lambda sheet: home_of(found, sheet),
        said="Now copy it line by line. Every entry will say that it was on paper.",
        home=page_of(found),
        title=f"{found.number}: enter from paper",
        submit="Begin copying",
        template="batches/paper.html",
        context={
            "batch": found,
            "sheets": found.transcriptions.select_related(
                "attachment", "entered_by__person"
            ),
        },
    )


@read_only
def paper_sheet(request: HttpRequest, number: str, pk: int) -> HttpResponse:
    """Show what there is to copy from a sheet, and what was copied already."""
    found = batch_by_number(number)
    sheet = get_object_or_404(
        Transcription.objects.select_related("attachment", "entered_by__person"),
        batch=found,
        pk=pk,
    )
    return render(
        request,
        "batches/paper_sheet.html",
        {
            "batch": found,
            "sheet": sheet,
            "plan": planning.plan_of(found),
            "copied": _copied(sheet),
            **band(found, sheet),
        },
    )


def _copied(sheet: Transcription) -> list[tuple[str, int]]:
    """Return how many entries of each kind were copied from a sheet, void ones too."""
    kinds = {
        "hold points": sheet.hold_points,
        "charges": sheet.charges,
        "readings": sheet.readings,
        "weighings of the yield": sheet.bulk_weighings,
        "losses": sheet.losses,
        "weighings begun": sheet.weighing_starts,
    }
    counted = [(name, rows.count()) for name, rows in kinds.items()]
    return [(name, count) for name, count in counted if count]
