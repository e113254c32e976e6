"""What a batch and its bottles cost."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse

from batches.forms.costs import AmendCostForm, CostForm
from batches.models import Batch, Cost
from batches.services import costing
from batches.services import costs as service
from batches.views.batches import batch_by_number
from producer.forms.base import ReasonForm
from producer.models import Premises, Right
from producer.templatetags.kettlebook import money
from producer.views import acts
from producer.views.acts import needs, read_only, user_of


def costs_page(batch: Batch) -> str:
    """Return the address of the costs of a batch."""
    return reverse("batches:costs", args=[batch.number])


@read_only
def costs(request: HttpRequest, number: str) -> HttpResponse:
    """Show what a batch cost, where that went, and what a bottle of it costs."""
    found = batch_by_number(number)
    context = {"batch": found, "cost": costing.cost_of(found)}
    return render(request, "batches/costs.html", context)


@needs(Right.MAKER)
def cost_add(request: HttpRequest, number: str) -> HttpResponse:
    """Record what was spent on a batch besides its raw lots."""
    found = batch_by_number(number)
    return acts.handle(
        request,
        CostForm(request.POST or None),
        do=lambda facts, submission: service.record_cost(
            by=user_of(request), batch=found, submission=submission, **facts
        ),
        then=lambda _: costs_page(found),
        said="The cost is recorded.",
        home=costs_page(found),
        title=f"{found.number}: record a cost",
        context={"lead": "What no raw lot carries: bottles, labels, energy, hours."},
    )


@needs(Right.MAKER)
def cost_amend(request: HttpRequest, number: str, pk: int) -> HttpResponse:
    """Correct a cost."""
    found = batch_by_number(number)
    row = get_object_or_404(Cost, batch=found, pk=pk)
    return acts.handle(
        request,
        AmendCostForm(request.POST or None),
        do=lambda facts, submission: service.amend_cost(
            by=user_of(request), cost=row, submission=submission, **facts
        ),
        then=lambda _: costs_page(found),
        said="The correction is recorded; the old amount stays legible.",
        home=costs_page(found),
        title="Correct a cost",
        submit="Record the correction",
        context={"facts": _was(row)},
    )


@needs(Right.MAKER)
def cost_void(request: HttpRequest, number: str, pk: int) -> HttpResponse:
    """Take a cost back."""
    found = batch_by_number(number)
    row = get_object_or_404(Cost, batch=found, pk=pk)
    return acts.handle(
        request,
        ReasonForm(request.POST or None),
        do=lambda facts, submission: service.amend_cost(
            by=user_of(request), cost=row, void=True, submission=submission, **facts
        ),
        then=lambda _: costs_page(found),
        said="The cost is taken back; it stays in the journal.",
        home=costs_page(found),
        title="Take a cost back",
        submit="Take it back",
        context={"facts": _was(row), "danger": True},
    )


def _was(row: Cost) -> list[tuple[str, str]]:
    premises = Premises.objects.first()
    return [
        ("On what", row.get_kind_display()),
        ("How much it was", money(row.amount_hundredths, premises)),
        ("Note", row.note),
    ]
