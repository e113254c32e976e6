"""Results that stand beside a later one: a bad result does not go away by repeating.

Of two results between which nothing was done to the pot, no one may pick the better one
nor their mean. Pattern: FDA, Investigating out-of-specification test results, May 2022
(seen as a list of contents only; the rule itself is common practice).
"""

from __future__ import annotations

import dataclasses
import datetime
from collections.abc import Iterator
from decimal import Decimal
from typing import TypeVar

from batches.models import Charge, Reading, Titration
from batches.services.entries import Entries, standing
from quality.models import Characteristic, Limit
from quality.services.alkali import FreeAlkali
from quality.services.conceding import Deviated
from quality.services.judging import Finding
from quality.statistics.conformity import judge

Row = TypeVar("Row", Charge, Reading, Titration)
Measured = TypeVar("Measured", Reading, Titration)


@dataclasses.dataclass(frozen=True, kw_only=True)
class Result:
    """One result that stands: its words, whether it lies inside, and its two times."""

    words: str
    acceptable: bool
    observed_at: datetime.datetime
    entered_at: datetime.datetime


def unexplained(
    judged: list[Finding], free: FreeAlkali | None, around: Deviated
) -> Iterator[str]:
    """Yield a sentence where an earlier result outside its limit is left unexplained.

    It is explained when something was weighed in or the pot was cooked on between it
    and the last one, or when a closed deviation of it gives the cause.
    """
    for characteristic, results in _series(judged, free, around.entries):
        if not results or not results[-1].acceptable:
            continue  # nothing was measured, or the last one stops it already
        last = results[-1]
        left = [
            one.words
            for one in results[:-1]
            if not one.acceptable
            and not _something_done(around.entries, one, last)
            and not around.is_explained(characteristic, one.entered_at)
        ]
        if left:
            yield (
                f"Of {characteristic.label}, an earlier result lies outside the limit"
                f" ({', '.join(left)}), and between it and the last one ({last.words})"
                " nothing was weighed in and no temperature was read. All of them"
                " stay, and no mean is taken. Correct the batch or cook on and test"
                f" again, or open a deviation of {characteristic.label} that gives the"
                " cause."
            )


def _series(
    judged: list[Finding], free: FreeAlkali | None, entries: Entries
) -> Iterator[tuple[Characteristic, list[Result]]]:
    """Yield the results of each characteristic in order of entry, where any stand."""
    for finding in judged:
        if finding.limit is not None:
            yield (
                finding.characteristic,
                _readings(entries, finding.characteristic, finding.limit),
            )
    sides = _sides_of_alkali(judged, free)
    if sides is not None:
        yield Characteristic.FREE_ALKALI, _titrations(entries, *sides)


def _sides_of_alkali(
    judged: list[Finding], free: FreeAlkali | None
) -> tuple[Decimal | None, Decimal | None] | None:
    """Return the limits of free alkali: of the formula, else of the premises.

    None where no titration counts, or where a value outside only warns.
    """
    for finding in judged:
        limit = finding.limit
        if finding.characteristic == Characteristic.FREE_ALKALI and limit is not None:
            holds = limit.effect == Limit.Effect.HOLD
            return (limit.lower, limit.upper) if holds else None
    return None if free is None else (None, free.upper)


def _titrations(
    entries: Entries, lower: Decimal | None, upper: Decimal | None
) -> list[Result]:
    return [
        _result(
            row,
            entries.titrations,
            f"{row.value:f} %",
            inside=_inside(row.value, lower, upper),
        )
        for row in standing(entries.titrations)
        if row.kind == Titration.Kind.FREE_ALKALI and row.value is not None
    ]


def _readings(
    entries: Entries, characteristic: Characteristic, limit: Limit
) -> list[Result]:
    """Return the readings of pH by the method of the limit, or of clarity."""
    rows = [
        row
        for row in standing(entries.readings)
        if row.characteristic == characteristic
    ]
    if characteristic == Characteristic.CLARITY:
        return [
            _result(
                row,
                entries.readings,
                row.get_clarity_display(),
                inside=row.clarity == Reading.Clarity.CLEAR,
            )
            for row in rows
        ]
    return [
        _result(
            row,
            entries.readings,
            f"{row.value.normalize():f}",
            inside=_inside(row.value, limit.lower, limit.upper),
        )
        for row in rows
        if row.value is not None and row.method == limit.method
    ]


def _inside(value: Decimal, lower: Decimal | None, upper: Decimal | None) -> bool:
    """Say whether the value itself lies inside: what every decision rule asks for."""
    verdict = judge(value, lower=lower, upper=upper, guard_band=Decimal(0))
    return verdict.acceptable


def _result(row: Measured, rows: list[Measured], words: str, *, inside: bool) -> Result:
    return Result(
        words=words,
        acceptable=inside,
        observed_at=row.observed_at,
        entered_at=_first_entered(row, rows),
    )


def _something_done(entries: Entries, first: Result, last: Result) -> bool:
    """Say whether a charge or a temperature lies between two results.

    By both clocks: a temperature entered afterwards and dated back explains nothing.
    """
    cooked = [
        (row.observed_at, _first_entered(row, entries.readings))
        for row in standing(entries.readings)
        if row.characteristic == Reading.Characteristic.TEMPERATURE
    ]
    charged = [
        (row.observed_at, _first_entered(row, entries.charges))
        for row in entries.standing_charges
    ]
    return any(
        first.observed_at <= observed_at <= last.observed_at
        and first.entered_at < entered_at < last.entered_at
        for observed_at, entered_at in (*cooked, *charged)
    )


def _first_entered(row: Row, rows: list[Row]) -> datetime.datetime:
    """Return when a row was first entered, before it was amended."""
    by_key = {one.pk: one for one in rows}
    while row.supersedes_id is not None:
        row = by_key[row.supersedes_id]
    return row.entered_at
