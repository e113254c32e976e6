"""GTINs of products and sizes: each names one, and is corrected by a new row."""

from __future__ import annotations

import json

import pytest
from django.core.exceptions import ValidationError

from batches.models import Formula, ItemNumber
from batches.services import item_numbers
from producer.errors import Conflict, Refusal
from producer.models import JournalEntry
from quality.services.verification import CHECKS
from tests import items, make
from tests.database import without_triggers

pytestmark = pytest.mark.django_db


@pytest.fixture
def formula(crew: make.Crew) -> Formula:
    """Return a product of a maker who has a company prefix."""
    items.with_prefix(items.owner())
    return make.liquid_version(crew).formula


def test_a_number_stands_for_a_product_in_one_size(
    crew: make.Crew, formula: Formula
) -> None:
    small = items.given(crew, formula, 2, 250_000)
    large = items.given(crew, formula, 1)
    assert list(item_numbers.standing_of(formula)) == [small, large]
    assert large.gtin == "04012345000016"
    told = JournalEntry.objects.latest("pk")
    assert told.act == "item number given"
    assert json.loads(told.after)["gtin"] == large.gtin


def test_without_a_prefix_none_is_taken(crew: make.Crew) -> None:
    formula = make.liquid_version(crew).formula
    with pytest.raises(Refusal, match="Without a company prefix") as told:
        items.given(crew, formula)
    assert told.value.field == "gtin"


def test_a_size_has_one_number(crew: make.Crew, formula: Formula) -> None:
    items.given(crew, formula, 1)
    with pytest.raises(Conflict, match="has a number already"):
        items.given(crew, formula, 2)


def test_a_number_is_never_given_to_another_product_or_size(
    crew: make.Crew, formula: Formula
) -> None:
    items.given(crew, formula, 1)
    other = make.liquid_version(crew, name="For greenfly").formula
    for where, nominal_ul in ((formula, 250_000), (other, 500_000)):
        with pytest.raises(Refusal, match="allot a new one"):
            items.given(crew, where, 1, nominal_ul)
    assert ItemNumber.objects.count() == 1


def test_a_mistyped_number_is_corrected_by_a_new_row(
    crew: make.Crew, formula: Formula
) -> None:
    old = items.given(crew, formula, 1)
    new = item_numbers.amend(
        by=crew.maker, number=old, gtin=items.number(2), reason="read one line too low"
    )
    assert list(item_numbers.standing_of(formula)) == [new]
    old.refresh_from_db()
    assert old.gtin == items.number(1)
    with pytest.raises(Conflict, match="corrected already"):
        item_numbers.amend(
            by=crew.maker, number=old, gtin=items.number(3), reason="once more"
        )
    with pytest.raises(Refusal, match="the number it has"):
        item_numbers.amend(by=crew.maker, number=new, gtin=new.gtin, reason="again")
    with pytest.raises(Refusal, match="reason"):
        item_numbers.amend(by=crew.maker, number=new, gtin=items.number(3), reason=" ")


def test_one_taken_back_is_free_for_where_it_belongs(
    crew: make.Crew, formula: Formula
) -> None:
    row = items.given(crew, formula, 1)
    taken = item_numbers.amend(
        by=crew.maker, number=row, void=True, reason="of the other size"
    )
    assert taken.is_void
    assert not item_numbers.standing_of(formula).exists()
    assert items.given(crew, formula, 1, 250_000).gtin == row.gtin
    with pytest.raises(Conflict):
        item_numbers.amend(by=crew.maker, number=taken, void=True, reason="again")


def test_one_that_named_bottles_is_never_given_to_others(
    crew: make.Crew, formula: Formula
) -> None:
    row = items.given(crew, formula, 1)
    liquid = make.released_liquid(crew, formula.versions.get())
    make.filled(crew, liquid)
    item_numbers.amend(by=crew.maker, number=row, void=True, reason="another now")
    with pytest.raises(Refusal, match="is or was the number"):
        items.given(crew, formula, 1, 250_000)
    assert items.given(crew, formula, 1).gtin == row.gtin  # control: its own again


def test_only_digits_that_fit_the_prefix_get_into_the_premises(
    crew: make.Crew,
) -> None:
    premises = items.with_prefix(
        items.owner(), gs1_company_prefix="40 12345", location_number="4012345 000009"
    )
    assert premises.gs1_company_prefix == items.PREFIX
    assert premises.location_number == items.LOCATION
    for wrong in (
        {"gs1_company_prefix": "40x"},
        {"location_number": "4012345000008"},
        {"gs1_company_prefix": ""},  # the location needs it
    ):
        with pytest.raises(ValidationError):
            items.with_prefix(
                items.owner(), **{"location_number": items.LOCATION, **wrong}
            )


def test_what_is_no_gtin_or_names_two_products_is_a_fault(
    crew: make.Crew, formula: Formula
) -> None:
    batch = make.released_liquid(crew)
    number = items.given(crew, batch.formula_version.formula)
    make.filled(crew, batch, count=1)
    small = items.given(crew, batch.formula_version.formula, 2, 200_000)
    assert list(item_numbers.faults()) == []
    with without_triggers():
        ItemNumber.objects.filter(pk=small.pk).update(gtin=number.gtin)
    assert list(item_numbers.faults()) == []  # it names no bottle yet
    make.filled(crew, batch, count=1, nominal_ul=200_000)
    (fault,) = item_numbers.faults()
    assert fault.endswith("and of another product or size.")
    with without_triggers():
        ItemNumber.objects.filter(pk=small.pk).update(gtin="04012345111110")
    (fault,) = item_numbers.faults()
    assert "is no GTIN" in fault
    (check,) = [one for one in CHECKS if one.name == "Filling lots and bottles"]
    assert fault in check.faults()
