"""Filling, labels, bottles and dispatch."""

from __future__ import annotations

from django.db.models import Count
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse

from batches.lifecycle import BottleStatus
from batches.models import Bottle, Dispatch, FillingLot
from batches.services import dispatch_back, dispatches_found
from batches.tables.making import BottleTable, DispatchTable, FillingLotTable
from producer.tables.base import show
from producer.views.acts import read_only, user_of

LONGEST_SEARCH = 100  # characters


def filling_lot_by_code(code: str) -> FillingLot:
    """Return the filling lot with this code, or answer 404."""
    return get_object_or_404(
        FillingLot.objects.select_related(
            "batch__stock", "batch__formula_version__formula", "entered_by__person"
        ),
        code=code.upper(),
    )


def page_of(lot: FillingLot) -> str:
    """Return the address of a filling lot's page."""
    return reverse("batches:filling_lot", args=[lot.code])


@read_only
def bottles(request: HttpRequest) -> HttpResponse:
    """List filling lots."""
    rows = FillingLot.objects.select_related("batch__stock", "batch__formula_version")
    return render(
        request, "batches/bottles.html", {"table": show(request, FillingLotTable(rows))}
    )


@read_only
def filling_lot(request: HttpRequest, code: str) -> HttpResponse:
    """Show a filling lot: its bottles and their labels."""
    found = filling_lot_by_code(code)
    return render(
        request,
        "batches/filling_lot.html",
        {
            "lot": found,
            "table": show(
                request, BottleTable(found.bottles.select_related("consignee"))
            ),
            "counts": found.bottles.values("status")
            .annotate(bottles=Count("pk"))
            .order_by("status"),
        },
    )


@read_only
def dispatches(request: HttpRequest) -> HttpResponse:
    """List what left."""
    words = " ".join(request.GET.get("words", "")[:LONGEST_SEARCH].split())
    rows = dispatches_found.found(words)
    return render(
        request,
        "batches/dispatches.html",
        {"table": show(request, DispatchTable(rows)), "words": words},
    )


@read_only
def dispatch(request: HttpRequest, code: str) -> HttpResponse:
    """Show what left together."""
    found = get_object_or_404(
        Dispatch.objects.select_related(
            "consignee", "entered_by__person", "taken_back__entered_by__person"
        ),
        code=code.upper(),
    )
    sent = found.events.filter(new=BottleStatus.DISPATCHED).values("bottle")
    rows = Bottle.objects.filter(pk__in=sent).select_related("consignee")
    return render(
        request,
        "batches/dispatch.html",
        {
            "dispatch": found,
            "table": show(request, BottleTable(rows)),
            "may_take_back": not hasattr(found, "taken_back")
            and dispatch_back.may_take_back(user_of(request), found),
        },
    )
