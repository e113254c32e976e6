"""A charge moved to another lot and back: what was added to a book goes out again.

And what was weighed or counted of either lot since is quoted before it is moved.
"""

from __future__ import annotations

import datetime
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from batches.models import Charge
from batches.services import containers as on_the_scale
from batches.services import cooking
from batches.services.cooking.weighed_since import to_be_counted
from producer.errors import NotEnough, Refusal
from producer.models import JournalEntry, RawLot, StockMovement
from producer.services import containers, counting
from producer.services import stock as ledger
from producer.services.container_books import book_of
from producer.services.counting import Counted
from tests import lab, make
from tests.batches.test_another_lot import charged, faults, move, oils, on_hand
from tests.batches.test_by_difference import oil_in_tins
from tests.doors.pages import page_of

pytestmark = pytest.mark.django_db
KG = make.KG


def short(crew: make.Crew, *, holds_mg: int = 300_000) -> tuple[RawLot, RawLot, Charge]:
    """Return the written lot, the true one that holds too little, and a charge."""
    written, true = oils(crew, "71", "17")
    ledger.adjust(by=crew.maker, lot=true, counted_mg=holds_mg, reason="counted")
    return written, true, charged(crew, written)


def take_back(crew: make.Crew, charge: Charge) -> Charge:
    return cooking.amend_charge(
        by=crew.maker,
        charge=Charge.objects.get(pk=charge.pk),
        reason="none",
        void=True,
    )


def words_of(crew: make.Crew, lot: RawLot) -> str:
    client = Client()
    client.force_login(crew.maker)
    return page_of(client.get(reverse("producer:lot", args=[lot.code]))).words


# ------------------------------------------------- what was added goes out again


def test_moved_back_both_books_are_as_before(crew: make.Crew) -> None:
    written, true, row = short(crew)
    before = on_hand(written), on_hand(true)
    there = move(crew, row, true, certain=True)
    assert on_hand(true) == 0
    back = move(crew, there, written, reason="the sack was read again")
    assert (on_hand(written), on_hand(true)) == before
    undone = StockMovement.objects.filter(stock=true.stock, kind="adjustment").last()
    assert undone is not None
    assert (undone.amount_mg, undone.purpose) == (-600_000, row.batch.number)
    assert "had been added to the book for it are taken out again" in undone.reason
    assert "the sack was read again" in undone.reason
    assert faults() == []
    # and there and back again, for each act stands for itself
    again = move(crew, back, true, certain=True)
    assert on_hand(true) == 0
    move(crew, again, written)
    assert (on_hand(written), on_hand(true)) == before


def test_moved_on_to_a_third_lot_the_second_is_as_before(crew: make.Crew) -> None:
    _, true, row = short(crew)
    (third,) = oils(crew, "7")
    move(crew, move(crew, row, true, certain=True), third)
    assert (on_hand(true), on_hand(third)) == (300_000, 5 * KG - row.net_mg)
    assert faults() == []


def test_taken_back_or_made_less_what_was_added_goes_out_too(crew: make.Crew) -> None:
    _, true, row = short(crew)
    there = move(crew, row, true, certain=True)
    less = cooking.amend_charge(
        by=crew.maker,
        charge=there,
        gross_mg=there.gross_mg - 200_000,
        tare_mg=there.tare_mg,
        reason="misread",
    )
    assert on_hand(true) == 0  # 700 g of it, 400 g more than its book
    less = cooking.amend_charge(
        by=crew.maker,
        charge=less,
        gross_mg=less.gross_mg - 500_000,
        tare_mg=less.tare_mg,
        reason="misread",
    )
    assert on_hand(true) == 100_000  # 200 g of the 300 g that it held
    take_back(crew, less)
    assert on_hand(true) == 300_000
    assert faults() == []


def test_of_two_charges_each_takes_out_its_own(crew: make.Crew) -> None:
    written, true, row = short(crew)
    other = make.charge(crew, row.batch, written.stock, 200_000, unusual="so it was")
    first, second = (move(crew, one, true, certain=True) for one in (row, other))
    assert on_hand(true) == 0
    move(crew, second, written)
    assert on_hand(true) == 0
    move(crew, first, written)
    assert on_hand(true) == 300_000
    assert faults() == []


