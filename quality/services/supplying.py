"""The supply gate: what the results of a batch say against giving it to anybody.

A released batch may still not be for others. One that a concession let pass may be used
by the maker and is not supplied; and two figures of this program stop every dispatch,
whatever was signed. Both are asked again at the door, from the rows as they stand then.

The pH is that of the batch in the bottle. Free alkali is titrated in the paste, so that
of each paste within decides, as a hold of it does: diluting does not make a conceded
paste one to be supplied. What was rejected and reworked let go of its own results.

The two figures are ours, limits of this program and no legal statement: which class a
mixture is in, the maker records from an authority's list. That free potassium hydroxide
of 0.5 % and a pH of 11.5 are the places to stop at is from memory, as the requirements
of this program flag it: :data:`.MOST_FREE_ALKALI_PERCENT` and :data:`.MOST_PH`.
"""

from __future__ import annotations

import dataclasses
import datetime
import uuid
from collections.abc import Collection, Iterator, Mapping, Sequence
from decimal import Decimal
from typing import Final

from batches import trace
from batches.lifecycle import BatchStatus
from batches.models import Batch, Bottle, Dispatch, FillingLot, Formula
from batches.services import dispatching
from batches.services.dispatching import Barred
from batches.services.entries import Entries
from producer.errors import Refusal
from producer.models import Consignee, User
from quality.models import Characteristic, Limit, Recall
from quality.services import recall_scope, weighings
from quality.services.alkali import FreeAlkali, alkali_of, free_alkali_of
from quality.services.conceding import deviated
from quality.services.impact.carried import MOST_FREE_ALKALI_PERCENT, MOST_PH
from quality.services.judging import Finding, findings
from quality.services.reviewing import is_caustic_by_weighing
from quality.statistics.rounding import rounded
from quality.statistics.uncertainty import expanded

OURS = "That is a limit of this program and no legal statement; no concession lifts it."
OWN_USE_ONLY = (
    "A batch outside such a limit is for your own use on the premises only, also where"
    " a concession let it pass."
)
PH: Final = Characteristic.PH


def dispatch(
    *,
    by: User,
    bottles: Sequence[Bottle],
    consignee: Consignee,
    note: str = "",
    observed_at: datetime.datetime | None = None,
    submission: uuid.UUID | None = None,
) -> Dispatch:
    """Record that bottles left for a consignee, past the gate; all of them or none.

    Raises :class:`.Refusal` with what stands in the way, beside the field it concerns.
    """
    gate = barred_for(consignee)

    def barred(batches: Collection[Batch]) -> Mapping[int, str]:
        _contents_accepted(bottles)
        return gate(batches)

    return dispatching.dispatch(
        by=by,
        bottles=bottles,
        consignee=consignee,
        barred=barred,
        note=note,
        observed_at=observed_at,
        submission=submission,
    )


def _contents_accepted(bottles: Sequence[Bottle]) -> None:
    """Refuse bottles whose newest weighing was not accepted, also after a release."""
    for words in not_accepted({bottle.filling_lot_id for bottle in bottles}).values():
        raise Refusal(words, field="codes")


def not_accepted(lots: Collection[int]) -> dict[int, str]:
    """Return a sentence for each of these filling lots whose contents do not do."""
    newest = weighings.newest_of(lots)
    found = {}
    lots_now = FillingLot.objects.filter(pk__in=newest).select_related("balance")
    for lot in lots_now.order_by("pk"):
        counted = getattr(lot, "balance", None) is not None
        check = newest[lot.pk]
        if weighings.stops(check) or (counted and not check.accepted):
            found[lot.pk] = (
                f"The newest weighing of {lot.code} was not accepted. Top the bottles"
                " up, weigh them again, and come back."
            )
    return {**found, **_without_weighing(set(lots) - newest.keys()), **recalled(lots)}


def recalled(lots: Collection[int]) -> dict[int, str]:
    """Return a sentence for each of these filling lots that an open recall reaches.

    Its bottles are held when a recall is opened; one freed since does not leave either.
    """
    still_open = recall_scope.still_open(Recall.objects.filter(is_mock=False))
    if not still_open.exists():
        return {}
    found = {}
    for lot in FillingLot.objects.filter(pk__in=lots).order_by("pk"):
        within = trace.upstream_ids(lot.batch_id)
        reaching = recall_scope.reaching(within, lot.pk, batch_id=lot.batch_id)
        recall = recall_scope.still_open(reaching).first()
        if recall is not None:
            found[lot.pk] = f"{lot.code} is in recall {recall.code}, which is open."
    return found


def _without_weighing(lots: Collection[int]) -> dict[int, str]:
    """Return a sentence for each of these whose only weighings were taken back."""
    gone = FillingLot.objects.filter(
        pk__in=lots, balance__isnull=False, fill_checks__taken_back__isnull=False
    )
    return {
        lot.pk: (
            f"The weighing of {lot.code} was taken back, and no other stands. Weigh its"
            " bottles, and come back."
        )
        for lot in gone.distinct()
    }


def barred_for(consignee: Consignee | None) -> Barred:
    """Return the gate for a consignee; without one what holds for anybody."""
    is_own_use = consignee is None or consignee.kind == Consignee.Kind.OWN_USE

    def barred(batches: Collection[Batch]) -> dict[int, str]:
        found = {}
        for batch in batches:
            words = " ".join(_against(batch, is_own_use=is_own_use))
            if words:
                found[batch.pk] = (
                    f"Bottles of batch {batch.number} cannot leave. {words}"
                )
        return found

    return barred


