"""All results of one kind in a batch, superseded ones too, held against their limit."""

from __future__ import annotations

import dataclasses
import datetime
from collections.abc import Iterator, Sequence
from decimal import Decimal

from batches.models import BulkWeighing, Charge, Reading, Titration
from batches.services.entries import Entries, standing
from quality.models import Characteristic, Limit
from quality.services.alkali import Alkali
from quality.services.judging import Finding
from quality.statistics.conformity import judge
from quality.statistics.rounding import as_decimal

Row = Reading | Titration
Entered = Reading | Titration | Charge | BulkWeighing


@dataclasses.dataclass(frozen=True, kw_only=True)
class Series:
    """The rows of one characteristic in order of entry, with what it is held against.

    Readings by another ``method`` than that of the limit say nothing about it. With
    ``stops`` a value outside stops a release.
    """

    characteristic: Characteristic
    rows: Sequence[Row]
    method: str = ""
    lower: Decimal | None
    upper: Decimal | None
    stops: bool = True

    @property
    def standing(self) -> list[Row]:
        """The results that nothing supersedes, in turn: the last one counts."""
        return [row for row in standing(self.rows) if self.counts(row)]

    def counts(self, row: Row) -> bool:
        """Say whether a row is a result of this kind, by the method of the limit."""
        if row.is_void or isinstance(row, Titration):
            return not row.is_void and row.value is not None
        if self.characteristic == Characteristic.CLARITY:
            return True
        return row.value is not None and row.method == self.method

    def is_outside(self, row: Row) -> bool:
        """Say whether a row is a result that lies outside, by the value itself.

        That is what every decision rule asks for at least.
        """
        if not self.counts(row):
            return False
        if row.value is None:
            return isinstance(row, Reading) and row.clarity != Reading.Clarity.CLEAR
        verdict = judge(
            row.value, lower=self.lower, upper=self.upper, guard_band=Decimal(0)
        )
        return not verdict.acceptable

    def outside_since(self, row: Row) -> datetime.datetime:
        """Return when it was first entered that this result lies outside."""
        by_key = {one.pk: one for one in self.rows}
        while row.supersedes_id is not None:
            former = by_key[row.supersedes_id]
            if not self.is_outside(former):
                break
            row = former
        return row.entered_at

    def corrected(self) -> Iterator[tuple[Row, Row, str]]:
        """Yield each superseded result that lies outside, its last row, and why."""
        after = {row.supersedes_id: row for row in self.rows}
        for row in self.rows:
            if row.pk not in after or not self.is_outside(row):
                continue
            last, reasons = row, []
            while last.pk in after:
                last = after[last.pk]
                reasons.append(last.reason)
            yield row, last, "; then: ".join(reasons)

    def words(self, row: Row) -> str:
        """Return a result in words."""
        if isinstance(row, Titration):
            return f"{row.value:f} %"
        if row.value is None:
            return row.get_clarity_display()
        return f"{row.value.normalize():f}"


def series_of(
    judged: list[Finding], entries: Entries, known: Alkali
) -> Iterator[Series]:
    """Yield the results of pH, of clarity and of free alkali, where they have a limit.

    Titrations are held against the formula, else against what the premises allows.
    """
    for finding in judged:
        limit = finding.limit
        if limit is not None and finding.characteristic in {
            Characteristic.PH,
            Characteristic.CLARITY,
        }:
            yield Series(
                characteristic=finding.characteristic,
                rows=[
                    row
                    for row in entries.readings
                    if row.characteristic == finding.characteristic
                ],
                method=limit.method,
                lower=limit.lower,
                upper=limit.upper,
            )
    yield from _free_alkali(judged, entries, known)


def _free_alkali(
    judged: list[Finding], entries: Entries, known: Alkali
) -> Iterator[Series]:
    limit = next(
        (
            finding.limit
            for finding in judged
            if finding.characteristic == Characteristic.FREE_ALKALI
            and finding.limit is not None
        ),
        None,
    )
    lower: Decimal | None = None
    upper: Decimal | None
    if limit is None:
        upper = as_decimal(known.limits.free_alkali_percent)
        stops = known.titrated is not None  # else no titration counts
    else:
        lower, upper = limit.lower, limit.upper
        stops = limit.effect == Limit.Effect.HOLD
    yield Series(
        characteristic=Characteristic.FREE_ALKALI,
        rows=[
            row for row in entries.titrations if row.kind == Titration.Kind.FREE_ALKALI
        ],
        lower=lower,
        upper=upper,
        stops=stops,
    )


def first_entered(row: Entered, rows: Sequence[Entered]) -> datetime.datetime:
    """Return when a row was first entered, before it was amended."""
    by_key = {one.pk: one for one in rows}
    while row.supersedes_id is not None:
        row = by_key[row.supersedes_id]
    return row.entered_at
