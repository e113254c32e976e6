"""Both walks of an audit: from the bottle back to its lots, from the lot to bottles."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence
from typing import Final

from django.urls import reverse

from batches import trace
from batches.lifecycle import BottleStatus
from batches.models import Bottle, FillingLot, RetainedSample, SampleLook
from batches.services import label_counts
from batches.shares import Share
from producer.codes import grouped
from producer.models import RawLot
from producer.quantities import format_mass
from producer.services.checks import local_day
from quality.services import bottle_now, recall_affected, recall_balance, recalling
from quality.services.audit import made, sources
from quality.services.audit.drawing import Drawn
from quality.services.audit.plain import Link, counted, day
from quality.services.recall_balance import BottleCount, MassLine
from quality.services.recall_scope import scope_by
from quality.services.weighings import newest_of

MOST_BATCHES: Final = 40  # of one lot that are read in full; of more it is said


@dataclasses.dataclass(frozen=True, kw_only=True)
class Forwards:
    """Where a raw lot went: batches, bottles by place, and the mass to the milligram.

    ``shares`` is what part of each batch it is, by the id of the batch.
    """

    affected: recall_affected.Affected
    masses: Sequence[MassLine]
    bottles: BottleCount

    @property
    def own(self) -> MassLine:
        """The mass of the lot itself."""
        return self.masses[0]

    @property
    def shares(self) -> dict[int, Share]:
        """What part of each batch it is."""
        return dict(self.affected.shares)


@dataclasses.dataclass(frozen=True, kw_only=True)
class Audit:
    """What was drawn, and both ways from it, link by link."""

    drawn: Drawn
    back: Sequence[Link]
    on: Sequence[Link]
    forwards: Forwards | None

    @property
    def missing(self) -> list[str]:
        """All that lacks, each sentence once, in the order of the walks."""
        found = [line for link in (*self.back, *self.on) for line in link.missing]
        return list(dict.fromkeys(found))


def audit_of(drawn: Drawn, *, mark: str = ".") -> Audit:
    """Walk both ways from what was drawn; ``mark`` is the decimal mark of sentences."""
    forwards = _forwards(drawn.lot) if drawn.lot else None
    known: dict[int, Link] = {}
    return Audit(
        drawn=drawn,
        back=list(_back(drawn.bottle, known, mark)) if drawn.bottle else [],
        on=list(_on(drawn.lot, forwards, known, mark))
        if drawn.lot and forwards
        else [],
        forwards=forwards,
    )


def _back(bottle: Bottle, known: dict[int, Link], mark: str) -> Iterator[Link]:
    lot = bottle.filling_lot
    genealogy = trace.trace(lot.batch.stock)
    yield _bottle(bottle)
    yield _filling(lot)
    for batch in reversed(genealogy.batches):
        known[batch.pk] = made.link_of(batch, mark=mark)
        yield known[batch.pk]
    for raw in genealogy.lots:
        yield sources.link_of(raw, was_used=True)


def _bottle(bottle: Bottle) -> Link:
    code = grouped(bottle.code)
    where = bottle_now.where_is(
        bottle.status,
        bottle.consignee.name if bottle.consignee else "",
        bottle.place.name if bottle.place else "",
    )
    copies = bottle_now.copies_of(bottle)
    missing = []
    if not copies:
        missing.append(f"Bottle {code}: no label is on record for it.")
    out = bottle.status == BottleStatus.DISPATCHED
    if out and bottle.consignee and bottle.consignee.erased_at is not None:
        missing.append(f"Bottle {code}: contact data of its holder were erased.")
    return Link(
        what="Bottle",
        name=code,
        at=reverse("quality:bottle", args=[bottle.code]),
        present=[
            f"{bottle.get_status_display().capitalize()}: {where}.",
            *(_sent(bottle) if out else ()),
        ],
        missing=missing,
        unusual=[
            f"It falls under {one.code}, {one.get_status_display()}."
            for one in recalling.recalls_of_bottle(bottle)
        ],
    )


def _sent(bottle: Bottle) -> Iterator[str]:
    """Yield by which dispatch a bottle that is out left, when, and who sent it."""
    moves = bottle.events.filter(dispatch__isnull=False, new=BottleStatus.DISPATCHED)
    last = moves.select_related("dispatch__entered_by__person").last()
    if last is not None and last.dispatch is not None:
        sent = last.dispatch
        yield (
            f"Dispatch {sent.code} of {day(local_day(sent.observed_at))}, sent by"
            f" {sent.entered_by.person.name}."
        )


def _filling(lot: FillingLot) -> Link:
    return Link(
        what="Filling lot",
        name=lot.code,
        at=reverse("batches:filling_lot", args=[lot.code]),
        present=list(_filled(lot)),
        missing=list(_not_filled(lot)),
        unusual=list(_unexplained(lot)),
    )


def _filled(lot: FillingLot) -> Iterator[str]:
    yield (
        f"{counted(lot.count, 'bottle')} filled on {day(local_day(lot.observed_at))}"
        f" by {lot.entered_by.person.name}, use by {day(lot.use_by)}."
    )
    release = getattr(lot, "release", None)
    if release is not None:
        alone = ", self-reviewed" if release.self_reviewed else ""
        yield (
            f"Bottles released by {release.entered_by.person.name} on"
            f" {day(local_day(release.observed_at))}{alone}."
        )
    labels = label_counts.reconciliation(lot)
    if labels.closes:
        yield labels.sentence
    there = [one for one in _samples(lot) if _is_there(one)]
    if there:
        yield f"{counted(len(there), 'sample')} kept."


def _not_filled(lot: FillingLot) -> Iterator[str]:
    """Yield what lacks of a filling: release, labels, contents, sample, mass."""
    if getattr(lot, "release", None) is None:
        yield f"{lot.code}: no release of its bottles is on record."
    labels = label_counts.reconciliation(lot)
    if not labels.closes:
        yield f"{lot.code}: {labels.sentence}"
    if not newest_of([lot.pk]):
        yield f"{lot.code}: no bottle was weighed against its label."
    yield from _not_kept(lot)
    if getattr(lot, "balance", None) is None:
        yield f"{lot.code}: where the mass went at the filling was not written down."


def _not_kept(lot: FillingLot) -> Iterator[str]:
    """Yield that no sample was kept, or how many are not there any more."""
    samples = _samples(lot)
    gone = sum(not _is_there(one) for one in samples)
    if not samples:
        yield f"{lot.code}: no sample of it is kept."
    elif gone:
        word = "is" if gone == 1 else "are"
        yield (
            f"{lot.code}: {gone} of {counted(len(samples), 'sample')} kept of it {word}"
            " not there any more."
        )


def _samples(lot: FillingLot) -> list[RetainedSample]:
    return list(RetainedSample.objects.listed().filter(filling_lot=lot))


def _is_there(sample: RetainedSample) -> bool:
    """Say whether a sample is there as far as is known: by its last look, and whole."""
    looks = list(sample.looks.all())  # prefetched: those that stand, the last one last
    if looks and looks[-1].state == SampleLook.State.GONE:
        return False
    return sample.bottle is None or sample.bottle.status != BottleStatus.DESTROYED


def _unexplained(lot: FillingLot) -> Iterator[str]:
    """Yield what the weighed rest of a filling did not explain, with its reason."""
    balance = getattr(lot, "balance", None)
    if balance is not None and balance.unexplained_mg:
        word = "missing" if balance.unexplained_mg > 0 else "too much"
        why = balance.reason or "no reason is written down"
        yield f"{format_mass(abs(balance.unexplained_mg))} {word}: {why}."


def _forwards(lot: RawLot) -> Forwards:
    scope = scope_by(lot.stock)
    return Forwards(
        affected=recall_affected.affected_in(scope, lot.code),
        masses=recall_balance.masses_of(scope.mass_ids),
        bottles=recall_balance.bottles_of(scope),
    )


def _on(
    lot: RawLot, forwards: Forwards, known: dict[int, Link], mark: str
) -> Iterator[Link]:
    batches = forwards.affected.batches
    yield sources.link_of(lot, was_used=bool(batches))
    yield _mass(lot, forwards)
    for batch in batches[:MOST_BATCHES]:
        yield known.get(batch.pk) or made.link_of(batch, mark=mark)
    fillings = FillingLot.objects.filter(batch_id__in=[one.pk for one in batches])
    fillings = fillings.select_related("entered_by__person").order_by("pk")
    for filling in fillings[:MOST_BATCHES]:
        yield _filling(filling)
    yield _bottles(forwards, fillings.count(), len(batches))


def _mass(lot: RawLot, forwards: Forwards) -> Link:
    own = forwards.own
    said = [
        (
            f"{format_mass(own.came_in)} received, {format_mass(own.into_batches)} into"
            f" batches, {format_mass(own.used_here + own.disposed)} used here or thrown"
            f" away, {format_mass(own.in_stock)} here."
        )
    ]
    unusual = []
    if own.adjusted:
        word = "added" if own.adjusted > 0 else "took"
        unusual.append(
            f"Counting {word} {format_mass(abs(own.adjusted))}; the reasons stand in"
            " the ledger of the lot."
        )
    return Link(
        what="Mass",
        name=f"balance of {lot.code}",
        at=reverse("quality:flow", args=[lot.code]),
        present=said,
        missing=list(recall_balance.masses_open(forwards.masses)),
        unusual=unusual,
    )


def _bottles(forwards: Forwards, fillings: int, batches: int) -> Link:
    count, code = forwards.bottles, forwards.affected.words
    missing = list(recall_balance.bottles_open(count))
    unreachable = sum(
        one.count
        for one in forwards.affected.holders
        if one.is_out and not one.phone and not one.email
    )
    if unreachable:
        missing.append(
            f"{counted(unreachable, 'bottle')} of {code} are with holders of whom"
            " neither a telephone number nor an e-mail address is on record."
        )
    if max(batches, fillings) > MOST_BATCHES:
        missing.append(
            f"{code} went into {counted(batches, 'batch', 'batches')} and"
            f" {counted(fillings, 'filling lot')}; the first {MOST_BATCHES} of each"
            " were looked at here."
        )
    return Link(
        what="Bottles",
        name=f"every bottle of {code}",
        at=reverse("quality:affected", args=[code]),
        present=[
            (
                f"{count.filled} filled: {count.here} here, {count.retained} kept as"
                f" samples, {count.returned + count.recovered} came back,"
                f" {count.destroyed} destroyed, {count.out} with holders."
            )
        ],
        missing=missing,
    )
