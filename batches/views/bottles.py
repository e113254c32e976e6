"""Filling, labels, bottles and dispatch."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.db.models import Count
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse

from batches.documents import labels as label_sheets
from batches.forms.making import BottleMoveForm, DispatchForm, FillForm
from batches.models import Bottle, Dispatch, FillingLot
from batches.services import dispatching, filling
from batches.tables.making import BottleTable, DispatchTable, FillingLotTable
from batches.views.batches import batch_by_number
from batches.views.batches import page_of as page_of_batch
from producer.codes import grouped
from producer.errors import Refusal
from producer.models import Right
from producer.tables.base import show
from producer.templatetags.kettlebook import mass
from producer.views import acts
from producer.views.acts import needs, read_only, user_of


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


@needs(Right.MAKER)
def fill(request: HttpRequest, number: str) -> HttpResponse:
    """Fill a released batch into bottles."""
    found = batch_by_number(number)
    return acts.handle(
        request,
        FillForm(request.POST or None),
        do=lambda facts, submission: filling.fill(
            by=user_of(request), batch=found, submission=submission, **facts
        ),
        then=page_of,
        said=lambda lot: f"{lot.count} bottles are numbered. Print their labels now.",
        home=page_of_batch(found),
        title=f"Fill {found.number} into bottles",
        submit="Number these bottles",
        template="batches/fill.html",
        context={
            "batch": found,
            "lead": f"{mass(found.stock.on_hand_mg)} on hand.",
            "cautions": ["product"],
            "refused": filling.why_not_filled(found),
        },
    )


@read_only
def filling_lot(request: HttpRequest, code: str) -> HttpResponse:
    """Show a filling lot: its bottles and its label sheets."""
    found = filling_lot_by_code(code)
    return render(
        request,
        "batches/filling_lot.html",
        {
            "lot": found,
            "table": show(
                request, BottleTable(found.bottles.select_related("consignee"))
            ),
            "sheets": label_sheets.sheets(found.count),
            "address_is_local": label_sheets.address_is_local(),
            "counts": found.bottles.values("status")
            .annotate(bottles=Count("pk"))
            .order_by("status"),
        },
    )


@read_only
def labels(request: HttpRequest, code: str) -> HttpResponse:
    """Print the labels of some bottles as PDF, up to five sheets at a time."""
    found = filling_lot_by_code(code)
    first, last = label_sheets.clamp(request.GET, found.count)
    rows = found.bottles.filter(number__gte=first, number__lte=last)
    try:
        pdf = label_sheets.label_pdf(found, list(rows))
    except Refusal as refusal:
        messages.error(request, refusal.message)
        return redirect(page_of(found))
    name = f"labels-{found.code}-{first}-{last}.pdf"
    return HttpResponse(
        pdf,
        content_type="application/pdf",
        headers={"Content-Disposition": f'inline; filename="{name}"'},
    )


@needs(Right.MAKER, Right.REVIEWER)
def bottle_move(request: HttpRequest, code: str) -> HttpResponse:
    """Record what became of a bottle."""
    found = get_object_or_404(Bottle.objects.listed(), code=code.upper())
    user = user_of(request)
    return acts.handle(
        request,
        BottleMoveForm(request.POST or None, bottle=found, user=user),
        do=lambda facts, submission: filling.move_bottle(
            by=user, bottle=found, submission=submission, **facts
        ),
        then=lambda moved: reverse("quality:bottle", args=[moved.code]),
        said="It is recorded.",
        home=reverse("quality:bottle", args=[found.code]),
        title=f"Bottle {grouped(found.code)}",
    )


@read_only
def dispatches(request: HttpRequest) -> HttpResponse:
    """List what left."""
    rows = Dispatch.objects.select_related("consignee", "entered_by__person").annotate(
        bottles=Count("events")
    )
    return render(
        request,
        "batches/dispatches.html",
        {"table": show(request, DispatchTable(rows))},
    )


@needs(Right.MAKER)
def dispatch_new(request: HttpRequest) -> HttpResponse:
    """Send bottles to a consignee."""
    return acts.handle(
        request,
        DispatchForm(
            request.POST or None,
            initial={"filling_lot": request.GET.get("filling_lot")},
        ),
        do=lambda facts, submission: _dispatch(request, dict(facts), submission),
        then=lambda made: reverse("batches:dispatch", args=[made.code]),
        said=lambda made: f"Dispatch {made.code} is recorded.",
        home=reverse("batches:dispatches"),
        title="Send bottles to a consignee",
        submit="Dispatch them",
        context={"cautions": ["product"]},
    )


def _dispatch(request: HttpRequest, facts: dict[str, Any], submission: Any) -> Dispatch:
    codes, lot_code = facts.pop("codes"), facts.pop("filling_lot")
    first, last = facts.pop("first"), facts.pop("last")
    chosen = dispatching.bottles_by_codes(codes) if codes.strip() else []
    if lot_code.strip():
        lot = FillingLot.objects.filter(code=lot_code.strip().upper()).first()
        if lot is None:
            raise Refusal("No filling lot has this code.", field="filling_lot")
        chosen += dispatching.bottles_by_range(lot, first or 1, last or lot.count)
    return dispatching.dispatch(
        by=user_of(request), bottles=chosen, submission=submission, **facts
    )


@read_only
def dispatch(request: HttpRequest, code: str) -> HttpResponse:
    """Show what left together."""
    found = get_object_or_404(
        Dispatch.objects.select_related("consignee", "entered_by__person"),
        code=code.upper(),
    )
    rows = Bottle.objects.filter(events__dispatch=found).select_related("consignee")
    return render(
        request,
        "batches/dispatch.html",
        {"dispatch": found, "table": show(request, BottleTable(rows))},
    )
