"""Hardness and density of a liquid: recorded, corrected, taken back."""

from __future__ import annotations

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404

from batches.forms.liquids import FORMS
from batches.models import Batch, LiquidReading
from batches.services import liquid_readings
from batches.services.density import is_at_twenty
from batches.views.batches import batch_by_number, page_of
from producer.forms.base import ReasonForm
from producer.models import Right
from producer.templatetags.kettlebook import number as number_words
from producer.views import acts
from producer.views.acts import needs, user_of

LEADS = {
    "hardness": "Of the water that goes in. Lime in it takes up soap: distilled water"
    " has none.",
    "density": "Of the finished liquid, cooled to 20 °C: bottles are filled by it.",
}


@needs(Right.MAKER)
def liquid_read(request: HttpRequest, number: str, kind: str) -> HttpResponse:
    """Record the hardness of the water, or the density, of a liquid."""
    found = batch_by_number(number)
    form_class = FORMS.get(kind)
    if form_class is None:
        raise Http404
    what = LiquidReading.Kind(kind).label
    return acts.handle(
        request,
        form_class(request.POST or None),
        do=lambda facts, submission: liquid_readings.record(
            by=user_of(request), batch=found, kind=kind, submission=submission, **facts
        ),
        then=lambda _: page_of(found),
        said=_said,
        home=page_of(found),
        title=f"{found.number}: {what}",
        submit="Record it",
        context={"lead": LEADS[kind]},
    )


@needs(Right.MAKER)
def liquid_amend(request: HttpRequest, number: str, pk: int) -> HttpResponse:
    """Correct a hardness or a density."""
    found = batch_by_number(number)
    row = _reading(found, pk)
    form = FORMS[row.kind](request.POST or None, correcting=True, initial=_initial(row))
    return acts.handle(
        request,
        form,
        do=lambda facts, submission: liquid_readings.amend(
            by=user_of(request), reading=row, submission=submission, **facts
        ),
        then=lambda _: page_of(found),
        said=_said,
        home=page_of(found),
        title=f"Correct: {row.get_kind_display()}",
        submit="Record the correction",
        context={"facts": _was(row)},
    )


@needs(Right.MAKER)
def liquid_void(request: HttpRequest, number: str, pk: int) -> HttpResponse:
    """Take a hardness or a density back."""
    found = batch_by_number(number)
    row = _reading(found, pk)
    return acts.handle(
        request,
        ReasonForm(request.POST or None),
        do=lambda facts, submission: liquid_readings.amend(
            by=user_of(request), reading=row, void=True, submission=submission, **facts
        ),
        then=lambda _: page_of(found),
        said="It is taken back; it stays legible.",
        home=page_of(found),
        title=f"Take back: {row.get_kind_display()}",
        submit="Take it back",
        context={"facts": _was(row), "danger": True},
    )


def _said(row: LiquidReading) -> str:
    if row.kind == LiquidReading.Kind.DENSITY and not is_at_twenty(row):
        return acts.Mind(
            "It is recorded, but it was not measured at 20 °C, so bottles are not"
            " filled by it. Cool the liquid to 20 °C and measure again."
        )
    return "It is recorded."


def _initial(row: LiquidReading) -> dict[str, Any]:
    return {
        "method": row.method,
        "temperature": row.temperature,
        "instrument": row.instrument_id,
    }


def _was(row: LiquidReading) -> list[tuple[str, str]]:
    unit = "mmol/l" if row.kind == LiquidReading.Kind.HARDNESS else "g/ml"
    return [
        (
            "It was",
            f"{number_words(row.value)} {unit}" if row.value is not None else "",
        ),
        ("±", number_words(row.half_width) if row.half_width else "not said"),
        ("How", row.method),
    ]


def _reading(batch: Batch, pk: int) -> LiquidReading:
    rows = LiquidReading.objects.select_related("batch__stock", "instrument")
    return get_object_or_404(rows, batch=batch, pk=pk)
