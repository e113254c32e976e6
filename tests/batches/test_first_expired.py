"""First expired, first out: proposed, asked about when skipped, reserved for others."""

from __future__ import annotations

import datetime
import itertools
from collections.abc import Iterable
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from hypothesis import given
from hypothesis import strategies as st

from batches.first_expired import Candidate, in_turn, passed_over
from batches.models import Batch, Charge, FormulaLine
from batches.services import cooking, planning, proposing
from batches.services.cooking.how import How
from producer.errors import Refusal
from producer.models import RawLot
from tests import make

KG = make.KG
DAY = datetime.timedelta(days=1)
DATES = st.dates(datetime.date(2026, 1, 1), datetime.date(2026, 1, 9))


def candidates() -> st.SearchStrategy[list[Candidate]]:
    return st.lists(
        st.builds(
            Candidate,
            key=st.integers(1, 99),
            last_day=st.none() | DATES,
            received_on=DATES,
            free_mg=st.integers(0, 9),
        ),
        min_size=1,
        max_size=7,
        unique_by=lambda one: one.key,
    )


def never(one: Candidate) -> datetime.date:
    return one.last_day or datetime.date.max


# ------------------------------------------------------------------ the pure rule


@given(candidates())
def test_no_lot_comes_after_one_that_expires_later_or_came_later(
    lots: list[Candidate],
) -> None:
    order = in_turn(lots)
    assert sorted(one.key for one in order) == sorted(one.key for one in lots)
    for first, second in itertools.pairwise(order):
        assert never(first) <= never(second)
        if never(first) == never(second):
            assert first.received_on <= second.received_on


@given(candidates(), st.integers(0, 9), st.data())
def test_a_lot_is_passed_over_only_if_it_expires_earlier_and_would_do(
    lots: list[Candidate], need: int, data: st.DataObject
) -> None:
    chosen = data.draw(st.sampled_from(lots))
    found = passed_over(lots, chosen, need)
    would_do = [
        one for one in lots if never(one) < never(chosen) and one.free_mg >= need
    ]
    assert (found is None) == (not would_do)
    if found is not None:
        assert found in would_do
        assert never(found) == min(never(one) for one in would_do)


@given(candidates(), st.integers(0, 9))
def test_the_first_in_turn_passes_nothing_over(
    lots: list[Candidate], need: int
) -> None:
    assert passed_over(lots, in_turn(lots)[0], need) is None


# ------------------------------------------------------------------ at the pot


def oil_lots(crew: make.Crew, *days: int | None, kilograms: int = 5) -> list[RawLot]:
    """Return released lots of oil that expire in so many days, None for never."""
    return [
        make.released_lot(
            crew,
            make.sunflower(crew.maker),
            quantity_mg=kilograms * KG,
            expires_on=day if day is None else make.TODAY + day * DAY,
        )
        for day in days
    ]


def pot(crew: make.Crew, **changes: Any) -> tuple[Batch, FormulaLine]:
    batch = make.open_batch(crew, **changes)
    make.go_through(crew, batch)
    return batch, make.line_of(batch, "sunflower oil")


def charge(
    crew: make.Crew, batch: Batch, lot: RawLot, net_mg: int, why: str = ""
) -> Charge:
    return make.charge(crew, batch, lot.stock, net_mg, how=How(passed_over=why))


@pytest.mark.django_db
def test_lots_are_proposed_in_their_turn(crew: make.Crew) -> None:
    _, line = pot(crew)
    never_1, late, early, never_2 = oil_lots(crew, None, 300, 100, None)
    RawLot.objects.filter(pk=never_2.pk).update(received_on=make.TODAY - 9 * DAY)
    found = [stock.pk for stock in proposing.proposed(line, make.TODAY)]
    assert found == [one.pk for one in (early, late, never_2, never_1)]


@pytest.mark.django_db
def test_a_later_lot_is_refused_without_a_reason_and_keeps_the_one_given(
    crew: make.Crew,
) -> None:
    batch, _ = pot(crew)
    late, early = oil_lots(crew, 300, 100)
    with pytest.raises(Refusal, match=f"{early.code} expires on .* and holds") as stop:
        charge(crew, batch, late, 100_000)
    assert stop.value.field == "passed_over"
    assert late.code in stop.value.message
    assert not Charge.objects.exists()
    row = charge(crew, batch, late, 100_000, " behind the press ")
    assert row.passed_over == "behind the press"
    # Asked once for each source in a batch.
    assert charge(crew, batch, late, 100_000).passed_over == ""


