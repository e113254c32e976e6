"""The GTINs of a product: the list, a new one, a correction."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse

from batches.forms.items import AmendItemNumberForm, ItemNumberForm
from batches.models import Formula, ItemNumber
from batches.services import item_numbers
from producer.forms.base import ReasonForm
from producer.middleware import decimal_mark
from producer.models import Premises, Right
from producer.quantities import format_volume
from producer.views import acts
from producer.views.acts import needs, read_only, user_of


def numbers_page(formula: Formula) -> str:
    """Return the address of the numbers of a product."""
    return reverse("batches:item_numbers", args=[formula.pk])


@read_only
def numbers(request: HttpRequest, pk: int) -> HttpResponse:
    """List the numbers of a product by size, and what became of former ones."""
    formula = get_object_or_404(Formula, pk=pk)
    former = ItemNumber.objects.filter(formula=formula, superseded_by__isnull=False)
    context = {
        "formula": formula,
        "prefix": Premises.objects.get().gs1_company_prefix,
        "standing": item_numbers.standing_of(formula).select_related(
            "entered_by__person"
        ),
        "former": former.select_related("superseded_by").order_by("-pk"),
    }
    return render(request, "batches/item_numbers.html", context)


@needs(Right.MAKER)
def number_give(request: HttpRequest, pk: int) -> HttpResponse:
    """Record the number of a product in one size."""
    formula = get_object_or_404(Formula, pk=pk)
    return acts.handle(
        request,
        ItemNumberForm(request.POST or None),
        do=lambda facts, submission: item_numbers.give(
            by=user_of(request), formula=formula, submission=submission, **facts
        ),
        then=lambda _: numbers_page(formula),
        said="It is recorded. Bottles filled from now on are named by it outside.",
        home=numbers_page(formula),
        title=f"{formula}: record a GTIN",
    )


@needs(Right.MAKER)
def number_amend(request: HttpRequest, pk: int) -> HttpResponse:
    """Correct a mistyped number."""
    number = get_object_or_404(ItemNumber, pk=pk)
    return acts.handle(
        request,
        AmendItemNumberForm(request.POST or None, initial={"gtin": number.gtin}),
        do=lambda facts, submission: item_numbers.amend(
            by=user_of(request), number=number, submission=submission, **facts
        ),
        then=lambda _: numbers_page(number.formula),
        said="It is corrected. Bottles filled before keep their name.",
        home=numbers_page(number.formula),
        title=f"{number.formula}: correct the GTIN",
        context={"facts": _facts(number)},
    )


@needs(Right.MAKER)
def number_void(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a number back."""
    number = get_object_or_404(ItemNumber, pk=pk)
    return acts.handle(
        request,
        ReasonForm(request.POST or None),
        do=lambda facts, submission: item_numbers.amend(
            by=user_of(request),
            number=number,
            void=True,
            submission=submission,
            **facts,
        ),
        then=lambda _: numbers_page(number.formula),
        said="It is taken back. Bottles filled before keep their name.",
        home=numbers_page(number.formula),
        title=f"{number.formula}: take the GTIN back",
        submit="Take it back",
        context={"facts": _facts(number)},
    )


def _facts(number: ItemNumber) -> list[tuple[str, str]]:
    return [
        ("Size", format_volume(number.nominal_ul, mark=decimal_mark())),
        ("GTIN", number.gtin),
    ]