def test_a_tin_that_was_raised_is_as_before(crew: make.Crew) -> None:
    written, (tin,) = oil_in_tins(crew, 1)
    true, (small,) = oil_in_tins(crew, 1, each_mg=500_000)
    batch = make.open_batch(crew)
    row = make.charge(crew, batch, written.stock, 800_000)
    there = move(crew, row, true, certain=True)
    assert (book_of(tin), book_of(small)) == (KG, 0)
    (said,) = to_be_counted(true.pk)
    assert (said.code, said.changed_mg) == (small.code, 300_000)
    move(crew, there, written)
    assert (book_of(tin), book_of(small)) == (200_000, 500_000)
    assert to_be_counted(true.pk) == []
    assert faults() == []


def test_a_lot_put_into_tins_since_gives_back_what_is_outside_them(
    crew: make.Crew,
) -> None:
    written, true, row = short(crew)
    there = move(crew, row, true, certain=True)
    ledger.adjust(by=crew.maker, lot=true, counted_mg=KG, reason="a tin behind it")
    containers.register(
        by=crew.maker, lot=true, fillings=containers.alike(count=1, each_mg=KG)
    )
    move(crew, there, written, certain=True)
    assert on_hand(true) == KG + 300_000
    assert faults() == []


# ------------------------------------------------------ what is to be counted


def test_the_page_of_the_lot_says_that_it_is_to_be_counted(crew: make.Crew) -> None:
    written, true, row = short(crew)
    assert "To be counted" not in words_of(crew, true)
    there = move(crew, row, true, certain=True)
    words = words_of(crew, true)
    assert (
        f"To be counted: a correction of a charge of {row.batch.number} added 600 g to"
        f" the book of {true.code}" in words
    )
    assert "To be counted" not in words_of(crew, written)
    ledger.adjust(by=crew.maker, lot=true, counted_mg=250_000, reason="counted")
    assert "To be counted" not in words_of(crew, true)
    move(crew, there, written, certain=True)
    assert "took 600 g out of the book" in words_of(crew, true)
    counting.take_stock(
        by=crew.maker,
        counts=[Counted(lot=true, counted_mg=on_hand(true))],
    )
    assert to_be_counted(true.pk) == []


# ----------------------------------------------- what was weighed of either since


def test_a_container_that_agreed_with_its_book_speaks_against_it(
    crew: make.Crew,
) -> None:
    written, true = oils(crew, "71", "17")
    row = charged(crew, written)
    lab.container(crew, true)
    now = timezone.localtime()
    day = f"{now.day} {now:%b %Y}"
    with pytest.raises(Refusal) as told:
        move(crew, row, true)
    assert (
        f"{true.code} was weighed after it, 5 kg on {day}, which agreed with its"
        " book: with this charge it would not."
    ) in told.value.message
    assert "If it was this lot all the same, say so below" in told.value.message
    assert on_hand(true) == 5 * KG
    move(crew, row, true, certain=True)
    entry = JournalEntry.objects.order_by("-sequence")[0]
    (said,) = entry.after_values["certain_in_spite_of"]
    assert said.startswith(f"{true.code} was weighed after it")


def test_the_lot_that_was_written_speaks_too(crew: make.Crew) -> None:
    written, true = oils(crew, "71", "17")
    row = charged(crew, written)
    lab.container(crew, written)
    with pytest.raises(Refusal, match=r"agreed with its book: without this charge"):
        move(crew, row, true)


def test_a_short_book_and_a_weighing_are_told_together(crew: make.Crew) -> None:
    _, true, row = short(crew)
    lab.container(crew, true)
    with pytest.raises(NotEnough, match=r"600 g are added.*was weighed after it"):
        move(crew, row, true)


def test_what_fits_better_with_it_stands_in_no_way(crew: make.Crew) -> None:
    written, true = oils(crew, "71", "17")
    row = charged(crew, written)
    lab.container(crew, written, gain_mg=row.net_mg)  # it never was of that lot
    lab.container(crew, true, gain_mg=-row.net_mg)
    move(crew, row, true)


