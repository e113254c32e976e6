"""How long a pot was above its limit: by hand, then whatever the readings are."""

from __future__ import annotations

import datetime
from decimal import Decimal
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batches.excursions import Class, Excursion, Point, excursions
from batches.models import Batch, Reading
from batches.services import cooking
from batches.services.excursions import excursions_of, sentence
from quality.services.reviewing import review_of
from tests import make

LIMIT = Decimal(70)
TEN = datetime.datetime(2026, 10, 5, 10, 0, tzinfo=datetime.UTC)
MINUTE = datetime.timedelta(minutes=1)


def points(*readings: tuple[float, str]) -> list[Point]:
    return [
        Point(at=TEN + minute * MINUTE, celsius=Decimal(celsius))
        for minute, celsius in readings
    ]


def only(*readings: tuple[float, str]) -> Excursion:
    (found,) = excursions(points(*readings), LIMIT)
    return found


# ------------------------------------------------------- worked by hand, on paper


def test_up_and_down_on_straight_lines() -> None:
    """66 → 74 crosses 70 half way; 74 → 68 after 4 of 6 degrees, so after 10 of 15."""
    found = only((0, "66"), (10, "74"), (25, "68"))
    assert found.start == TEN + 5 * MINUTE
    assert found.end == TEN + 20 * MINUTE
    assert found.minutes == 15
    assert found.peak == 74
    assert found.degrees_above == 4
    assert (found.at_least, found.at_most) == (0 * MINUTE, 25 * MINUTE)
    assert found.classed is Class.UNSAID


# Limits of E5: 5 minutes and 10 °C, each alone, on both sides.
@pytest.mark.parametrize(
    ("readings", "classed"),
    [
        # at most 4 min between the cool readings on both sides: surely under 5
        ([(0, "69"), (2, "71"), (4, "69")], Class.MINOR),
        ([(0, "69"), (2, "71"), (4.9, "69")], Class.MINOR),
        # at most 5 is not under 5; at least none: both are open
        ([(0, "69"), (2, "71"), (5, "69")], Class.UNSAID),
        # about 2.9 min on the straight lines, but half an hour apart: at most 60
        ([(0, "60"), (30, "70.5"), (60, "60")], Class.UNSAID),
        # at least 4.9, at most 6.9; at least 5
        ([(0, "69"), (1, "71"), (5.9, "71"), (6.9, "69")], Class.UNSAID),
        ([(0, "69"), (1, "71"), (6, "71"), (7, "69")], Class.MAJOR),
        # ten degrees above are major however short
        ([(0, "70"), (1, "80"), (2, "70")], Class.MAJOR),
        ([(0, "70"), (1, "79.9"), (2, "70")], Class.MINOR),
        # not seen to begin, or to end: nothing bounds it
        ([(0, "75")], Class.UNSAID),
        ([(0, "71"), (1, "69")], Class.UNSAID),
        ([(0, "69"), (1, "71")], Class.UNSAID),
        ([(0, "71"), (5, "71")], Class.MAJOR),
    ],
)
def test_the_class_claims_no_more_than_the_readings_say(
    readings: list[tuple[float, str]], classed: Class
) -> None:
    found = only(*readings)
    assert found.classed is classed
    assert found.is_minor is (classed is Class.MINOR)


def test_a_reading_at_the_limit_is_not_above_it_and_ends_it_there() -> None:
    assert excursions(points((0, "70"), (10, "70")), LIMIT) == []
    found = only((0, "70"), (10, "72"), (20, "70"))
    assert (found.start, found.end) == (TEN, TEN + 20 * MINUTE)
    assert found.minutes == 20


def test_one_that_was_not_seen_to_end_goes_on_and_is_not_minor() -> None:
    found = only((0, "69"), (1, "71"), (2, "71.5"))
    assert found.end is None
    assert found.minutes == 1.5
    assert found.at_most is None
    assert not found.is_minor


def test_one_that_began_before_the_first_reading_counts_from_there() -> None:
    found = only((3, "72"), (6, "68"))
    assert not found.start_seen
    assert found.start == TEN + 3 * MINUTE
    assert found.end == TEN + 4.5 * MINUTE
    assert found.at_most is None


def test_a_cool_reading_between_makes_two() -> None:
    first, second = excursions(
        points((0, "68"), (4, "72"), (8, "68"), (12, "76"), (16, "64")), LIMIT
    )
    assert first.minutes == 4
    assert first.peak == 72
    assert (second.start, second.end) == (TEN + 9 * MINUTE, TEN + 14 * MINUTE)


def test_no_reading_no_excursion() -> None:
    assert excursions([], LIMIT) == []


# ------------------------------------------------------- whatever the readings are

READINGS = st.lists(
    st.builds(
        Point,
        at=st.integers(0, 600).map(lambda minute: TEN + minute * MINUTE),
        celsius=st.decimals(40, 100, places=1),
    ),
    max_size=20,
    unique_by=lambda point: point.at,
)


@given(READINGS)
def test_the_estimate_lies_between_least_and_most(
    readings: list[Point],
) -> None:
    for one in excursions(readings, LIMIT):
        assert datetime.timedelta(0) <= one.at_least <= one.above
        assert one.at_most is None or one.above <= one.at_most
        assert one.peak > LIMIT
        if one.is_minor:
            assert one.at_most is not None
            assert one.at_most < 5 * MINUTE
        if one.classed is Class.MAJOR:
            assert one.at_least >= 5 * MINUTE or one.peak >= LIMIT + 10


