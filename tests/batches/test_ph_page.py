"""The page “What the pH test sees”."""

from __future__ import annotations

from decimal import Decimal

import pytest
from django.test import Client
from django.urls import reverse

from batches.chemistry import ph as chemistry
from batches.services.ph import SHOWN, sight
from producer.errors import Refusal
from tests import make
from tests.database import row_counts
from tests.doors.pages import page_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def browser(crew: make.Crew) -> Client:
    client = Client()
    client.force_login(crew.maker)
    return client


def ask(browser: Client, **query: str) -> str:
    facts = {"strength": "1", "temperature": "25", **query}
    answer = browser.get(reverse("batches:ph"), facts)
    assert answer.status_code == 200
    return page_of(answer).words


def test_it_opens_with_the_limit_most_people_ask_for(browser: Client) -> None:
    words = page_of(browser.get(reverse("batches:ph"))).words
    assert "Behind a pH of 10 in a 1 % solution at 25 °C" in words
    assert "0.058 %" in words
    assert "Oil that has not reacted" in words


def test_free_alkali_gives_a_ph_with_a_comma_too(browser: Client) -> None:
    words = ask(browser, free_alkali="0,1")
    assert "Free alkali of 0.1 % gives a 1 % solution at 25 °C at the least" in words
    assert "pH 10.24" in words
    assert "10.25 if ions did not hold each other back" in words


def test_a_ph_gives_free_alkali_at_another_strength(browser: Client) -> None:
    words = ask(browser, ph="10.5", strength="10", temperature="20")
    found = chemistry.free_alkali(ph=10.5, strength_percent=10, temperature_c=20)
    assert f"{found:.3f} %" in words


def test_where_the_formula_ends_only_the_ideal_figure_stands(browser: Client) -> None:
    words = ask(browser, free_alkali="12", strength="10")
    assert "more alkali in it than the formula for the activity covers" in words


@pytest.mark.parametrize(
    ("query", "sentence"),
    [
        ({"strength": "0"}, "is no test solution"),
        ({"strength": "100"}, "is no test solution"),
        ({"strength": ""}, "This is needed."),
        ({"temperature": "80"}, "80 is not between 0 and 50"),
        ({"free_alkali": "101"}, "101 is not between 0 and 100"),
        ({"free_alkali": "-1"}, "1 is not between 0 and 100"),
        ({"free_alkali": "90", "strength": "20"}, "alkali in the solution"),
        ({"ph": "5"}, "the soap is splitting"),
        ({"ph": "14"}, "is outside"),
        ({"ph": "ten"}, "is not one number"),
    ],
)
def test_what_cannot_be_is_told_beside_the_field(
    browser: Client, query: dict[str, str], sentence: str
) -> None:
    words = ask(browser, **query)
    assert sentence in words
    assert "at the most" not in words


def test_nothing_is_recorded(browser: Client) -> None:
    before = row_counts()
    ask(browser, ph="9.5", free_alkali="0.2")
    assert row_counts() == before


def test_the_table_begins_neutral_and_rises() -> None:
    found = sight(strength_percent=Decimal(1), temperature_c=Decimal(20))
    assert [row.free_alkali_percent for row in found.table] == list(SHOWN)
    values = [row.ideal for row in found.table]
    assert values == sorted(values)
    assert float(found.neutral) == pytest.approx(7.082, abs=0.001)
    assert (found.expected, found.behind) == (None, None)


def test_the_field_of_a_refusal_is_named() -> None:
    with pytest.raises(Refusal) as refused:
        sight(strength_percent=Decimal(1), temperature_c=Decimal(51))
    assert refused.value.field == "temperature"


def test_the_page_of_a_ph_reading_leads_there(browser: Client, crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    for name, leads in (("ph", True), ("temperature", False)):
        page = page_of(browser.get(reverse("batches:read", args=[batch.number, name])))
        links = {one.get("href") for one in page.attributes("a")}
        assert (reverse("batches:ph") in links) is leads