def test_what_was_weighed_before_it_or_of_another_tin_says_nothing(
    crew: make.Crew,
) -> None:
    written, (tin,) = oil_in_tins(crew, 1)
    true, (one, other) = oil_in_tins(crew, 2)
    lab.container(crew, true)
    batch = make.open_batch(crew)
    row = make.charge(crew, batch, written.stock, 800_000)

    def weigh(container: Any) -> None:
        on_the_scale.weigh_container(
            by=crew.maker,
            lot=true,
            scale=make.scale(crew.maker),
            gross_mg=KG + 120_000,
            tare_mg=120_000,
            container=container,
        )

    weigh(other)
    there = move(crew, row, true, container=one)
    back = move(crew, there, written)
    weigh(one)
    with pytest.raises(Refusal, match=f"{one.code} was weighed after it"):
        move(crew, back, true, container=one)
    assert book_of(tin) == 200_000


def test_moved_back_to_the_lot_that_was_weighed_with_it_says_nothing(
    crew: make.Crew,
) -> None:
    """By the book of then the charge was of it: so back it agrees again."""
    written, true = oils(crew, "71", "17")
    row = charged(crew, written)
    lab.container(crew, written)
    there = move(crew, row, true, certain=True)
    move(crew, there, written)
    assert on_hand(written) == 5 * KG - row.net_mg


def test_a_count_speaks_and_what_comes_after_it_does_not(crew: make.Crew) -> None:
    written, true = oils(crew, "71", "17")
    row = charged(crew, written)
    counting.take_stock(
        by=crew.maker,
        counts=[
            Counted(lot=true, counted_mg=5 * KG - row.net_mg, reason="less"),
            Counted(lot=written, counted_mg=5 * KG, reason="more"),
        ],
    )
    lab.container(crew, true)
    lab.container(crew, written)
    move(crew, row, true)  # both counts speak for it


def test_a_count_that_agreed_speaks_against_it(crew: make.Crew) -> None:
    written, true = oils(crew, "71", "17")
    row = charged(crew, written)
    counting.take_stock(by=crew.maker, counts=[Counted(lot=true, counted_mg=5 * KG)])
    with pytest.raises(Refusal, match=f"{true.code} was counted after it"):
        move(crew, row, true)
    ledger.adjust(by=crew.maker, lot=written, counted_mg=4 * KG, reason="counted")
    with pytest.raises(Refusal, match=f"{written.code} was counted after it.*beside"):
        move(crew, row, true)


def test_the_form_quotes_it_and_takes_it_if_it_is_certain(crew: make.Crew) -> None:
    written, true = oils(crew, "71", "17")
    row = charged(crew, written)
    lab.container(crew, true)
    client = Client()
    client.force_login(crew.maker)
    address = reverse("batches:charge_amend", args=[row.batch.number, row.pk])
    form = {
        "submission": "6e1c1f0e-3d4a-4f5c-9a41-0000000000c1",
        "source": true.pk,
        "reason": "read the sack again",
    }
    answer = client.post(address, form)
    assert f"{true.code} was weighed after it" in page_of(answer).words
    assert client.post(address, {**form, "certain": "on"}).status_code == 302
    assert on_hand(true) == 5 * KG - row.net_mg


def test_control_the_day_is_that_of_the_weighing(crew: make.Crew) -> None:
    written, true = oils(crew, "71", "17", received_on=make.TODAY - DAYS(9))
    batch = make.open_batch(crew)
    weekday = timezone.now() - DAYS(4)
    row = make.charge(crew, batch, written.stock, 900_000, observed_at=weekday)
    at = timezone.now() - DAYS(2)
    lab.container(crew, true, observed_at=at)
    day = timezone.localtime(at)
    with pytest.raises(Refusal, match=f"on {day.day} {day:%b %Y}, which agreed"):
        move(crew, row, true)


def DAYS(count: int) -> datetime.timedelta:  # noqa: N802
    return datetime.timedelta(days=count)
