"""Samples that are kept: looked at on their day, and a look put right."""

from __future__ import annotations

import datetime

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.utils import timezone

from batches.forms.filling import AmendSampleLookForm, SampleLookForm
from batches.models import FillingLot, RetainedSample, SampleLook
from batches.services import samples
from batches.views.bottles import filling_lot_by_code, page_of
from producer.codes import grouped
from producer.forms.base import ReasonForm
from producer.models import Right
from producer.templatetags.kettlebook import day, mass, moment
from producer.views import acts
from producer.views.acts import Mind, needs, user_of


@needs(Right.MAKER, Right.REVIEWER)
def sample_look(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    """Record that a sample was looked at."""
    lot = filling_lot_by_code(code)
    rows = RetainedSample.objects.listed()
    found = get_object_or_404(rows, filling_lot=lot, pk=pk)
    return acts.handle(
        request,
        SampleLookForm(
            request.POST or None, initial={"look_on": _still_to_come(found)}
        ),
        do=lambda facts, submission: samples.look(
            by=user_of(request), sample=found, submission=submission, **facts
        ),
        then=lambda _: page_of(lot),
        said=said_of,
        home=page_of(lot),
        title=f"Look at a sample of {lot.code}",
        context={
            "lead": (
                f"{_name(found)}, {found.place.name}, kept since"
                f" {moment(found.observed_at)}."
            ),
            "cautions": ["product"],
        },
    )


@needs(Right.MAKER, Right.REVIEWER)
def sample_look_amend(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    """Correct what was recorded of a look."""
    lot, row = _look(code, pk)
    given = {"state": row.state, "found": row.found, "look_on": row.look_on}
    return acts.handle(
        request,
        AmendSampleLookForm(request.POST or None, initial=given),
        do=lambda facts, submission: samples.amend_look(
            by=user_of(request), row=row, submission=submission, **facts
        ),
        then=lambda _: page_of(lot),
        said=said_of,
        home=page_of(lot),
        title=f"Correct the look of {_day(row)}",
        context={"lead": f"{_name(row.sample)} of {lot.code}."},
    )


@needs(Right.MAKER, Right.REVIEWER)
def sample_look_void(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    """Take a look back."""
    lot, row = _look(code, pk)
    return acts.handle(
        request,
        ReasonForm(request.POST or None),
        do=lambda facts, submission: samples.amend_look(
            by=user_of(request), row=row, void=True, submission=submission, **facts
        ),
        then=lambda _: page_of(lot),
        said="It is taken back.",
        home=page_of(lot),
        title=f"Take back the look of {_day(row)}",
        submit="Take it back",
        context={"lead": f"{_name(row.sample)} of {lot.code}: {row.found}"},
    )


def said_of(row: SampleLook) -> str:
    """Say that it is recorded; a warning where it changed, with what to do."""
    if row.state == SampleLook.State.CHANGED:
        return Mind(
            "It is recorded. The bottles of this lot may have changed as well: open a"
            " deviation, and put those that are here on hold until it is decided."
        )
    if row.look_on is None:
        return "It is recorded. Nobody is reminded of this sample any more."
    return f"It is recorded. “Today” reminds of it on {day(row.look_on)}."


def _still_to_come(sample: RetainedSample) -> datetime.date | None:
    """Return the day that is set to look again, so that a look between keeps it."""
    on: datetime.date | None = getattr(sample, "next_look", None)
    return on if on is not None and on > timezone.localdate() else None


def _day(row: SampleLook) -> str:
    return day(timezone.localtime(row.observed_at).date())


def _name(sample: RetainedSample) -> str:
    if sample.bottle is not None:
        return f"Bottle {grouped(sample.bottle.code)}"
    return f"Jar of {mass(sample.mass_mg or 0)}"


def _look(code: str, pk: int) -> tuple[FillingLot, SampleLook]:
    lot = filling_lot_by_code(code)
    rows = SampleLook.objects.select_related("sample__bottle", "sample__filling_lot")
    return lot, get_object_or_404(rows, sample__filling_lot=lot, pk=pk)