@pytest.mark.django_db
def test_a_lot_without_a_date_comes_after_one_that_expires(crew: make.Crew) -> None:
    batch, _ = pot(crew)
    never_, early = oil_lots(crew, None, 100)
    with pytest.raises(Refusal, match="has no date"):
        charge(crew, batch, never_, 100_000)
    assert charge(crew, batch, early, 100_000, "not asked").passed_over == ""


def potash_lots(crew: make.Crew, *days: tuple[int | None, int | None]) -> list[RawLot]:
    """Return released lots of potash, each with days until expiry and until retest."""
    return [
        make.released_lot(
            crew,
            make.potash(crew.maker),
            quantity_mg=5 * KG,
            expires_on=None if expiry is None else make.TODAY + expiry * DAY,
            retest_on=None if retest is None else make.TODAY + retest * DAY,
        )
        for expiry, retest in days
    ]


@pytest.mark.django_db
def test_a_lot_is_taken_by_the_earlier_of_expiry_and_retest(crew: make.Crew) -> None:
    batch, _ = pot(crew)
    line = make.line_of(batch, "potash flakes")
    lots = potash_lots(
        crew, (None, None), (90, None), (None, 60), (80, 50), (40, 70), (None, 30)
    )
    turn = [lots[n].pk for n in (5, 4, 3, 2, 1, 0)]
    assert [stock.pk for stock in proposing.proposed(line, make.TODAY)] == turn
    assert [lot.pk for lot in RawLot.objects.usable(make.TODAY)] == turn


@pytest.mark.django_db
def test_passing_over_a_lot_that_is_due_for_retest_earlier_asks_why(
    crew: make.Crew,
) -> None:
    batch, _ = pot(crew)
    line = make.line_of(batch, "potash flakes")
    late, early = potash_lots(crew, (20, 90), (None, 10))
    facts: dict[str, Any] = {
        "batch": batch,
        "line": line,
        "net_mg": 100_000,
        "on": make.TODAY,
    }
    left = proposing.needs_reason(source=late.stock, **facts)
    assert left == early
    assert proposing.needs_reason(source=early.stock, **facts) is None
    assert left is not None
    due, end = (f"{make.TODAY + days * DAY:%d %b %Y}" for days in (10, 20))
    words = proposing.words_for(left, late.stock)
    assert f"{early.code} is due for retest on {due}, before {late.code} ({end})" in (
        words
    )


@pytest.mark.django_db
def test_lots_of_one_date_may_be_taken_in_any_order(crew: make.Crew) -> None:
    batch, _ = pot(crew)
    _, second = oil_lots(crew, 100, 100)
    assert charge(crew, batch, second, 100_000).passed_over == ""


@pytest.mark.django_db
@pytest.mark.parametrize("why_not", ["too little", "on hold", "expired", "later"])
def test_what_could_not_be_taken_is_not_passed_over(
    crew: make.Crew, why_not: str
) -> None:
    batch, _ = pot(crew)
    late, early = oil_lots(crew, 300, 100, kilograms=1)
    need = KG // 2
    if why_not == "too little":
        charge(crew, batch, early, need + 1)
    elif why_not == "on hold":
        RawLot.objects.filter(pk=early.pk).update(status="on_hold")
    elif why_not == "expired":
        past = {"expires_on": make.TODAY - DAY, "received_on": make.TODAY - 9 * DAY}
        RawLot.objects.filter(pk=early.pk).update(**past)
    else:  # it was not there yet when that was weighed
        RawLot.objects.filter(pk=early.pk).update(received_on=make.TODAY + DAY)
    assert charge(crew, batch, late, need).passed_over == ""


@pytest.mark.django_db
def test_what_is_meant_for_another_batch_is_not_passed_over(crew: make.Crew) -> None:
    late, early = oil_lots(crew, 300, 100, kilograms=1)
    other, line = pot(crew)
    planning.choose_lots(by=crew.maker, batch=other, choices={line.pk: early.stock})
    meant = proposing.reserved_mg([early.stock])[early.pk]
    batch, _ = pot(crew)
    free = KG - meant
    assert free > 0
    with pytest.raises(Refusal, match=early.code):
        charge(crew, batch, late, free)
    assert charge(crew, batch, late, free + 1).passed_over == ""


