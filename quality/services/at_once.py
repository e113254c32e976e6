"""What is told at once to whoever entered a result: it lies outside, what to do."""

from __future__ import annotations

import dataclasses

from batches.models import Batch, Reading, Titration
from batches.services.entries import Entries, standing
from producer.models import Stock
from quality.models import Characteristic
from quality.services import goods
from quality.services.alkali import alkali_of, free_alkali_of
from quality.services.judgement import judged
from quality.services.judging import Finding, findings
from quality.services.limits import limits_of

CAUSTIC_REMEDY = "Cook on, correct the alkali, and titrate again."


@dataclasses.dataclass(frozen=True, kw_only=True)
class Outside:
    """A result that stands and lies outside its limit, in plain words."""

    characteristic: Characteristic
    words: str


def outside_now(
    batch: Batch, mark: str = ".", entries: Entries | None = None
) -> list[Outside]:
    """Return the results of a batch that lie outside as they stand, each once.

    A free alkali without a limit of the formula is held against that of the premises.
    ``entries`` are its rows, where the caller has read them already.
    """
    entries = entries or Entries(batch)
    found = [
        _outside(one, mark)
        for one in findings(batch, entries)
        if one.verdict is not None and not one.acceptable
    ]
    free = free_alkali_of(batch, alkali_of(batch, entries=entries))
    if free is not None and not free.by_formula and not free.acceptable:
        found.append(
            Outside(
                characteristic=Characteristic.FREE_ALKALI,
                words=f"{free.sentence} {CAUSTIC_REMEDY}",
            )
        )
    return found


def ph_out_of_limits(batch: Batch, entries: Entries) -> set[int]:
    """Return the keys of the pH readings of a batch that lie outside, each by itself.

    Only of those that can be held against the limit: by its method, with a known ±.
    """
    rows = [
        row
        for row in standing(entries.readings)
        if row.characteristic == Reading.Characteristic.PH
    ]
    limit = limits_of(batch).get(Characteristic.PH) if rows else None
    if limit is None:
        return set()
    return {
        row.pk
        for row in rows
        if row.value is not None
        and row.standard_uncertainty is not None
        and row.method == limit.method
        and not judged(
            Characteristic.PH, limit, row.value, row.standard_uncertainty
        ).acceptable
    }


def said_of(row: Reading | Titration, mark: str = ".") -> str:
    """Return what is to be said of a result just entered, or nothing if it is inside.

    Of a temperature nothing; of a result that cannot be held against its limit, why.
    """
    if isinstance(row, Reading):
        return _said_of_batch(row.batch, row.characteristic, mark)
    if row.stock.kind == Stock.Kind.BATCH:
        batch = Batch.objects.get(pk=row.stock_id)
        return _said_of_batch(batch, Characteristic.FREE_ALKALI, mark)
    return " ".join(
        one.in_plain_words(mark) or one.sentence
        for one in goods.findings_of(row.stock.lot)
        if not one.acceptable and goods.KINDS[one.characteristic] == row.kind
    )


def _said_of_batch(batch: Batch, characteristic: str, mark: str) -> str:
    for one in outside_now(batch, mark):
        if one.characteristic == characteristic:
            return (
                f"{one.words} If it stays so, open a deviation of"
                f" {one.characteristic.label}: it cannot be released like this."
            )
    for finding in findings(batch):
        # Such as a pH by another method than that of the limit.
        lacks = finding.verdict is None and finding.limit is not None
        if finding.characteristic == characteristic and lacks:
            return finding.sentence
    return ""


def _outside(finding: Finding, mark: str) -> Outside:
    words = finding.in_plain_words(mark) or finding.sentence
    return Outside(characteristic=finding.characteristic, words=words)
