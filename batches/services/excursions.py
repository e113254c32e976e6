"""The excursions of a batch above the limit of its formula, and what to say of them."""

from __future__ import annotations

import datetime
from decimal import Decimal

from django.utils import timezone

from batches.excursions import Class, Excursion, Point, excursions
from batches.models import Batch, Reading
from batches.services.entries import Entries, standing
from producer.quantities import format_number
from producer.wall_clock import on_the_wall

_MINUTE = datetime.timedelta(minutes=1)
_MICROSECOND = datetime.timedelta(microseconds=1)
_SHORT = 10 * _MINUTE  # below, a tenth of a minute is told too


def temperatures_of(entries: Entries) -> list[Reading]:
    """Return the temperatures of a batch that count, by the clock on the wall."""
    rows = [
        row
        for row in standing(entries.readings)
        if row.characteristic == Reading.Characteristic.TEMPERATURE
        and row.value is not None
    ]
    return sorted(rows, key=lambda row: (row.observed_at, row.pk))


def excursions_of(batch: Batch, entries: Entries | None = None) -> list[Excursion]:
    """Return when and how long a batch was above its limit, the earliest first.

    From the temperatures that count, by when they were observed.
    """
    points = [
        Point(at=row.observed_at, celsius=row.value)
        for row in temperatures_of(entries or Entries(batch))
        if row.value is not None
    ]
    return excursions(points, batch.formula_version.temperature_limit)


def sentence(one: Excursion, *, mark: str = ".") -> str:
    """Return an excursion in words, with what the readings leave open and its class."""
    hottest, limit = (
        format_number(value, mark=mark, places=1) for value in (one.peak, one.limit)
    )
    return (
        f"It was at {hottest} °C; the formula allows {limit} °C."
        f" {_how_long(one, mark)} {_class(one)}"
    )


def _how_long(one: Excursion, mark: str) -> str:
    start, least = _when(one.start), _minutes(one.at_least, mark)
    if not one.start_seen:
        until = f" until about {_when(one.end)}" if one.end else ""
        below = "" if one.end else " None since lies at or below the limit."
        return (
            f"Above it since before {start}{until}, for at least {least} min; no"
            f" earlier reading shows when it began.{below}"
        )
    if one.end is None:
        return (
            f"Above it since about {start}, {_minutes(one.above, mark)} min to the last"
            " reading; none since lies at or below it."
        )
    most = "" if one.at_most is None else f", at most {_minutes(one.at_most, mark)}"
    return (
        f"Above it from about {start} for about {_minutes(one.above, mark)} min,"
        f" estimated between readings (at least {least}{most})."
    )


def _when(at: datetime.datetime) -> str:
    local = timezone.localtime(at)
    return f"{on_the_wall(local)} on {local.day} {local:%b %Y}"


def _class(one: Excursion) -> str:
    if one.classed is Class.MINOR:
        return "A minor excursion: under 5 min and under 10 °C above."
    if one.classed is Class.MAJOR:
        return "A major excursion: 5 min or more, or 10 °C or more above."
    if one.end is None:
        return "Not seen to end, so it is treated as a major excursion."
    return (
        "It may be minor: the readings are too far apart to say, so it is treated as a"
        " major excursion."
    )


def _minutes(length: datetime.timedelta, mark: str) -> str:
    places = 1 if length < _SHORT and length % _MINUTE else 0
    minutes = Decimal(length // _MICROSECOND) / (_MINUTE // _MICROSECOND)
    return format_number(minutes, mark=mark, places=places)