@given(READINGS)
def test_each_reading_above_lies_in_one_excursion_and_no_other_in_any(
    readings: list[Point],
) -> None:
    found = excursions(readings, LIMIT)
    for point in readings:
        inside = [
            one
            for one in found
            if one.start <= point.at and (one.end is None or point.at <= one.end)
        ]
        if point.celsius > LIMIT:
            assert len(inside) == 1
            assert inside[0].peak >= point.celsius
        else:  # at the very end at most, where it is at the limit
            assert all(point.at in {one.start, one.end} for one in inside)


@given(READINGS, st.integers(-500, 500), st.randoms())
def test_order_and_the_hour_of_the_day_do_not_matter(
    readings: list[Point], minutes: int, random: Random
) -> None:
    later = [
        Point(at=point.at + minutes * MINUTE, celsius=point.celsius)
        for point in readings
    ]
    random.shuffle(later)
    moved, here = excursions(later, LIMIT), excursions(readings, LIMIT)
    assert [(one.above, one.peak, one.is_minor) for one in moved] == [
        (one.above, one.peak, one.is_minor) for one in here
    ]


@given(READINGS)
def test_a_higher_limit_is_never_exceeded_for_longer(readings: list[Point]) -> None:
    def total(limit: str) -> datetime.timedelta:
        found = excursions(readings, Decimal(limit))
        return sum((one.above for one in found), datetime.timedelta(0))

    # Rounded to whole microseconds, two of them for each excursion.
    assert total("75") <= total("70") + datetime.timedelta(microseconds=2 * 20)


# ------------------------------------------------------- a batch, by its readings


def read(crew: make.Crew, batch: Batch, minute: float, celsius: str) -> Reading:
    return cooking.record_reading(
        by=crew.maker,
        batch=batch,
        characteristic="temperature",
        value=Decimal(celsius),
        instrument=make.thermometer(crew.maker),
        observed_at=TEN + minute * MINUTE,
    )


@pytest.fixture
def cook(crew: make.Crew) -> Batch:
    batch = make.open_batch(crew, opened_at=TEN - 60 * MINUTE)
    make.charge_all(crew, batch)
    return make.fresh(batch)


@pytest.mark.django_db
def test_the_excursions_of_a_batch_go_by_when_it_was_read(
    crew: make.Crew, cook: Batch
) -> None:
    read(crew, cook, 4, "68")  # entered first, read last
    read(crew, cook, 0, "68")
    read(crew, cook, 2, "72")
    (found,) = excursions_of(cook)
    assert found.minutes == 2
    assert found.is_minor
    assert sentence(found) == (
        "It was at 72.0 °C; the formula allows 70.0 °C. Above it from about 10:01 on 5"
        " Oct 2026 for about 2 min, estimated between readings (at least 0, at most"
        " 4). A minor excursion: under 5 min and under 10 °C above."
    )


@pytest.mark.django_db
def test_a_corrected_reading_no_longer_makes_one(crew: make.Crew, cook: Batch) -> None:
    wrong = read(crew, cook, 0, "86")
    assert excursions_of(cook)
    cooking.amend_reading(
        by=crew.maker,
        reading=wrong,
        value=Decimal(68),
        instrument=wrong.instrument,
        reason="read the wrong way round",
    )
    assert excursions_of(cook) == []


@pytest.mark.django_db
def test_a_reviewer_is_told_the_minutes_the_peak_and_the_class(
    crew: make.Crew, cook: Batch
) -> None:
    read(crew, cook, 0, "66")
    read(crew, cook, 10, "74")
    read(crew, cook, 25, "68")
    notes = review_of(cook, by=crew.reviewer).notes
    (told,) = [note for note in notes if note.startswith("It was at 74.0 °C")]
    assert "for about 15 min" in told
    assert "at least 0, at most 25" in told
    assert "It may be minor: the readings are too far apart to say" in told


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("readings", "said"),
    [
        (
            [(0, "75")],
            (
                "Above it since before 10:00 on 5 Oct 2026, for at least 0 min; no"
                " earlier reading shows when it began. None since lies at or below"
                " the limit. Not seen to end, so it is treated as a major excursion."
            ),
        ),
        (
            [(0, "75"), (20, "75"), (25, "65")],
            (
                "Above it since before 10:00 on 5 Oct 2026 until about 10:22 on 5 Oct"
                " 2026, for at least 20 min; no earlier reading shows when it began. A"
                " major excursion: 5 min or more, or 10 °C or more above."
            ),
        ),
        (
            [(0, "60"), (30, "70.5"), (60, "60")],
            (
                "Above it from about 10:28 on 5 Oct 2026 for about 2.9 min, estimated"
                " between readings (at least 0, at most 60). It may be minor: the"
                " readings are too far apart to say, so it is treated as a major"
                " excursion."
            ),
        ),
    ],
)
def test_what_no_reading_shows_is_not_claimed(
    crew: make.Crew, cook: Batch, readings: list[tuple[float, str]], said: str
) -> None:
    for minute, celsius in readings:
        read(crew, cook, minute, celsius)
    (found,) = excursions_of(cook)
    assert sentence(found).endswith(said)
