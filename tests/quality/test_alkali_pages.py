"""Excess alkali on the screens: before cooking, at weighing, at the review."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from batches.models import Batch
from batches.services import planning
from producer.models import Premises, User
from producer.templatetags.kettlebook import number
from quality.services.alkali import alkali_of
from quality.views.alkali import MOST_DRAWS
from tests import make
from tests.doors.pages import page_of
from tests.quality.pots import chosen, free_alkali

pytestmark = pytest.mark.django_db


@pytest.fixture
def browser(crew: make.Crew) -> Client:
    client = Client()
    client.force_login(crew.maker)
    return client


def alkali_page(batch: Batch, query: str = "") -> str:
    return reverse("quality:alkali", args=[batch.number]) + query


def test_before_cooking_the_page_has_figure_risks_discounts_and_budget(
    browser: Client, crew: make.Crew
) -> None:
    batch = chosen(crew, make.open_batch(crew))
    response = browser.get(alkali_page(batch))
    page = page_of(response)
    for words in (
        "0.0 ± 3.8 g left over k = 2 · cannot be told from none",
        "Risk of more than 0.25 % free potassium hydroxide",
        "Risk of more than 1 % unsaponified oil",
        "What a lye discount would do",
        "0 %, as now",
        "10.2 g lacking",
        "Never water onto potash",
        "saponification value of sunflower oil",
        "middle of the published range 188 to 194",
        "Set a lye discount",
    ):
        assert words in page.words, words
    assert "<svg" in response.content.decode()
    assert "random draws" in page.words
    assert "Monte Carlo of" not in page.words


def test_numbers_take_the_decimal_mark_of_the_premises(
    browser: Client, crew: make.Crew
) -> None:
    Premises.objects.update(decimal_mark=",")
    page = page_of(browser.get(alkali_page(chosen(crew, make.open_batch(crew)))))
    assert "0,0 ± 3,8 g left over" in page.words
    assert "more than 0,25 % of free potassium hydroxide is" in page.words
    assert "10,2 g lacking" in page.words


def test_the_auditor_reads_it_and_is_offered_no_discount(
    auditor: User, crew: make.Crew
) -> None:
    client = Client()
    client.force_login(auditor)
    page = page_of(client.get(alkali_page(chosen(crew, make.open_batch(crew)))))
    assert "What a lye discount would do" in page.words
    assert "Set a lye discount" not in page.words


@pytest.mark.parametrize(
    ("query", "draws"), [("?draws=20000", "20000"), ("?draws=-5", "1000")]
)
def test_draws_are_made_on_demand_and_within_bounds(
    browser: Client, crew: make.Crew, query: str, draws: str
) -> None:
    batch = chosen(crew, make.open_batch(crew))
    page = page_of(browser.get(alkali_page(batch, query)))
    shown = " ".join(number(int(draws)).split())  # as a page's words are
    assert f"Monte Carlo of {shown} draws" in page.words
    assert "by the draws" in page.words


def test_more_draws_than_a_million_are_a_million(
    browser: Client, crew: make.Crew, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = []

    def remember(*_: object, draws: int, seed: int) -> None:
        asked.append((draws, seed))

    monkeypatch.setattr("quality.views.alkali.drawn", remember)
    batch = chosen(crew, make.open_batch(crew))
    assert browser.get(alkali_page(batch, "?draws=1000000000")).status_code == 200
    assert asked == [(MOST_DRAWS, batch.pk)]
    assert MOST_DRAWS == 1_000_000


@pytest.mark.parametrize("typed", ["many", "1e5", "1.5", "²", "9" * 5000])
def test_draws_that_are_no_number_are_answered_in_a_sentence(
    browser: Client, crew: make.Crew, typed: str
) -> None:
    batch = chosen(crew, make.open_batch(crew))
    response = browser.get(alkali_page(batch), {"draws": typed})
    assert response.status_code == 200
    assert "Write the number of draws as a whole number" in page_of(response).words


def test_the_same_batch_is_drawn_the_same_way_twice(
    browser: Client, crew: make.Crew
) -> None:
    batch = chosen(crew, make.open_batch(crew))
    once, again = (
        page_of(browser.get(alkali_page(batch, "?draws=20000"))).words for _ in "12"
    )
    assert once == again


def test_without_lots_the_page_says_what_to_choose(
    browser: Client, crew: make.Crew
) -> None:
    batch = make.open_batch(crew)
    for address in (alkali_page(batch), reverse("batches:batch", args=[batch.number])):
        page = page_of(browser.get(address))
        assert "Choose a lot first for: sunflower oil, coconut oil." in page.words
    page = page_of(browser.get(alkali_page(batch, "?draws=2000")))
    assert "Monte Carlo of" not in page.words


def test_the_batch_page_sums_it_up_and_leads_to_the_budget(
    browser: Client, crew: make.Crew
) -> None:
    batch = chosen(crew, make.open_batch(crew))
    response = browser.get(reverse("batches:batch", args=[batch.number]))
    page = page_of(response)
    assert "0.0 ± 3.8 g left over" in page.words
    assert "with the rest as planned" in page.words
    assert alkali_page(batch) in response.content.decode()


def test_where_the_potash_is_weighed_the_risks_stand_beside_the_mass(
    browser: Client, crew: make.Crew
) -> None:
    batch = chosen(crew, make.open_batch(crew))
    plan = planning.plan_of(batch)
    for line in plan.lines:
        address = reverse("batches:charge", args=[batch.number, line.line.position])
        page = page_of(browser.get(address))
        assert ("if you weigh exactly this" in page.words) == (line.kind == "potash")
        assert ("Risk of unsaponified oil" in page.words) == (line.kind == "potash")


def test_the_review_shows_it_with_its_uncertainty(
    browser: Client, crew: make.Crew
) -> None:
    batch = make.cooked_batch(crew)
    page = page_of(browser.get(reverse("quality:review", args=[batch.number])))
    assert "Potassium hydroxide by weighing" in page.words
    assert " ± 3.8 g" in page.words


def test_a_titration_and_the_weighings_are_both_shown(
    browser: Client, crew: make.Crew
) -> None:
    batch = make.cooked_batch(crew)
    free_alkali(batch, "0.4")
    page = page_of(browser.get(alkali_page(batch)))
    assert "By titration" in page.words
    assert "By the weighings" in page.words
    assert "Do not use it. By what is known" in page.words
    assert "What a lye discount would do" not in page.words
    page = page_of(browser.get(reverse("batches:batch", args=[batch.number])))
    assert "Potassium hydroxide by titration" in page.words
    assert "Potassium hydroxide by weighing" in page.words


def test_a_dilution_shows_nothing_of_it_unless_it_was_titrated(
    browser: Client, crew: make.Crew
) -> None:
    liquid = make.diluted_batch(crew)
    address = reverse("batches:batch", args=[liquid.number])
    assert "Excess alkali" not in page_of(browser.get(address)).words
    assert (
        "Only a cook has a balance" in page_of(browser.get(alkali_page(liquid))).words
    )
    free_alkali(liquid, "0.05")
    assert "Excess alkali" in page_of(browser.get(address)).words
    assert alkali_of(make.fresh(liquid)).under is None


def test_the_warning_of_an_open_cook_stands_right_above_what_comes_next(
    browser: Client, crew: make.Crew
) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    address = reverse("batches:batch", args=[batch.number])
    calm = browser.get(address).content.decode()
    assert "Excess alkali: high risk" not in calm
    line = make.line_of(batch, "potash flakes")
    make.charge(crew, batch, make.stock_of(crew, line), 20_000, line=line)
    html = browser.get(address).content.decode()
    warning = html.index("Excess alkali: high risk")
    following = html.index('class="next"')
    assert warning < following
    assert html.count("<section", warning, following) == 1  # that of the box itself
    between = html[warning:following]
    assert "Do not use it as it stands." in between
    assert reverse("quality:correction", args=[batch.number]) in between
    Batch.objects.filter(pk=batch.pk).update(status="abandoned")
    assert "high risk</h2>" not in browser.get(address).content.decode()
