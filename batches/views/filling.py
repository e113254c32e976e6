"""Filling a batch into bottles, and the sample kept of a filling lot."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse

from batches.forms.filling import FillForm, SampleForm
from batches.models import FillingLot
from batches.services import density, filling, samples
from batches.services.filling_balance import is_warm
from batches.views.batches import batch_by_number
from batches.views.batches import page_of as page_of_batch
from batches.views.bottles import filling_lot_by_code, page_of
from producer.models import Right
from producer.templatetags.kettlebook import mass, number
from producer.views import acts
from producer.views.acts import Mind, needs, user_of


@needs(Right.MAKER)
def fill(request: HttpRequest, number: str) -> HttpResponse:
    """Fill a released batch into bottles."""
    found = batch_by_number(number)
    return acts.handle(
        request,
        FillForm(request.POST or None, measured=density.measured_for_filling(found)),
        do=lambda facts, submission: filling.fill(
            by=user_of(request), batch=found, submission=submission, **facts
        ),
        then=page_of,
        said=_filled,
        home=page_of_batch(found),
        title=f"Fill {found.number} into bottles",
        submit="Number these bottles",
        template="batches/fill.html",
        context={
            "batch": found,
            "lead": f"{mass(found.stock.on_hand_mg)} on hand.",
            "cautions": ["product"],
            "refused": filling.why_not_filled(found),
            "net_of": "rest_gross_mg,rest_tare_mg",
        },
    )


def _filled(lot: FillingLot) -> str:
    """Say what is next; of what was filled warm, that it shrinks as it cools."""
    said = f"{lot.count} bottles are numbered. Print their labels now."
    temperature = lot.balance.temperature
    if temperature is None or not is_warm(temperature):
        return said
    return Mind(
        f"{said} They were filled at {number(temperature)} °C, and the quantity"
        " on the label is that at 20 °C: what is filled warm to a line takes less room"
        " once it is cold. Let them cool, look at the line again, then weigh them"
        " against the label."
    )


@needs(Right.MAKER)
def sample(request: HttpRequest, code: str) -> HttpResponse:
    """Keep a bottle of a filling lot, or a jar of what was taken as a sample."""
    lot = filling_lot_by_code(code)
    left = samples.left_for_jars(lot)
    return acts.handle(
        request,
        SampleForm(request.POST or None, lot=lot),
        do=lambda facts, submission: samples.retain(
            by=user_of(request), filling_lot=lot, submission=submission, **facts
        ),
        then=lambda _: page_of(lot),
        said="The sample is kept.",
        home=page_of(lot),
        title=f"Keep a sample of {lot.code}",
        submit="Keep it",
        context={
            "lead": (
                "A bottle that is kept never leaves any more. "
                + (
                    f"{mass(left)} were taken as a sample and are in no jar yet."
                    if left
                    else "Nothing was taken for a jar when it was filled, or all of it"
                    " is in jars."
                )
            )
        },
    )
