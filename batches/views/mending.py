"""Corrections of the alkali, and losses: what was not in the formula."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse

from batches.forms.mending import AmendLossForm, CorrectForm, LossForm
from batches.forms.papers import ask_when
from batches.models import Loss
from batches.services import cooking, losses, sources
from batches.views import papers
from batches.views.batches import batch_by_number, page_of
from batches.views.keeping import Keeping
from producer.forms.base import ReasonForm
from producer.models import Material, RawLot, Right
from producer.templatetags.kettlebook import mass
from producer.views import acts
from producer.views.acts import needs, user_of


@needs(Right.MAKER)
def correct(request: HttpRequest, number: str, code: str) -> HttpResponse:
    """Weigh in a correction of a lot that no line of the formula asks for."""
    found = batch_by_number(number)
    lot = get_object_or_404(RawLot.objects.listed(), stock__code=code.upper())
    if not sources.corrects(lot.material):
        raise Http404
    sheet = papers.sheet_of(request, found)
    form = CorrectForm(request.POST or None, lot=lot)
    ask_when(form, sheet)
    return acts.handle(
        request,
        form,
        do=lambda facts, submission: cooking.correct(
            by=user_of(request),
            batch=found,
            source=lot.stock,
            submission=submission,
            **papers.charged_from(facts, sheet),
        ),
        then=lambda _: papers.home_of(found, sheet),
        said=(
            "The correction is recorded. What was measured before it no longer counts:"
            " cook on, then test again."
        ),
        home=reverse("quality:correction", args=[found.number]),
        title=f"Correct {found.number} with {lot.material}",
        submit="Record this correction",
        template="batches/correct.html",
        kept=Keeping(
            request,
            found,
            "correction",
            title=f"Correct with {lot.material}",
            source=lot.stock,
        ),
        context={
            "keep_as": lot.material,
            "batch": found,
            "lot": lot,
            "is_potash": lot.material.kind == Material.Kind.POTASH,
            **papers.band(found, sheet),
        },
    )


@needs(Right.MAKER)
def loss(request: HttpRequest, number: str) -> HttpResponse:
    """Record what left the batch other than as its product."""
    found = batch_by_number(number)
    sheet = papers.sheet_of(request, found)
    form = LossForm(request.POST or None)
    ask_when(form, sheet)
    return acts.handle(
        request,
        form,
        do=lambda facts, submission: losses.record_loss(
            by=user_of(request),
            batch=found,
            transcription=sheet,
            submission=submission,
            **facts,
        ),
        then=lambda _: papers.home_of(found, sheet),
        said="The loss is recorded.",
        home=papers.home_of(found, sheet),
        title=f"{found.number}: record a loss",
        kept=Keeping(request, found, "loss", title="Record a loss"),
        context={
            "lead": "What left the pot before the yield was weighed. Evaporation only"
            " if the pot was weighed before and after; else leave it out.",
            **papers.band(found, sheet),
        },
    )


@needs(Right.MAKER)
def loss_amend(request: HttpRequest, number: str, pk: int) -> HttpResponse:
    """Correct a loss."""
    found = batch_by_number(number)
    row = get_object_or_404(Loss, batch=found, pk=pk)
    return acts.handle(
        request,
        AmendLossForm(request.POST or None),
        do=lambda facts, submission: losses.amend_loss(
            by=user_of(request), loss=row, submission=submission, **facts
        ),
        then=lambda _: page_of(found),
        said="The correction is recorded; the old value stays legible.",
        home=page_of(found),
        title="Correct a loss",
        submit="Record the correction",
        context={"facts": _was(row)},
    )


@needs(Right.MAKER)
def loss_void(request: HttpRequest, number: str, pk: int) -> HttpResponse:
    """Take a loss back."""
    found = batch_by_number(number)
    row = get_object_or_404(Loss, batch=found, pk=pk)
    return acts.handle(
        request,
        ReasonForm(request.POST or None),
        do=lambda facts, submission: losses.amend_loss(
            by=user_of(request), loss=row, void=True, submission=submission, **facts
        ),
        then=lambda _: page_of(found),
        said="The loss is taken back; it stays legible.",
        home=page_of(found),
        title="Take a loss back",
        submit="Take it back",
        context={"facts": _was(row), "danger": True},
    )


def _was(row: Loss) -> list[tuple[str, str]]:
    return [
        ("Where it went", row.get_kind_display()),
        ("How much it was", mass(row.mass_mg)),
        ("±", mass(row.half_width_mg)),
    ]
