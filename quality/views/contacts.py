"""One step back and one step forward: a supplier's record, what a consignee holds."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse

from producer.forms.base import ReasonForm
from producer.models import Consignee, Right, Supplier
from producer.views import acts
from producer.views.acts import needs, read_only, user_of
from quality.services import erasing, suppliers


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
        "came_back": suppliers.came_back_from(found),
        "recall_only": found.kind == Consignee.Kind.PRIVATE,
    }
    return render(request, "quality/consignee.html", context)


@needs(Right.MAKER)
def consignee_erase(request: HttpRequest, pk: int) -> HttpResponse:
    """Erase the contact data of a consignee; what they had stays counted."""
    found = get_object_or_404(Consignee, pk=pk)
    home = reverse("quality:consignee", args=[found.pk])
    held = erasing.held(found).count()
    return acts.handle(
        request,
        ReasonForm(request.POST or None),
        do=lambda facts, submission: erasing.erase(
            by=user_of(request), consignee=found, submission=submission, **facts
        ),
        then=lambda _: home,
        said="The contact data are erased. Dispatches and numbers of bottles stay.",
        home=home,
        title=f"Erase the contact data of {found.name}",
        submit="Erase them for good",
        template="quality/erase.html",
        context={
            "refused": "" if found.erased_at else erasing.why_not(found),
            "erased": found.erased_at,
            "held": held,
            "home": home,
        },
    )