@pytest.mark.django_db
def test_what_is_meant_for_the_batch_itself_is_free_for_it(crew: make.Crew) -> None:
    """It means to use 800 g of 1 kg, so 500 g are there for it alone."""
    late, early = oil_lots(crew, 300, 100, kilograms=1)
    batch, line = pot(crew)
    planning.choose_lots(by=crew.maker, batch=batch, choices={line.pk: early.stock})
    assert KG - proposing.reserved_mg([early.stock])[early.pk] < KG // 2
    with pytest.raises(Refusal, match=early.code):
        charge(crew, batch, late, KG // 2)


@pytest.mark.django_db
def test_an_amendment_keeps_why_a_lot_was_passed_over(crew: make.Crew) -> None:
    batch, _ = pot(crew)
    late, _ = oil_lots(crew, 300, 100)
    row = charge(crew, batch, late, 100_000, "behind the press")
    again = cooking.amend_charge(
        by=crew.maker, charge=row, gross_mg=120_000, tare_mg=0, reason="misread"
    )
    assert again.passed_over == "behind the press"


# ------------------------------------------------------------------ reservations


@pytest.mark.django_db
def test_a_lot_is_meant_for_the_batches_that_chose_it_and_lack_it(
    crew: make.Crew,
) -> None:
    """1 kg of oils, 80 % of it sunflower (the formula of these tests): 800 g."""
    (lot,) = oil_lots(crew, 100)
    batch, line = pot(crew, basis_mg=1 * KG)
    share = line.per_kg_mg
    assert share is not None
    assert proposing.reserved_mg([lot.stock]) == {}
    planning.choose_lots(by=crew.maker, batch=batch, choices={line.pk: lot.stock})
    assert proposing.reserved_mg([lot.stock]) == {lot.pk: share}
    assert proposing.reserved_mg([lot.stock], besides=batch) == {}
    charge(crew, batch, lot, 300_000)
    assert proposing.reserved_mg([lot.stock]) == {lot.pk: share - 300_000}
    (found,) = proposing.reservations([lot.stock])[lot.pk]
    assert found.number == batch.number
    charge(crew, batch, lot, share - 310_000)  # more than nine tenths: it is weighed
    assert proposing.reserved_mg([lot.stock]) == {}


@pytest.mark.django_db
def test_potash_is_meant_as_the_plan_computes_it(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    lines = batch.formula_version.lines.select_related("material", "source_formula")
    chosen = {line.pk: make.stock_of(crew, line) for line in lines}
    planning.choose_lots(by=crew.maker, batch=batch, choices=chosen)
    *_, potash = planning.plan_of(batch).lines
    assert potash.kind == "potash"
    assert potash.source is not None
    meant = proposing.reserved_mg([potash.source])
    assert meant == {potash.source.pk: potash.target_mg}


@pytest.mark.django_db
@pytest.mark.parametrize("how", ["abandoned", "yield weighed"])
def test_a_batch_that_is_done_at_the_pot_reserves_nothing(
    crew: make.Crew, how: str
) -> None:
    (lot,) = oil_lots(crew, 100)
    batch, line = pot(crew)
    planning.choose_lots(by=crew.maker, batch=batch, choices={line.pk: lot.stock})
    water = make.released_lot(crew, make.water(crew.maker))
    make.charge(crew, batch, water.stock, 100_000)
    assert proposing.reserved_mg([lot.stock])
    if how == "abandoned":
        cooking.abandon(by=crew.maker, batch=make.fresh(batch), reason="no gas")
    else:
        make.weigh_bulk(crew, make.fresh(batch))
    assert proposing.reserved_mg([lot.stock]) == {}


@pytest.mark.django_db
def test_a_charge_that_takes_what_another_batch_means_to_use_is_warned_about(
    crew: make.Crew,
) -> None:
    (lot,) = oil_lots(crew, 100, kilograms=1)
    other, line = pot(crew)
    planning.choose_lots(by=crew.maker, batch=other, choices={line.pk: lot.stock})
    batch, _ = pot(crew)
    harmless = charge(crew, batch, lot, 10_000)
    assert proposing.taken_from_others(harmless) == ""
    row = charge(crew, batch, lot, 600_000)  # a warning, not a refusal
    said = proposing.taken_from_others(row)
    assert said.startswith(f"{lot.code} now holds 390 g, less than is meant")
    assert other.number in said


@pytest.mark.django_db
def test_more_open_batches_ask_no_more_questions(crew: make.Crew) -> None:
    (lot,) = oil_lots(crew, 100)

    def questions(batches: Iterable[int]) -> int:
        for _ in batches:
            batch, line = pot(crew)
            planning.choose_lots(
                by=crew.maker, batch=batch, choices={line.pk: lot.stock}
            )
        with CaptureQueriesContext(
            connection,
        ) as asked:
            assert proposing.reserved_mg([lot.stock])
        return len(asked)

    assert questions(range(2)) == questions(range(6)) == 2
