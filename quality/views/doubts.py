"""A bottle found where the records say it cannot be."""

from __future__ import annotations

from collections.abc import Iterator

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse

from batches.lifecycle import BottleStatus
from batches.models import Bottle, BottleDiscrepancy
from batches.services import bottle_doubts, label_counts
from producer.codes import grouped, normalise
from producer.models import Right
from producer.views import acts
from producer.views.acts import needs, user_of
from quality.forms.doubts import DoubtForm, SettleForm


def _page_of(bottle: Bottle) -> str:
    return reverse("quality:bottle", args=[bottle.code])


def _said(doubt: BottleDiscrepancy) -> str:
    """Return what to do now, and what a stranger who scans the code is told."""
    bottle = Bottle.objects.listed().get(pk=doubt.bottle_id)
    if doubt.kind == BottleDiscrepancy.Kind.DUPLICATE:
        return (
            "It is recorded. Put both bottles aside with a note on them. Whoever scans"
            f" the code is warned, and no bottle of {bottle.filling_lot.code} leaves"
            " before a reviewer has settled this."
        )
    aside = "It is recorded. Put the bottle aside with a note on it."
    if doubt.kind == BottleDiscrepancy.Kind.SHOULD_NOT_EXIST:
        return f"{aside} Whoever scans it is told not to use it. A reviewer settles it."
    words = f"{aside} It does not leave before a reviewer has settled this."
    if bottle.status == BottleStatus.DISPATCHED:
        return (
            f"{words} It counts as out, and whoever scans it is not warned: if it must"
            " not be used, tell who has it."
        )
    return words


def _labels(doubt: BottleDiscrepancy) -> Iterator[tuple[str, str]]:
    """Yield how the labels of its filling lot stand, a line of the page."""
    lot = doubt.bottle.filling_lot
    yield f"Labels of {lot.code}", label_counts.reconciliation(lot).sentence


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
        said=_said,
        home=_page_of(bottle),
        title=f"Something is wrong with {grouped(bottle.code)}",
        submit="Record it",
        context={
            "facts": [
                ("The records say", BottleStatus(bottle.status).label),
                ("Filling lot", bottle.filling_lot.code),
            ],
            "lead": (
                "If the bottle stands in stock or came back, it is put on hold at once."
                " While two bottles carry one code, no bottle of its filling lot may"
                " leave: one of them has a label that belongs to another."
            ),
        },
    )


@needs(Right.REVIEWER)
def bottle_doubt_settle(request: HttpRequest, pk: int) -> HttpResponse:
    """Say what it was, and what was done about it."""
    rows = BottleDiscrepancy.objects.select_related("bottle__filling_lot", "end")
    doubt = get_object_or_404(rows, pk=pk)
    is_double = doubt.kind == BottleDiscrepancy.Kind.DUPLICATE
    return acts.handle(
        request,
        SettleForm(request.POST or None, doubt=doubt),
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
                *(_labels(doubt) if is_double else ()),
            ],
            "lead": (
                "Before this, scan every bottle of the filling lot that is here, and"
                " give the one without its own code its right label: a second copy,"
                " with the reason. Then count its labels: each one that was printed is"
                " accounted for before this is settled."
                if is_double
                else "Write what it was, and what was done about it."
            ),
        },
    )
