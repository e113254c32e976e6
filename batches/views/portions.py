"""Portions of a bulk product: set aside, amended, taken back."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404

from batches.forms.portions import AmendPortionForm, PortionForm
from batches.forms.typed import typed
from batches.models import Batch, Portion
from batches.services import portions as service
from batches.services.portion_books import outside_mg, portions_of
from batches.views.batches import batch_by_number, page_of
from producer.forms.base import ReasonForm
from producer.models import Right
from producer.templatetags.kettlebook import mass
from producer.views import acts
from producer.views.acts import needs, user_of


@needs(Right.MAKER)
def portion_add(request: HttpRequest, number: str) -> HttpResponse:
    """Set a portion of what the batch made aside."""
    found = batch_by_number(number)
    return acts.handle(
        request,
        PortionForm(request.POST or None),
        do=lambda facts, submission: service.set_aside(
            by=user_of(request), batch=found, submission=submission, **facts
        ),
        then=lambda _: page_of(found),
        said=lambda row: f"{service.code_of(row)} is set aside. Write that on the tub.",
        home=page_of(found),
        title=f"Set a portion of {found.number} aside",
        submit="Set it aside",
        context={
            "lead": "A tub of its own, with a place and a purpose. The yield stays what"
            " was weighed; nothing leaves the stock.",
            "facts": [
                ("On hand", mass(found.stock.on_hand_mg)),
                ("Outside its portions", mass(outside_mg(found, portions_of(found)))),
            ],
        },
    )


@needs(Right.MAKER)
def portion_amend(request: HttpRequest, number: str, pk: int) -> HttpResponse:
    """Correct a portion, or say where it stands now."""
    found = batch_by_number(number)
    row = _portion(found, pk)
    form = AmendPortionForm(
        request.POST or None,
        initial={
            "mass_mg": f"{typed(row.mass_mg)} g",  # the field reads kg
            "place": row.place_id,
            "purpose": row.purpose,
        },
    )
    return acts.handle(
        request,
        form,
        do=lambda facts, submission: service.amend_portion(
            by=user_of(request), portion=row, submission=submission, **facts
        ),
        then=lambda _: page_of(found),
        said="It is recorded; what stood before stays legible.",
        home=page_of(found),
        title=f"Amend {service.code_of(row)}",
        submit="Record it",
        context={
            "lead": "It was moved, is meant for something else, or held another mass.",
            "facts": _was(row),
        },
    )


@needs(Right.MAKER)
def portion_void(request: HttpRequest, number: str, pk: int) -> HttpResponse:
    """Take a portion back: what is in it stands with the rest again."""
    found = batch_by_number(number)
    row = _portion(found, pk)
    return acts.handle(
        request,
        ReasonForm(request.POST or None),
        do=lambda facts, submission: service.amend_portion(
            by=user_of(request), portion=row, void=True, submission=submission, **facts
        ),
        then=lambda _: page_of(found),
        said="The portion is taken back: it stands with the rest again.",
        home=page_of(found),
        title=f"Take {service.code_of(row)} back",
        submit="Take it back",
        context={"facts": _was(row), "danger": True},
    )


def _portion(batch: Batch, pk: int) -> Portion:
    rows = Portion.objects.select_related("batch__stock", "place")
    return get_object_or_404(rows, batch=batch, pk=pk)


def _was(row: Portion) -> list[tuple[str, str]]:
    now = next((one for one in portions_of(row.batch) if one.portion == row), None)
    return [
        ("Set aside", mass(row.mass_mg)),
        ("Left of it", mass(now.left_mg) if now else "–"),
        ("Where it stands", row.place.name if row.place else ""),
        ("Meant for", row.purpose),
    ]
