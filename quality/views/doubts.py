"""A bottle found where the records say it cannot be."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse

from batches.lifecycle import BottleStatus
from batches.models import Bottle, BottleDiscrepancy
from batches.services import bottle_doubts
from producer.codes import grouped, normalise
from producer.forms.base import ReasonForm
from producer.models import Right
from producer.views import acts
from producer.views.acts import needs, user_of
from quality.forms.doubts import DoubtForm


def _page_of(bottle: Bottle) -> str:
    return reverse("quality:bottle", args=[bottle.code])


@needs(Right.MAKER, Right.REVIEWER)
def bottle_doubt_report(request: HttpRequest, code: str) -> HttpResponse:
    """Report two bottles with one code, or one that should not be there."""
    bottle = get_object_or_404(Bottle.objects.listed(), code=normalise(code))
    return acts.handle(
        request,
        DoubtForm(request.POST or None),
        do=lambda facts, submission: bottle_doubts.report(
            by=user_of(request), bottle=bottle, submission=submission, **facts
        ),
        then=lambda _: _page_of(bottle),
        said=(
            "It is recorded. Put the bottle aside with a note on it; no bottle with"
            " this code may be used."
        ),
        home=_page_of(bottle),
        title=f"Something is wrong with {grouped(bottle.code)}",
        submit="Record it",
        context={
            "facts": [
                ("The records say", BottleStatus(bottle.status).label),
                ("Filling lot", bottle.filling_lot.code),
            ],
            "lead": (
                "If the bottle stands in stock it is put on hold at once; one that came"
                " back, put aside. While two bottles"
                " carry one code, no bottle of its filling lot may leave: one of them"
                " has a label that belongs to another."
            ),
        },
    )


@needs(Right.REVIEWER)
def bottle_doubt_settle(request: HttpRequest, pk: int) -> HttpResponse:
    """Say what it was, and what was done about it."""
    rows = BottleDiscrepancy.objects.select_related("bottle__filling_lot", "end")
    doubt = get_object_or_404(rows, pk=pk)
    return acts.handle(
        request,
        ReasonForm(request.POST or None),
        do=lambda facts, submission: bottle_doubts.settle(
            by=user_of(request), doubt=doubt, submission=submission, **facts
        ),
        then=lambda _: _page_of(doubt.bottle),
        said="It is settled. What is on hold stays so until you free or destroy it.",
        home=_page_of(doubt.bottle),
        title=f"Settle the doubt about {grouped(doubt.bottle.code)}",
        submit="Settle it",
        context={
            "facts": [
                ("What does not fit", doubt.get_kind_display()),
                ("Where it was found", doubt.found),
            ],
            "lead": (
                "Before this, scan every bottle of the filling lot that is here, and"
                " give the one without its own code its right label: a second copy,"
                " with the reason. Then the counts of labels tell it."
            ),
        },
    )
