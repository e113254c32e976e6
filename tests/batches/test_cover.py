"""Days of cover: worked by hand, by counting days, and from the records."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from decimal import Decimal
from fractions import Fraction
from zoneinfo import ZoneInfo

import pytest
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from batches.cover import Cover, CoverError, Kept, cover, days_counted
from batches.services import planning
from batches.services.cover import cover_all, cover_of
from batches.tables.store import lasts_words, why_words
from producer.models import Premises, RawLot, Stock, StockMovement
from producer.services import intake, stock
from tests import make

TODAY = datetime.date(2026, 5, 1)
KG = make.KG


def ahead(days: int) -> datetime.date:
    return TODAY + datetime.timedelta(days=days)


def found(*lots: Kept, used_g: int = 9000, days: int = 90) -> Cover:
    return cover(lots, used_mg=used_g * 1000, days=days, today=TODAY)


# By hand, 9 kg in 90 days: 100 g a day. Rule: requirements, C25.
@pytest.mark.parametrize(
    ("lots", "days", "too_late_g"),
    [
        ([], 0, 0),
        # 1 kg without a date: ten days
        ([Kept(KG)], 10, 0),
        # the last day is today: today's use, the rest is too late
        ([Kept(KG, TODAY)], 1, 900),
        ([Kept(KG, ahead(-1))], 0, 1000),
        # ten days are today and nine more: all of it is used
        ([Kept(KG, ahead(9))], 10, 0),
        ([Kept(KG, ahead(8))], 9, 100),
        # the dated lot goes first, though it is named last
        ([Kept(KG), Kept(300_000, ahead(2))], 13, 0),
        # two dated lots: the first takes five days, the second has one left
        ([Kept(500_000, ahead(4)), Kept(300_000, ahead(5))], 6, 200),
        # 50 g last half a day
        ([Kept(50_000)], Fraction(1, 2), 0),
    ],
)
def test_worked_examples(
    lots: list[Kept], days: Fraction | int, too_late_g: int
) -> None:
    result = found(*lots)
    assert result.days == days
    assert result.too_late_mg == too_late_g * 1000
    assert result.usable_mg == days * 100_000
    assert result.daily_mg == 100_000


def test_without_use_there_is_no_forecast_and_all_in_date_is_usable() -> None:
    result = found(Kept(KG, TODAY), Kept(5, ahead(-1)), used_g=0)
    assert result.days is None
    assert (result.usable_mg, result.too_late_mg) == (Fraction(KG), Fraction(5))
    assert found(Kept(KG), used_g=-3).days is None


@pytest.mark.parametrize(("mass", "days"), [(-1, 90), (1, 0)])
def test_what_cannot_be_is_refused(mass: int, days: int) -> None:
    with pytest.raises(CoverError):
        found(Kept(mass), days=days)


@pytest.mark.parametrize(
    ("first", "days"), [(0, 1), (-1, 2), (-88, 89), (-89, 90), (-90, 90), (-400, 90)]
)
def test_use_is_counted_over_90_days_or_since_the_first_receipt(
    first: int, days: int
) -> None:
    assert days_counted(ahead(first), TODAY) == days


def test_a_first_receipt_in_the_future_is_refused() -> None:
    with pytest.raises(CoverError):
        days_counted(ahead(1), TODAY)


lots = st.lists(
    st.builds(
        Kept,
        st.integers(0, 5000),
        st.none() | st.integers(-3, 60).map(ahead),
    ),
    max_size=6,
)


def day_by_day(kept: list[Kept], daily: int) -> tuple[int, int]:
    """Use the lots day after day; return what was used and what went out of date."""
    lasts = sorted(one.last_day or datetime.date.max for one in kept)
    in_order = sorted(kept, key=lambda one: one.last_day or datetime.date.max)
    left = [one.mass_mg for one in in_order]
    day, used, late = TODAY, 0, 0
    while any(left):
        wanted = daily
        for at, last in enumerate(lasts):
            if last < day:
                late, left[at] = late + left[at], 0
            taken = min(wanted, left[at])
            left[at] -= taken
            wanted -= taken
            used += taken
        day += datetime.timedelta(days=1)
    return used, late


@given(kept=lots, daily=st.integers(1, 700))
def test_it_is_what_using_it_day_by_day_gives(kept: list[Kept], daily: int) -> None:
    result = cover(kept, used_mg=daily * 7, days=7, today=TODAY)
    used, late = day_by_day(kept, daily)
    # Within a day the lots follow one another without a gap only where none expires.
    assert result.usable_mg + result.too_late_mg == sum(one.mass_mg for one in kept)
    assert result.days is not None
    assert result.days * daily == result.usable_mg
    assert result.usable_mg == used
    assert result.too_late_mg == late


@given(kept=lots, used=st.integers(1, 9000), more=st.integers(1, 500))
def test_a_lot_more_never_shortens_it_and_more_use_never_lengthens_it(
    kept: list[Kept], used: int, more: int
) -> None:
    first = cover(kept, used_mg=used, days=90, today=TODAY).days
    fuller = cover([*kept, Kept(more)], used_mg=used, days=90, today=TODAY).days
    faster = cover(kept, used_mg=used + more, days=90, today=TODAY).days
    assert first is not None
    assert fuller is not None
    assert faster is not None
    assert fuller - first == Fraction(more * 90, used)
    assert faster <= first


# ------------------------------------------------------------------ from the records


def draw(
    crew: make.Crew,
    lot: RawLot,
    mass_mg: int,
    at: datetime.datetime,
    kind: StockMovement.Kind = StockMovement.Kind.DRAW,
) -> None:
    stock.move(
        by=crew.maker,
        stock=Stock.objects.get(pk=lot.pk),
        kind=kind,
        amount_mg=mass_mg if kind == StockMovement.Kind.DRAW_BACK else -mass_mg,
        observed_at=at,
    )


def days_ago(days: int) -> datetime.datetime:
    return timezone.now() - datetime.timedelta(days=days)


@pytest.mark.django_db
def test_what_was_drawn_in_the_window_counts_and_nothing_else(crew: make.Crew) -> None:
    oil = make.sunflower(crew.maker)
    lot = make.released_lot(
        crew, oil, quantity_mg=10 * KG, received_on=make.TODAY - datetime.timedelta(200)
    )
    draw(crew, lot, KG, days_ago(91))
    draw(crew, lot, KG, days_ago(80))
    draw(crew, lot, KG, days_ago(3))
    draw(crew, lot, 200_000, days_ago(3), StockMovement.Kind.DRAW_BACK)
    stock.dispose(by=crew.maker, lot=lot, amount_mg=KG, reason="rancid")
    row = cover_of(oil)
    assert row.window == 90
    assert row.cover.daily_mg == Fraction(1_800_000, 90) == 20_000
    assert row.on_hand_mg == row.usable_mg == 6_200_000
    assert row.days == 310


@pytest.mark.django_db
@pytest.mark.parametrize(("ago", "days"), [(12, None), (13, 126)])
def test_what_is_new_is_counted_since_it_came_and_foretold_from_14_days_on(
    crew: make.Crew, ago: int, days: int | None
) -> None:
    """1 kg in 14 days, 9 kg left: 126 days. A day less of history says nothing."""
    oil = make.sunflower(crew.maker)
    lot = make.released_lot(
        crew, oil, quantity_mg=10 * KG, received_on=make.TODAY - datetime.timedelta(ago)
    )
    draw(crew, lot, KG, days_ago(2))
    row = cover_of(oil)
    assert row.window == ago + 1
    assert row.days == days
    if days is None:
        assert lasts_words(row) == "no forecast yet"
        assert why_words(row) == "13 days of history; a forecast needs 14."
        draw(crew, lot, 9 * KG, days_ago(1))
        assert cover_of(oil).days == 0  # that nothing is left is no forecast
    else:
        assert lasts_words(row) == "126 days"


@pytest.mark.django_db
def test_only_what_is_released_and_in_date_covers(crew: make.Crew) -> None:
    oil = make.sunflower(crew.maker)
    soon = make.TODAY + datetime.timedelta(days=4)
    past = make.TODAY - datetime.timedelta(days=1)
    early = make.TODAY - datetime.timedelta(days=20)
    good = make.released_lot(crew, oil, quantity_mg=2 * KG, received_on=early)
    first = make.released_lot(
        crew, oil, quantity_mg=KG, received_on=early, expires_on=soon
    )
    make.held_lot(crew, oil, quantity_mg=3 * KG, received_on=early)
    # Released while it was in date; its retest day has passed since.
    gone = make.released_lot(
        crew, oil, quantity_mg=5 * KG, received_on=early, retest_on=past
    )
    row = cover_of(oil)
    assert (row.usable_mg, row.waiting_mg) == (3 * KG, 3 * KG)
    assert row.out_of_use_mg == 5 * KG
    assert row.on_hand_mg == 11 * KG
    assert row.next_last_day == soon
    assert [lot.pk for lot in row.lots][:3] == [first.pk, good.pk, gone.pk]
    assert row.days is None
    assert row.cover.too_late_mg == 0


@pytest.mark.django_db
def test_the_days_are_those_of_the_premises(crew: make.Crew) -> None:
    # Apia is 13 hours ahead: late evening in UTC is tomorrow there.
    Premises.objects.update(time_zone="Pacific/Apia")
    oil = make.sunflower(crew.maker)
    lot = make.released_lot(
        crew,
        oil,
        quantity_mg=10 * KG,
        received_on=datetime.date(2026, 1, 1),
        expires_on=datetime.date(2026, 12, 31),
    )
    zone = ZoneInfo("Pacific/Apia")
    just_in = datetime.datetime(2026, 5, 1, 23, 59, tzinfo=zone)
    just_out = datetime.datetime(2026, 5, 2, 0, 0, tzinfo=zone)
    before = datetime.datetime(2026, 1, 31, 23, 59, tzinfo=zone)
    begins = datetime.datetime(2026, 2, 1, 0, 0, tzinfo=zone)
    for at, mass in ((before, 1), (begins, 10), (just_in, 100), (just_out, 1000)):
        draw(crew, lot, mass, at)
    row = cover_of(oil, datetime.date(2026, 5, 1))
    assert row.window == 90
    assert row.cover.daily_mg == Fraction(110, 90)


@pytest.mark.django_db
def test_what_open_batches_mean_to_use_is_told(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    line = make.line_of(batch, "sunflower oil")
    source = make.stock_of(crew, line)
    planning.choose_lots(by=crew.maker, batch=batch, choices={line.pk: source})
    row = cover_of(make.sunflower(crew.maker))
    assert row.reserved_mg == 800_000


@pytest.mark.django_db
def test_what_is_meant_for_open_batches_shortens_what_is_left_after_it(
    crew: make.Crew,
) -> None:
    """9 kg in 90 days, 5 kg left: 50 days; 0.8 kg are meant for a batch: 42."""
    oil = make.sunflower(crew.maker)
    lot = make.released_lot(
        crew, oil, quantity_mg=14 * KG, received_on=make.TODAY - datetime.timedelta(200)
    )
    draw(crew, lot, 9 * KG, days_ago(3))
    assert cover_of(oil).days_after_meant is None
    assert lasts_words(cover_of(oil)) == "50 days"
    batch = make.open_batch(crew)
    line = make.line_of(batch, "sunflower oil")
    planning.choose_lots(by=crew.maker, batch=batch, choices={line.pk: lot.stock})
    row = cover_of(oil)
    assert row.days == 50
    assert row.days_after_meant == 42
    assert lasts_words(row) == "50 days; after what is meant: 42 days"


@pytest.mark.django_db
def test_all_materials_take_no_more_queries_than_one(
    crew: make.Crew, django_assert_max_num_queries: Callable[..., object]
) -> None:
    for material in (make.sunflower, make.coconut, make.potash, make.water):
        make.released_lot(crew, material(crew.maker))
        make.held_lot(crew, material(crew.maker))
    with django_assert_max_num_queries(12):  # type: ignore[attr-defined]
        rows = cover_all()
    names = [row.material.name for row in rows]
    assert len(names) == 4
    assert names == sorted(names)
    assert all(row.on_hand_mg == 10 * KG for row in rows)
    assert Decimal(0) == rows[0].cover.daily_mg


@pytest.mark.django_db
def test_what_has_run_out_stays_in_the_list(crew: make.Crew) -> None:
    oil = make.sunflower(crew.maker)
    lot = make.held_lot(crew, oil, quantity_mg=KG)
    stock.dispose(by=crew.maker, lot=lot, amount_mg=KG, reason="rancid")
    make.coconut(crew.maker)  # never came
    (row,) = cover_all()
    assert (row.on_hand_mg, list(row.lots), row.days) == (0, [], None)


@pytest.mark.django_db
def test_a_rejected_lot_covers_nothing(crew: make.Crew) -> None:
    oil = make.sunflower(crew.maker)
    lot = make.held_lot(crew, oil, quantity_mg=KG)
    intake.decide_lot(by=crew.reviewer, lot=lot, new="rejected", reason="rancid")
    row = cover_of(oil)
    assert (row.usable_mg, row.waiting_mg, row.out_of_use_mg) == (0, 0, KG)
