"""The mass of a filling closes to the milligram, and what is missing has a word."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from batches.models import BottleEvent, FillingBalance, FillingLot
from batches.services import filling
from batches.services.filling_balance import most_unsaid
from producer.errors import Refusal
from producer.models import JournalEntry, Place, Stock, StockMovement
from producer.quantities import format_mass
from quality.services.filling_steps import mass_rows
from quality.services.verification.masses import filling_faults
from tests import bottling, make
from tests.database import without_triggers

BOTTLES_MG = 2 * 510_000  # two of half a litre at 1.02 g/ml


def filled_with_rest(crew: make.Crew, missing_mg: int, **changes: Any) -> FillingLot:
    """Return a filling of which so much less was left than by the book."""
    liquid = make.released_liquid(crew)
    before = Stock.objects.get(pk=liquid.pk).on_hand_mg
    facts = {"loss_mg": 3_001, "sample_mg": 20_007, **changes}
    book = before - BOTTLES_MG - facts["loss_mg"] - facts["sample_mg"]
    return make.filled(crew, liquid, rest_mg=book - missing_mg, **facts)


def movements(lot: FillingLot) -> list[tuple[str, int]]:
    """Return what a filling moved, in order."""
    rows = StockMovement.objects.filter(purpose=lot.code).order_by("pk")
    return list(rows.values_list("kind", "amount_mg"))


@pytest.mark.django_db
def test_the_mass_closes_to_the_milligram(crew: make.Crew) -> None:
    lot = filled_with_rest(crew, 4_321)
    balance = lot.balance
    parts = (
        lot.filled_mg,
        lot.loss_mg,
        balance.sample_mg,
        balance.rest_mg or 0,
        balance.unexplained_mg,
    )
    assert parts[:3] == (BOTTLES_MG, 3_001, 20_007)
    assert balance.unexplained_mg == 4_321
    assert balance.before_mg == sum(parts)
    assert movements(lot) == [
        ("filling", -(BOTTLES_MG + 3_001 + 20_007)),
        ("adjustment", -4_321),
    ]
    assert Stock.objects.get(pk=lot.batch_id).on_hand_mg == balance.rest_mg
    rows = mass_rows(balance)
    assert rows[0].mass_mg == sum(row.mass_mg for row in rows[1:])
    assert list(filling_faults()) == []


@pytest.mark.django_db
def test_without_a_weighed_rest_the_book_is_believed(crew: make.Crew) -> None:
    lot = make.filled(crew, loss_mg=1_234, sample_mg=5_678)
    balance = FillingBalance.objects.get(filling_lot=lot)
    left = Stock.objects.get(pk=lot.batch_id).on_hand_mg
    assert (balance.rest_mg, balance.unexplained_mg) == (None, 0)
    assert balance.before_mg == BOTTLES_MG + 1_234 + 5_678 + left
    assert movements(lot) == [("filling", -(BOTTLES_MG + 1_234 + 5_678))]
    rows = mass_rows(balance)
    assert rows[0].mass_mg == sum(row.mass_mg for row in rows[1:])
    assert balance.planned == 2


@pytest.mark.django_db
def test_a_rest_that_agrees_with_the_book_moves_nothing(crew: make.Crew) -> None:
    lot = filled_with_rest(crew, 0)
    assert lot.balance.unexplained_mg == 0
    assert [kind for kind, _ in movements(lot)] == ["filling"]


@pytest.mark.django_db
def test_what_is_missing_beyond_a_fiftieth_needs_a_word(crew: make.Crew) -> None:
    liquid = make.released_liquid(crew)
    before = Stock.objects.get(pk=liquid.pk).on_hand_mg
    most = most_unsaid(before)
    assert most == before * 2 // 100  # some 25 g of a good kilogram
    book = before - BOTTLES_MG
    with pytest.raises(Refusal, match="Say what became of it") as caught:
        make.filled(crew, liquid, rest_mg=book - most - 1)
    assert caught.value.field == "unexplained_reason"
    assert not FillingLot.objects.exists()
    assert Stock.objects.get(pk=liquid.pk).on_hand_mg == before
    lot = make.filled(
        crew, liquid, rest_mg=book - most - 1, unexplained_reason=" knocked over "
    )
    assert lot.balance.reason == "knocked over"
    adjusted = StockMovement.objects.get(kind="adjustment", purpose=lot.code)
    assert (adjusted.amount_mg, adjusted.reason) == (-most - 1, "knocked over")
    assert JournalEntry.objects.get(act="bottles filled").reason == "knocked over"


@pytest.mark.django_db
def test_up_to_a_fiftieth_nobody_is_asked(crew: make.Crew) -> None:
    liquid = make.released_liquid(crew)
    before = Stock.objects.get(pk=liquid.pk).on_hand_mg
    most = most_unsaid(before)
    lot = make.filled(crew, liquid, rest_mg=before - BOTTLES_MG - most)
    assert lot.balance.unexplained_mg == most
    adjusted = StockMovement.objects.get(kind="adjustment", purpose=lot.code)
    assert adjusted.reason == f"weighed as left over after filling {lot.code}"


def test_of_a_little_liquid_a_few_grams_are_nothing() -> None:
    assert most_unsaid(100_000) == 5_000
    assert most_unsaid(250_000) == 5_000  # where both are the same
    assert most_unsaid(250_050) == 5_001


@pytest.mark.django_db
def test_more_left_than_there_can_be(crew: make.Crew) -> None:
    liquid = make.released_liquid(crew)
    before = Stock.objects.get(pk=liquid.pk).on_hand_mg
    book, most = before - BOTTLES_MG, most_unsaid(before)
    with pytest.raises(Refusal, match=r"1 g more\. Say what became"):
        make.filled(crew, liquid, rest_mg=book + 1_000)
    with pytest.raises(Refusal, match="more than there can be") as caught:
        make.filled(
            crew, liquid, rest_mg=book + most + 1, unexplained_reason="a wet jug"
        )
    assert caught.value.field == "rest_mg"
    lot = make.filled(crew, liquid, rest_mg=book + most, unexplained_reason="a wet jug")
    assert lot.balance.unexplained_mg == -most
    assert Stock.objects.get(pk=liquid.pk).on_hand_mg == book + most
    assert list(filling_faults()) == []


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("facts", "field"),
    [
        ({"sample_mg": -1}, "sample_mg"),
        ({"rest_mg": -1}, "rest_mg"),
        ({"loss_mg": -1}, "loss_mg"),
        ({"planned": 0}, "planned"),
        ({"planned": filling.MOST_BOTTLES + 1}, "planned"),
        ({"temperature": Decimal("90.1")}, "temperature"),
        ({"temperature": Decimal("-0.1")}, "temperature"),
    ],
)
def test_what_cannot_be_is_refused(
    crew: make.Crew, facts: dict[str, Any], field: str
) -> None:
    liquid = make.released_liquid(crew)
    with pytest.raises(Refusal) as caught:
        make.filled(crew, liquid, **facts)
    assert caught.value.field == field
    assert not FillingLot.objects.exists()


@pytest.mark.django_db
def test_the_bottles_stand_in_their_place_from_the_first(crew: make.Crew) -> None:
    shelf = bottling.shelf(crew)
    lot = make.filled(crew, place=shelf, planned=3)
    assert {bottle.place for bottle in make.bottles_of(lot)} == {shelf}
    events = BottleEvent.objects.filter(bottle__filling_lot=lot)
    assert [event.place for event in events] == [shelf, shelf]
    assert lot.balance.planned == 3
    Place.objects.update(in_use=False)
    shelf.refresh_from_db()
    with pytest.raises(Refusal, match="not in use any more"):
        make.filled(crew, lot.batch, place=shelf, nominal_ul=50_000)


@pytest.mark.django_db
def test_what_two_of_one_batch_take_is_told_from_one_another(crew: make.Crew) -> None:
    first = make.filled(crew, count=1, sample_mg=1_000)
    second = make.filled(crew, first.batch, count=1, sample_mg=2_000)
    assert second.balance.before_mg == first.balance.before_mg - 511_000
    assert list(filling_faults()) == []


@pytest.mark.django_db
def test_verify_finds_a_balance_that_does_not_close(crew: make.Crew) -> None:
    lot = filled_with_rest(crew, 4_321)
    rows = FillingBalance.objects.filter(filling_lot=lot)
    rest = rows.get().rest_mg or 0
    for change, sentence in (
        ({"sample_mg": 20_008}, "the ledger has"),
        ({"unexplained_mg": 4_320}, "unexplained, but the ledger"),
        ({"rest_mg": rest + 1}, "are told of"),
    ):
        kept = rows.values(*change).get()
        with without_triggers():
            rows.update(**change)
            assert any(sentence in fault for fault in filling_faults()), change
            rows.update(**kept)
    assert list(filling_faults()) == []


@pytest.mark.django_db
def test_the_page_takes_the_rest_with_its_vessel(
    crew: make.Crew, client: Client
) -> None:
    liquid = make.released_liquid(crew)
    left = Stock.objects.get(pk=liquid.pk).on_hand_mg - BOTTLES_MG - 20_000
    client.force_login(crew.maker)
    address = reverse("batches:fill", args=[liquid.number])
    page = client.get(address)
    fields = {
        "submission": page.context["form"]["submission"].value(),
        "count": "2",
        "nominal_ul": "500",
        "density": "1,02",
        "temperature": "31,5",
        "place": bottling.shelf(crew).pk,
        "sample_mg": "20",
        "rest_gross_mg": f"{(left + 350_000) / 1000}",
    }
    half = client.post(address, fields)
    assert "Weigh it empty, too" in half.content.decode()
    light = client.post(address, {**fields, "rest_tare_mg": "9000"})
    assert "lighter than the empty one" in light.content.decode()
    assert not FillingLot.objects.exists()
    done = client.post(address, {**fields, "rest_tare_mg": "350"}, follow=True)
    text = done.content.decode()
    assert "Let them cool" in text
    assert "31.5 °C" in text
    balance = FillingBalance.objects.get()
    assert (balance.rest_mg, balance.unexplained_mg) == (left, 0)
    assert balance.temperature == Decimal("31.5")
    assert "All lines below the first add up to it" in text


@pytest.mark.django_db
def test_what_is_filled_cold_is_not_warned_of(crew: make.Crew, client: Client) -> None:
    liquid = make.released_liquid(crew)
    client.force_login(crew.maker)
    address = reverse("batches:fill", args=[liquid.number])
    page = client.get(address)
    fields = {
        "submission": page.context["form"]["submission"].value(),
        "count": "1",
        "nominal_ul": "500",
        "density": "1.02",
        "temperature": "20",
    }
    text = client.post(address, fields, follow=True).content.decode()
    assert "1 bottles are numbered" in text
    assert "Let them cool" not in text


def test_five_thousand_bottles_are_the_most() -> None:
    assert filling.MOST_BOTTLES == 5000


@pytest.mark.django_db
def test_many_small_gains_are_no_more_than_one_may_be(crew: make.Crew) -> None:
    """A tare that is heavy every time would make soap from nothing."""
    liquid = make.released_liquid(crew)
    made = Stock.objects.get(pk=liquid.pk).on_hand_mg
    most, each = most_unsaid(made), 10_000

    def fill(gain_mg: int) -> FillingLot:
        left = Stock.objects.get(pk=liquid.pk).on_hand_mg
        drawn = 10_200  # one of 10 ml
        return make.filled(
            crew,
            liquid,
            count=1,
            nominal_ul=10_000,
            rest_mg=left - drawn + gain_mg,
            unexplained_reason="heavy tare",
        )

    for _ in range(most // each):
        fill(each)
    open_mg = most % each
    with pytest.raises(Refusal, match=r"gained .* before, with this one") as caught:
        fill(open_mg + 1)
    assert caught.value.field == "rest_mg"
    assert f"no more than {format_mass(most)} can be" in caught.value.message
    fill(open_mg)
    gained = [-one.unexplained_mg for one in FillingBalance.objects.all()]
    assert sum(gained) == most
    fill(-1_000)  # what is lost is another matter
