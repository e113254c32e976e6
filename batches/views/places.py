"""Where bottles stand, and putting them elsewhere."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse

from batches.forms.picking import PlaceForm
from batches.services import dispatching
from batches.services import places as service
from producer.models import Place, Right
from producer.views import acts
from producer.views.acts import needs, read_only, user_of


@read_only
def places(request: HttpRequest) -> HttpResponse:
    """Show what stands where."""
    return render(
        request, "batches/places.html", {"standing": service.stock_by_place()}
    )


@needs(Right.MAKER)
def place_put(request: HttpRequest) -> HttpResponse:
    """Record that bottles stand in another place now."""
    return acts.handle(
        request,
        PlaceForm(
            request.POST or None,
            initial={"filling_lot": request.GET.get("filling_lot")},
        ),
        do=lambda facts, submission: _put(request, dict(facts), submission),
        then=lambda _: reverse("batches:places"),
        said=lambda count: f"{count} bottle{'s' * (count != 1)} moved.",
        home=reverse("batches:places"),
        title="Put bottles in a place",
        submit="They stand there now",
        context={
            "lead": ""
            if Place.objects.filter(in_use=True).exists()
            else "No place is registered yet. Register it under “Places” first."
        },
    )


def _put(request: HttpRequest, facts: dict[str, Any], submission: Any) -> int:
    place, note = facts.pop("place"), facts.pop("note")
    return service.put(
        by=user_of(request),
        bottles=dispatching.chosen(**facts, states=service.HERE),
        place=place,
        note=note,
        submission=submission,
    )
