"""Excursions: how long and how far a pot was above its limit, as far as readings say.

Pure. A thermometer that is read now and then says nothing about the time between. What
is returned is an estimate from the readings, beside the least and the most that they
leave open:

- the estimate crosses the limit on the straight line between the two readings on its
  two sides;
- the least is from the first to the last reading above, taking it that the pot stayed
  above in between;
- the most is from the last reading before at or below the limit to the first one after.

How bad it was follows from the least and the most, never from the estimate: a straight
line through two readings an hour apart is no measurement.

An excursion that rises and falls between two readings below the limit is not seen.
"""

from __future__ import annotations

import dataclasses
import datetime
import enum
from collections.abc import Iterable, Sequence
from decimal import Decimal
from itertools import groupby

# Requirement E5: less than 5 minutes above, by less than 10 °C, is minor. Common
# practice, no source: the harm is splatter, foaming over and water lost.
MINOR_BELOW = datetime.timedelta(minutes=5)
MINOR_BELOW_CELSIUS = Decimal(10)
_MICROSECOND = datetime.timedelta(microseconds=1)


@dataclasses.dataclass(frozen=True, kw_only=True)
class Point:
    """A temperature in °C and when it was read."""

    at: datetime.datetime
    celsius: Decimal


class Class(enum.Enum):
    """How bad an excursion was, as far as the readings say."""

    MINOR = "minor"
    MAJOR = "major"
    UNSAID = "may be minor"


@dataclasses.dataclass(frozen=True, kw_only=True)
class Excursion:
    """A time above the limit.

    ``start`` and ``end`` are estimated; ``start`` is the first reading above where
    none went before, and then ``start_seen`` is false. ``end`` is None while no reading
    since lies at or below the limit.
    ``above`` is the estimated time above, to the last reading above where it has not
    ended; ``at_most`` is None where no reading bounds it. ``peak`` is the hottest
    reading in °C; between two readings it may have been hotter.
    """

    limit: Decimal
    start: datetime.datetime
    start_seen: bool
    end: datetime.datetime | None
    peak: Decimal
    above: datetime.timedelta
    at_least: datetime.timedelta
    at_most: datetime.timedelta | None

    @property
    def degrees_above(self) -> Decimal:
        """By how many °C the hottest reading lies above the limit."""
        return self.peak - self.limit

    @property
    def minutes(self) -> float:
        """The estimated time above, in minutes."""
        return self.above / datetime.timedelta(minutes=1)

    @property
    def classed(self) -> Class:
        """Say how bad it was by E5; what the readings leave open is left open.

        Minor only where even the most is under the limit of time, major where already
        the least, or the hottest reading, reaches its own.
        """
        if self.degrees_above >= MINOR_BELOW_CELSIUS or self.at_least >= MINOR_BELOW:
            return Class.MAJOR
        if self.at_most is not None and self.at_most < MINOR_BELOW:
            return Class.MINOR
        return Class.UNSAID

    @property
    def is_minor(self) -> bool:
        """Say whether it is surely minor; what may be minor is treated as not."""
        return self.classed is Class.MINOR


def excursions(points: Iterable[Point], limit: Decimal) -> list[Excursion]:
    """Return the excursions above ``limit`` in °C, the earliest first.

    A reading at the limit is not above it. ``points`` may come in any order; of two of
    one time the later one given counts as the later.

    Worked by hand: 68 °C at 10:00, 72 at 10:10, 74 at 10:20, 66 at 10:30, limit 70. Up
    through 70 half way, 10:05; down through it half way, 10:25; so about 20 minutes,
    at least 10 and at most 30.

    >>> from datetime import datetime, timezone
    >>> def at(minute): return datetime(2026, 10, 5, 10, minute, tzinfo=timezone.utc)
    >>> readings = [(0, 68), (10, 72), (20, 74), (30, 66)]
    >>> points = [Point(at=at(m), celsius=Decimal(c)) for m, c in readings]
    >>> (found,) = excursions(points, Decimal(70))
    >>> found.minutes, found.peak, found.is_minor
    (20.0, Decimal('74'), False)
    >>> str(found.at_least), str(found.at_most)
    ('0:10:00', '0:30:00')
    """
    ordered = sorted(points, key=lambda point: point.at)
    found, place = [], 0
    for is_above, run in groupby(ordered, key=lambda point: point.celsius > limit):
        above = list(run)
        if is_above:
            before = ordered[place - 1] if place else None
            end = place + len(above)
            after = ordered[end] if end < len(ordered) else None
            found.append(_excursion(above, before, after, limit))
        place += len(above)
    return found


def _excursion(
    above: Sequence[Point], before: Point | None, after: Point | None, limit: Decimal
) -> Excursion:
    first, last = above[0], above[-1]
    start = _crossing(before, first, limit) if before else first.at
    end = _crossing(last, after, limit) if after else None
    return Excursion(
        limit=limit,
        start=start,
        start_seen=before is not None,
        end=end,
        peak=max(point.celsius for point in above),
        above=(end or last.at) - start,
        at_least=last.at - first.at,
        at_most=after.at - before.at if before and after else None,
    )


def _crossing(one: Point, two: Point, limit: Decimal) -> datetime.datetime:
    """Return when the straight line from one reading to the next is at the limit."""
    share = (limit - one.celsius) / (two.celsius - one.celsius)
    between = (two.at - one.at) // _MICROSECOND
    return one.at + datetime.timedelta(microseconds=round(between * share))
