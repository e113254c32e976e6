"""The table of doses of a wash: by the formula, to whole 5 ml, or why there is none."""

from __future__ import annotations

from decimal import Decimal

import pytest
from django.template import Context, Template
from django.test import Client
from django.urls import reverse

from batches.models import Batch
from quality.services import dosing
from quality.services.dose_table import NotKnownError, dose_table, rounded_ml
from tests import make
from tests.doors.pages import page_of

pytestmark = [pytest.mark.django_db, pytest.mark.any_engine]


def shown(batch: Batch) -> str:
    template = Template("{% load doses %}{% wash_doses batch %}")
    return " ".join(template.render(Context({"batch": batch})).split())


def test_three_waters_by_hand(crew: make.Crew) -> None:
    """(25 g + 2·M·H·15 l)/content/density, worked out here in floats.

    The loss and the dose have outside checks in tests/reference: test_lime_soap.py,
    test_regulation_648_2004.py. Density 1.02 is the usual one: nothing was filled.
    """
    liquid = make.released_liquid(crew)
    product = dosing.product_of(liquid)
    content, molar = float(product.percent) / 100, float(product.molar_mass)
    rows = dose_table(liquid)
    assert [(row.word, row.hardness_mmol_l) for row in rows] == [
        ("soft", Decimal("0.75")),
        ("medium", Decimal("2.5")),
        ("hard", Decimal("3.5")),
    ]
    for row in rows:
        lost = 2 * molar * float(row.hardness_mmol_l) * 15 / 1000
        exact = (25 + lost) / content / 1.02
        assert row.ml % 5 == 0
        assert abs(row.ml - exact) <= 2.5
    assert rows[0].ml < rows[1].ml < rows[2].ml


def test_the_density_that_was_filled_counts(crew: make.Crew) -> None:
    liquid = make.released_liquid(crew)
    usual = dose_table(liquid)
    make.filled(crew, liquid, density=Decimal("1.20"))
    heavier = dose_table(liquid)
    assert [row.ml for row in heavier] < [row.ml for row in usual]
    assert heavier[0].ml == pytest.approx(usual[0].ml * 1.02 / 1.20, abs=5)


@pytest.mark.parametrize(
    ("exact", "rounded"),
    [("0.4", 5), ("262.4", 260), ("262.5", 265), ("267.49", 265), ("267.5", 270)],
)
def test_to_whole_five_millilitres(exact: str, rounded: int) -> None:
    assert rounded_ml(Decimal(exact)) == rounded


def test_a_paste_has_no_millilitres(crew: make.Crew) -> None:
    paste = make.released_paste(crew)
    with pytest.raises(NotKnownError, match="Thin the paste first"):
        dose_table(paste)
    assert "No doses yet: Doses in millilitres" in shown(paste)


def test_without_a_known_content_it_says_so(crew: make.Crew) -> None:
    planned = make.open_batch(crew, make.liquid_version(crew))
    with pytest.raises(NotKnownError):
        dose_table(planned)
    assert "No doses yet: " in shown(planned)


def test_the_tag_says_for_what_and_how_it_is_rounded(crew: make.Crew) -> None:
    liquid = make.released_liquid(crew)
    words = shown(liquid)
    for row in dose_table(liquid):
        assert f"<strong>{row.ml} ml</strong>" in words
    assert "Rounded to whole 5 ml" in words
    assert "25 g of soap that works in 15 l" in words
    assert "common practice, no source" in words


def test_the_page_of_doses_has_it_for_a_wash_and_not_for_a_spray(
    crew: make.Crew,
) -> None:
    browser = Client()
    browser.force_login(crew.maker)

    def words(batch: Batch) -> str:
        address = reverse("quality:doses", args=[batch.number])
        return page_of(browser.get(address)).words

    assert "Doses as they stand on a label" in words(make.released_liquid(crew))
    spray = make.released_liquid(crew, make.spray_version(crew))
    assert "Doses as they stand on a label" not in words(spray)
    assert "You have not recorded when you last checked." in words(spray)
