"""One step back and one step forward: a supplier's record, what a consignee holds."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render

from producer.models import Consignee, Supplier
from producer.views.acts import read_only
from quality.services import suppliers


@read_only
def supplier(request: HttpRequest, pk: int) -> HttpResponse:
    """Show a supplier by its record."""
    found = get_object_or_404(Supplier, pk=pk)
    context = {"record": suppliers.record_of(found), "most": suppliers.MOST_SHOWN}
    return render(request, "quality/supplier.html", context)


@read_only
def consignee(request: HttpRequest, pk: int) -> HttpResponse:
    """Show what a consignee holds now, and what was sent."""
    found = get_object_or_404(Consignee, pk=pk)
    context = {
        "consignee": found,
        "held": suppliers.held_by(found),
        "dispatches": suppliers.dispatches_to(found),
    }
    return render(request, "quality/consignee.html", context)
