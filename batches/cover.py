"""Days of cover: how long a material lasts at the use of late, before it expires.

Pure: no Django. Masses are whole milligrams, days calendar days where the premises
lies. Lots are used one after another, first expired first, every day as much as in the
mean of the days counted; what is left of a lot when its last day ends is out of use.
Usable before expiry over mean daily use, requirements C25; common practice, no source.

Two lots at 100 g a day from 1 May: of 1 kg with its last day on 5 May half is used in
five days and half is too late; then 300 g without a date last three days more.

>>> today = datetime.date(2026, 5, 1)
>>> lots = [Kept(300_000), Kept(1_000_000, datetime.date(2026, 5, 5))]
>>> found = cover(lots, used_mg=9_000_000, days=90, today=today)
>>> found.days, found.usable_mg, found.too_late_mg
(Fraction(8, 1), Fraction(800000, 1), Fraction(500000, 1))
"""

from __future__ import annotations

import dataclasses
import datetime
from collections.abc import Iterable
from fractions import Fraction

WINDOW = 90  # days of use that are counted
# The use of a day or a week says nothing of the next: ours, common practice, no source.
LEAST_HISTORY = 14


class CoverError(ValueError):
    """What is asked for has no cover; the message says why."""


@dataclasses.dataclass(frozen=True)
class Kept:
    """What is left of a lot, and the last day on which it may be used, if there is one.

    The day itself is still good.
    """

    mass_mg: int
    last_day: datetime.date | None = None


@dataclasses.dataclass(frozen=True, kw_only=True)
class Cover:
    """How long it lasts. ``days`` is None without use: then there is no forecast.

    ``usable_mg`` is what can be used in time, ``too_late_mg`` what cannot; without
    use all that is in date is usable. ``daily_mg`` is the mean use a day.
    """

    days: Fraction | None
    usable_mg: Fraction
    too_late_mg: Fraction
    daily_mg: Fraction


def days_counted(first: datetime.date, today: datetime.date) -> int:
    """Return over how many days use is counted: 90, or fewer for what is newer.

    ``first`` is the day of the first receipt, which counts, as does today.

    >>> days_counted(datetime.date(2026, 5, 1), datetime.date(2026, 5, 10))
    10
    >>> days_counted(datetime.date(2025, 5, 1), datetime.date(2026, 5, 10))
    90

    Raises :class:`CoverError` for a first receipt in the future.
    """
    if first > today:
        raise CoverError("Nothing of this has come yet.")
    return min(WINDOW, (today - first).days + 1)


def cover(
    lots: Iterable[Kept], *, used_mg: int, days: int, today: datetime.date
) -> Cover:
    """Return how long these lots last if ``used_mg`` in ``days`` days goes on.

    Use begins with today as a whole day. What is past its last day is too late.

    >>> cover([Kept(5)], used_mg=0, days=90, today=datetime.date(2026, 5, 1)).days

    Raises :class:`CoverError` for a mass below nothing or a window without a day. Use
    below nothing, where more was taken back than drawn, counts as none.
    """
    lots = list(lots)
    if days < 1 or any(lot.mass_mg < 0 for lot in lots):
        raise CoverError("Cover needs at least a day of use, and no mass below zero.")
    daily = max(Fraction(used_mg, days), Fraction(0))
    gone, usable, too_late = Fraction(0), Fraction(0), Fraction(0)
    for lot in sorted(lots, key=lambda one: one.last_day or datetime.date.max):
        used = Fraction(lot.mass_mg)
        if lot.last_day is not None:
            left = (lot.last_day - today).days + 1 - gone
            if left <= 0:
                used = Fraction(0)
            elif daily:
                used = min(used, left * daily)
        usable += used
        too_late += lot.mass_mg - used
        if daily:
            gone += used / daily
    return Cover(
        days=gone if daily else None,
        usable_mg=usable,
        too_late_mg=too_late,
        daily_mg=daily,
    )
