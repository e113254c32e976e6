"""Results that stand beside a later one: a bad result does not go away by repeating.

Of two results between which nothing was done to the pot, no one may pick the better one
nor their mean. Where something was done, or the bad one was corrected or given a cause,
whoever releases is told and says why. Pattern: FDA, Investigating out-of-specification
test results, May 2022 (seen as a list of contents only; the rule itself is common
practice).
"""

from __future__ import annotations

import dataclasses
import datetime
from collections.abc import Iterator
from decimal import Decimal

from batches.models import Formula, Reading
from batches.services.entries import Entries, standing
from producer.quantities import grams
from quality.services.alkali import Alkali
from quality.services.conceding import Deviated
from quality.services.judging import Finding
from quality.services.result_series import Row, Series, first_entered, series_of

# From this many °C on a pot is being cooked. Common practice, no source: below it the
# reaction all but stands still, and a cellar or a cooling pot is no cooking.
COOKING_C = Decimal(50)


@dataclasses.dataclass(frozen=True, kw_only=True)
class Earlier:
    """What earlier results say: what stops a release, what it needs a reason for."""

    obstacles: list[str]
    notes: list[str]


def earlier_results(judged: list[Finding], known: Alkali, around: Deviated) -> Earlier:
    """Return what is to be said of the results before the last ones.

    A result outside its limit is explained when something was weighed in or the pot
    was cooked on between it and the last one, or when a closed deviation of it gives
    the cause. Then it is told; else it stops.
    """
    obstacles, notes = [], []
    for series in series_of(judged, around.entries, known):
        left, told = _of(series, around)
        notes += [*told, *_corrected(series)]
        if left and series.stops:
            obstacles.append(left)
    return Earlier(obstacles=obstacles, notes=notes)


def all_outside(
    judged: list[Finding], entries: Entries, known: Alkali
) -> Iterator[str]:
    """Yield every result outside its limit but the last that stands: stood or stands.

    The last one is judged, and told with its verdict.
    """
    for series in series_of(judged, entries, known):
        label = series.characteristic.label
        for row in series.standing[:-1]:
            if series.is_outside(row):
                yield (
                    f"Of {label}, an earlier result lies outside the limit:"
                    f" {series.words(row)}."
                )
        for row, last, why in series.corrected():
            yield _correction(series, row, last, why)


def _of(series: Series, around: Deviated) -> tuple[str, list[str]]:
    """Return the sentence of what is unexplained or nothing, and those of the rest."""
    rows = series.standing
    if not rows or series.is_outside(rows[-1]):
        return "", []  # nothing was measured, or the last one stops it already
    left, told = [], []
    label, last = series.characteristic.label, rows[-1]
    for row in rows[:-1]:
        if not series.is_outside(row):
            continue
        done = _done_between(series, row, last, around)
        if not done:
            left.append(series.words(row))
            continue
        told.append(
            f"Of {label}, an earlier result lies outside the limit:"
            f" {series.words(row)}. The last one is {series.words(last)}. {done}"
        )
    if not left:
        return "", told
    sentence = (
        f"Of {label}, an earlier result lies outside the limit ({', '.join(left)}), and"
        f" between it and the last one ({series.words(last)}) nothing was weighed in"
        f" and no temperature of {COOKING_C} °C or more was read while it cooked."
        f"{_read_too_late(around.entries)} All of them stay, and no mean is taken."
        " Correct the batch or cook on and test"
        f" again, or open a deviation of {label} that gives the cause."
    )
    return sentence, told


def _done_between(series: Series, row: Row, last: Row, around: Deviated) -> str:
    """Return what was done about a result before the last one, or nothing."""
    entries = around.entries
    between = _Between(
        observed=(row.observed_at, last.observed_at),
        entered=(first_entered(row, series.rows), first_entered(last, series.rows)),
    )
    done = [*_charged(entries, between), *_cooked(entries, between)]
    if done:
        return f"Between them: {', '.join(done)}."
    cause = around.explanation(series.characteristic, series.outside_since(row))
    return "" if cause is None else f"Deviation {cause.code} gives the cause."


@dataclasses.dataclass(frozen=True, kw_only=True)
class _Between:
    """The time between two results by both clocks.

    What is entered afterwards and dated back explains nothing.
    """

    observed: tuple[datetime.datetime, datetime.datetime]
    entered: tuple[datetime.datetime, datetime.datetime]

    def holds(
        self, observed_at: datetime.datetime, entered_at: datetime.datetime
    ) -> bool:
        return (
            self.observed[0] <= observed_at <= self.observed[1]
            and self.entered[0] < entered_at < self.entered[1]
        )


def _charged(entries: Entries, between: _Between) -> Iterator[str]:
    for row in entries.standing_charges:
        if between.holds(row.observed_at, first_entered(row, entries.charges)):
            yield f"{grams(row.net_mg).normalize():f} g of {row.source.code} weighed in"


def _cooked(entries: Entries, between: _Between) -> Iterator[str]:
    """Yield each temperature by which it was cooked on; of a cook in the pot only."""
    if entries.batch.kind != Formula.Kind.COOK:
        return
    hot = [
        row
        for row in standing(entries.readings)
        if _is_hot(row)
        and between.holds(row.observed_at, _hot_since(row, entries.readings))
    ]
    weighed = entries.weighing  # it is out of the pot, and never goes back
    out_at = first_entered(weighed, entries.weighings) if weighed else None
    for row in hot:
        if out_at is None or _hot_since(row, entries.readings) < out_at:
            yield f"cooked on at {row.value or 0:.1f} °C"


def _read_too_late(entries: Entries) -> str:
    """Say that what was read hot after the yield was weighed counts as no cooking."""
    weighed = entries.weighing
    if entries.batch.kind != Formula.Kind.COOK or weighed is None:
        return ""
    out_at = first_entered(weighed, entries.weighings)
    if not any(
        _is_hot(row) and _hot_since(row, entries.readings) >= out_at
        for row in standing(entries.readings)
    ):
        return ""
    return (
        " A temperature entered after the yield was weighed does not count as cooking:"
        " the paste was out of the pot by then."
    )


def _is_hot(row: Reading) -> bool:
    return (
        row.characteristic == Reading.Characteristic.TEMPERATURE
        and row.value is not None
        and row.value >= COOKING_C
    )


def _hot_since(row: Reading, rows: list[Reading]) -> datetime.datetime:
    """Return when it was first entered that the pot was hot: not by an amendment."""
    by_key = {one.pk: one for one in rows}
    while row.supersedes_id is not None and _is_hot(by_key[row.supersedes_id]):
        row = by_key[row.supersedes_id]
    return row.entered_at


def _corrected(series: Series) -> Iterator[str]:
    """Yield each result outside its limit that an amendment made pass or took back."""
    for row, last, why in series.corrected():
        if not series.is_outside(last):
            yield _correction(series, row, last, why)


def _correction(series: Series, row: Row, last: Row, why: str) -> str:
    if last.is_void:
        what = "was taken back"
    elif isinstance(last, Reading) and not series.counts(last):
        what = f"was corrected to {series.words(last)} by “{last.method}”"
    else:
        what = f"was corrected to {series.words(last)}"
    return (
        f"Of {series.characteristic.label}, a result outside the limit {what}:"
        f" {series.words(row)}, because: {why}"
    )
