"""The result that a deviation is about, as it stands now: read before it is decided."""

from __future__ import annotations

import dataclasses

from batches.models import Batch
from batches.services.entries import Entries
from producer.models import Stock
from quality.models import Characteristic, Deviation
from quality.services.alkali import Alkali, FreeAlkali, alkali_of, free_alkali_of
from quality.services.conceding import cannot_be_lifted
from quality.services.impact.carried import MOST_FREE_ALKALI_PERCENT, MOST_PH
from quality.services.judging import Finding, findings
from quality.services.reading_order.judgements import (
    Shown,
    of_finding,
    of_free_alkali,
)
from quality.services.result_series import Row, Series, series_of
from quality.statistics.uncertainty import expanded

HARM = (
    " No concession lifts that, whatever the conditions: correct the batch and test"
    " again, or reject it."
)


@dataclasses.dataclass(frozen=True, kw_only=True)
class ResultNow:
    """The current judgement, the results before it in words, oldest first.

    ``refused`` says why no concession can help, or is empty.
    """

    shown: Shown
    before: list[str]
    refused: str

    @property
    def as_list(self) -> list[Shown]:
        """The judgement as the table of judgements takes it."""
        return [self.shown]

    @property
    def facts(self) -> list[str]:
        """What changes whenever anything of it does, for the digest of the page."""
        return [self.shown.sentence, str(self.shown.value), *self.before, self.refused]


def result_now(deviation: Deviation, mark: str = ".") -> ResultNow | None:
    """Return the result of a batch that a deviation is about; None of anything else.

    Net content is judged by the bottles and has no one result of the batch.
    """
    stock, characteristic = deviation.stock, deviation.characteristic
    if stock is None or stock.kind != Stock.Kind.BATCH or not characteristic:
        return None
    entries = Entries(Batch.objects.get(pk=stock.pk))
    judged = findings(entries.batch, entries)
    known = alkali_of(entries.batch, entries=entries)
    before = _before(judged, entries, known, characteristic)
    for finding in judged:
        if finding.characteristic == characteristic:
            return ResultNow(
                shown=of_finding(finding, entries, mark=mark),
                before=before,
                refused=_refused(finding),
            )
    free = free_alkali_of(entries.batch, known)
    if characteristic != Characteristic.FREE_ALKALI or free is None:
        return None
    return ResultNow(
        shown=of_free_alkali(free, entries), before=before, refused=_caustic(free)
    )


def _before(
    judged: list[Finding], entries: Entries, known: Alkali, characteristic: str
) -> list[str]:
    found: list[str] = []
    for series in series_of(judged, entries, known):
        if series.characteristic == characteristic:
            found += [_words(series, row) for row in series.standing[:-1]]
            found += [
                f"{series.words(row)}, outside; corrected since, because: {why}"
                for row, _, why in series.corrected()
            ]
    return found


def _words(series: Series, row: Row) -> str:
    side = "outside" if series.is_outside(row) else "inside"
    return f"{series.words(row)}, {side}"


def _refused(finding: Finding) -> str:
    """Return why no concession lifts this finding: with the whole ± on the far side."""
    if finding.verdict is None:
        return ""
    if not finding.acceptable and cannot_be_lifted(finding):
        return finding.sentence + HARM
    hard = {
        Characteristic.PH: MOST_PH,
        Characteristic.FREE_ALKALI: MOST_FREE_ALKALI_PERCENT,
    }.get(finding.characteristic)
    if hard is None or finding.value is None or finding.standard_uncertainty is None:
        return ""
    if finding.value + expanded(finding.standard_uncertainty) < hard:
        return ""
    what = finding.characteristic.label
    return f"{finding.sentence} With its ± {what} can be {hard} or more.{HARM}"


def _caustic(free: FreeAlkali) -> str:
    if free.highest < MOST_FREE_ALKALI_PERCENT:
        return ""
    return (
        f"{free.sentence} With its ± it can be {MOST_FREE_ALKALI_PERCENT} % or"
        f" more.{HARM}"
    )