def _against(batch: Batch, *, is_own_use: bool) -> Iterator[str]:
    """Yield what the results have against a dispatch, in sentences."""
    entries = Entries(batch)
    judged = [one for one in findings(batch, entries) if one.characteristic == PH]
    pastes = [_alkali_in(one) for one in _cooked_within(entries)]
    ceilings = [
        *_ph_ceiling(judged, entries),
        *(words for paste in pastes for words in _alkali_ceiling(paste, batch)),
    ]
    if ceilings:
        yield from (f"{words} {OURS}" for words in ceilings)
        return
    outside = [
        *_outside(entries, judged, batch),
        *(
            words
            for paste in pastes
            for words in _outside(paste.entries, paste.judged, batch, paste.free)
        ),
    ]
    if outside and not is_own_use:
        yield from outside
        yield OWN_USE_ONLY


@dataclasses.dataclass(frozen=True, kw_only=True)
class _Paste:
    """What is known of the free alkali of a cooked batch."""

    entries: Entries
    judged: list[Finding]
    free: FreeAlkali | None


def _alkali_in(entries: Entries) -> _Paste:
    batch = entries.batch
    return _Paste(
        entries=entries,
        judged=[
            one
            for one in findings(batch, entries)
            if one.characteristic == Characteristic.FREE_ALKALI
        ],
        free=free_alkali_of(batch, alkali_of(batch, entries=entries)),
    )


def _cooked_within(entries: Entries) -> list[Entries]:
    """Return the cooked batch itself, or those that a liquid was made from, each once.

    Through every dilution and blend between; not beyond a cook, whose own titration
    looked at all that went into it.
    """
    found: dict[int, Entries] = {}
    waiting = [entries]
    seen = {entries.batch.pk}
    while waiting:
        one = waiting.pop()
        if one.batch.kind == Formula.Kind.COOK:
            found[one.batch.pk] = one
            continue
        ids = {row.source_id for row in one.standing_charges} - seen
        seen |= ids
        within = Batch.objects.listed().filter(pk__in=ids)
        waiting += [
            Entries(batch)
            for batch in within.exclude(status=BatchStatus.REWORKED).order_by("pk")
        ]
    return list(found.values())


def _named(words: str, of: Batch, batch: Batch) -> str:
    """Say of which batch within a sentence is, unless it is the one in the bottle."""
    return words if of.pk == batch.pk else f"Of {of.number}, which is in it: {words}"


def _ph_ceiling(judged: Sequence[Finding], entries: Entries) -> Iterator[str]:
    """Yield that the pH, with the whole ± on the far side, can be too high.

    A reading that no limit judges, by another method or without a known ±, counts as
    it stands: what is doubtful does not open the gate.
    """
    for finding in judged:
        if finding.characteristic != Characteristic.PH or finding.value is None:
            continue
        spread = expanded(finding.standard_uncertainty or Decimal(0))
        if finding.value + spread >= MOST_PH:
            both = rounded(finding.value, spread).text()
            yield f"pH {both} can be {MOST_PH} or more."
            return
    last = newest_standing_ph(entries)
    if last is not None and last >= MOST_PH:
        yield f"The last pH read is {last.normalize():f}, {MOST_PH} or more."


def newest_standing_ph(entries: Entries) -> Decimal | None:
    """Return the pH read last that nothing supersedes, by whatever method."""
    superseded = {row.supersedes_id for row in entries.readings}
    standing = [
        row
        for row in entries.readings
        if row.characteristic == Characteristic.PH
        and not row.is_void
        and row.pk not in superseded
    ]
    if not standing:
        return None
    return max(standing, key=lambda row: (row.observed_at, row.pk)).value


def _alkali_ceiling(paste: _Paste, batch: Batch) -> Iterator[str]:
    """Yield that the free alkali can be too much.

    As at a review: the newest titration that counts, with its ± on the far side, and
    without one the weighings.
    """
    free, of = paste.free, paste.entries.batch
    if free is not None:
        if free.highest >= MOST_FREE_ALKALI_PERCENT:
            both = rounded(free.value, expanded(free.standard_uncertainty)).text()
            words = (
                f"By titration {both} % of free potassium hydroxide is in it, which"
                f" can be {MOST_FREE_ALKALI_PERCENT} % or more."
            )
            yield _named(words, of, batch)
    elif is_caustic_by_weighing(of):
        words = (
            f"By the weighings {MOST_FREE_ALKALI_PERCENT} % or more of free potassium"
            " hydroxide is in it, and it was not titrated."
        )
        yield _named(words, of, batch)


def _outside(
    entries: Entries,
    judged: Sequence[Finding],
    batch: Batch,
    free: FreeAlkali | None = None,
) -> Iterator[str]:
    """Yield the results outside a limit that holds, or not known any more."""
    bad = [
        (one.characteristic, one.sentence)
        for one in judged
        if one.effect == Limit.Effect.HOLD and not one.acceptable
    ]
    if free is not None and not free.by_formula and not free.acceptable:
        bad.append((Characteristic.FREE_ALKALI, free.sentence))
    around = deviated(entries) if bad else None
    for characteristic, sentence in bad:
        leave = around.concession(characteristic) if around else None
        words = sentence
        if leave is not None:
            words += f" It was released under the concession of deviation {leave.code}."
        yield _named(words, entries.batch, batch)
