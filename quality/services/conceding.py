"""What deviations say about the release of a batch: obstacles, notes, concessions.

Nothing is averaged away: a result outside its limit stays, and stops the release until
what caused it is known or something was done about it. A concession lets one result
pass that lies outside; it never lifts what can hurt.
"""

from __future__ import annotations

import dataclasses
import datetime
from collections.abc import Iterator
from decimal import Decimal

from batches import trace
from batches.models import Reading
from batches.services.entries import Entries, standing
from producer.models import Record
from quality.models import Characteristic, DeviationStep
from quality.services import deviations
from quality.services.deviations import Standing
from quality.services.judging import Finding
from quality.statistics.uncertainty import expanded

Decision = DeviationStep.Decision


@dataclasses.dataclass(frozen=True, kw_only=True)
class Deviated:
    """The deviations of a batch and of all that is in it, oldest first.

    ``ids`` are the batch and all that is in it at any depth, ``of_tools`` the
    deviations of the instruments it was weighed and measured with.
    """

    entries: Entries
    ids: list[int]
    known: list[Standing]
    of_tools: list[Standing]

    def obstacles(self) -> Iterator[str]:
        """Yield a sentence for each that is open, or decided “to be rejected”."""
        return deviations.in_the_way(self.known)

    def notes(self) -> Iterator[str]:
        """Yield how the others ended: whoever signs sees them all."""
        for one in self.known:
            closing = one.closing
            if closing is None or one.is_to_be_rejected:
                continue
            said = f"Deviation {one.code} of {one.name} was closed: {one.words}."
            if closing.decision == Decision.CONCESSION:
                said += f" {closing.text}"
            yield said

    def concession(self, characteristic: str) -> Standing | None:
        """Return the concession that holds for the last result of this, or None.

        It was given for what was known on the day: a result that was entered later
        needs a new one.
        """
        newest = newest_at(self.entries, characteristic)
        for one in reversed(self._of(characteristic)):
            closing = one.closing
            if (
                closing is not None
                and closing.decision == Decision.CONCESSION
                and (newest is None or newest < closing.entered_at)
            ):
                return one
        return None

    def lifts(self, finding: Finding) -> Standing | None:
        """Return the concession by which a finding does not stop the release."""
        if finding.verdict is None or finding.acceptable or cannot_be_lifted(finding):
            return None
        return self.concession(finding.characteristic)

    def passed_by(self, finding: Finding) -> Iterator[str]:
        """Yield that a concession lets a finding pass, where one does."""
        one = self.lifts(finding)
        if one is not None:
            yield (
                f"{finding.sentence} The concession of deviation {one.code} lets it"
                " pass."
            )

    def explanation(
        self, characteristic: str, entered_at: datetime.datetime
    ) -> Standing | None:
        """Return the closed deviation that gives the cause of a result of that time.

        “Not confirmed” speaks of the results that were there when it was opened: a
        later bad one confirms them. A concession was given for all that was known when
        it was signed.
        """
        for one in self._of(characteristic):
            closing = one.closing
            if closing is None or not one.has(DeviationStep.Kind.CAUSE):
                continue
            until = {
                Decision.NOT_CONFIRMED.value: one.deviation.entered_at,
                Decision.CONCESSION.value: closing.entered_at,
            }.get(closing.decision)
            if until is not None and entered_at < until:
                return one
        return None

    def advice(self, finding: Finding) -> str:
        """Return what to do about a result that is out of specification, or nothing.

        What was decided about it is said; a result of after the decision is a new one.
        """
        if finding.verdict is None or finding.acceptable:
            return ""
        known = self._of(finding.characteristic)
        if any(one.is_open for one in known):
            return ""
        what = finding.characteristic.label
        newest = newest_at(self.entries, finding.characteristic)
        for one in reversed(known):
            if one.closing is not None and (
                newest is None or newest < one.closing.entered_at
            ):
                return (
                    f" It is out of specification, and deviation {one.code} of {what}"
                    f" was decided: {one.words}. That does not let it pass: correct the"
                    " batch and test again, or reject it."
                )
        return (
            f" It is out of specification: open a deviation of {what}, find the cause,"
            " and decide."
        )

    def _of(self, characteristic: str) -> list[Standing]:
        return deviations.of_result(self.known, self.entries.batch.pk, characteristic)


def deviated(entries: Entries) -> Deviated:
    """Return the deviations of a batch and of everything in it, at any depth."""
    ids = trace.upstream_ids(entries.batch.pk)
    found = deviations.of(stocks=ids, instruments=_instruments(entries))
    return Deviated(
        entries=entries,
        ids=ids,
        known=[one for one in found if one.deviation.stock_id is not None],
        of_tools=[one for one in found if one.deviation.stock_id is None],
    )


def cannot_be_lifted(finding: Finding) -> bool:
    """Say whether no concession can help: unreacted oil, or more out than in."""
    if finding.characteristic == Characteristic.CLARITY:
        return True
    return (
        finding.characteristic == Characteristic.YIELD_VARIANCE
        and finding.value is not None
        and finding.value > expanded(finding.standard_uncertainty or Decimal(0))
    )


def newest_at(entries: Entries, characteristic: str) -> datetime.datetime | None:
    """Return when the newest entry was made that a result rests on, or None.

    Of pH, clarity and free alkali its readings and titrations, and whatever was weighed
    in; of what is computed from masses, everything that is not a reading.
    """
    rows: list[Record] = [*entries.charges]
    if characteristic in Reading.Characteristic.values:
        rows += [
            one for one in entries.readings if one.characteristic == characteristic
        ]
    elif characteristic == Characteristic.FREE_ALKALI:
        rows += entries.titrations
    else:
        rows += [*entries.weighings, *entries.losses, *entries.titrations]
    return max((row.entered_at for row in rows), default=None)


def _instruments(entries: Entries) -> set[int]:
    """Return the ids of the instruments that what stands was read from."""
    used = {row.instrument_id for row in standing(entries.readings)}
    used |= {row.scale_id for row in entries.standing_charges}
    used |= {row.scale_id for row in standing(entries.weighings)}
    used |= {row.scale_id for row in standing(entries.titrations)}
    return {pk for pk in used if pk is not None}
