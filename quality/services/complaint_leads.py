"""Where a complaint leads: its siblings, samples, charts, other complaints, a recall.

Nothing here is decided or written. What one complaint has in common with another is
asked of the genealogy: the same filling, the same batch, or a raw lot in both.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence
from typing import Final

from batches import trace
from batches.lifecycle import BatchStatus, BottleStatus
from batches.models import Batch, FillingLot, Formula, RetainedSample
from producer.models import Stock
from quality.models import ComplaintAccount
from quality.services import charting, complaint_ends, complaints, deviations
from quality.services.bottle_now import Sisters, sisters_in
from quality.services.complaint_ends import Obstacle, Touching
from quality.services.complaints import Standing
from quality.services.reading_order.bottles import Filled, filled_from

HERE: Final = (BottleStatus.FILLED, BottleStatus.RETURNED, BottleStatus.RECOVERED)


@dataclasses.dataclass(frozen=True, kw_only=True)
class Other:
    """Another complaint, and what it has in common with this one, the nearest first.

    ``shared`` are codes of lots and batches that are in both. ``is_alike`` says that
    both are about the same, or that somebody was hurt in both: only those are counted
    as a sign of one cause.
    """

    account: ComplaintAccount
    words: str
    is_alike: bool
    shared: Sequence[str] = ()

    @property
    def is_near(self) -> bool:
        """Say whether it is about the same filling lot or the same batch."""
        return not self.shared


@dataclasses.dataclass(frozen=True, kw_only=True)
class Leads:
    """What a complaint leads to. Without a known code there is nothing of it.

    ``roots`` are the stocks from which a recall could begin, the batch first, then
    what is in it; each with how many complaints like this one there are of what it
    went into. ``released`` are the batches in it that are released still, itself
    included. ``recalls`` are all that reach it or did, ``obstacles`` what must end
    before it is closed.
    """

    lot: FillingLot | None
    batch: Batch | None
    sisters: Sequence[Sisters]
    filled: Sequence[Filled]
    samples: Sequence[RetainedSample]
    charts: Sequence[charting.Listed]
    others: Sequence[Other]
    deviations: Sequence[deviations.Standing]
    released: Sequence[Batch]
    recalls: Sequence[Touching]
    obstacles: Sequence[Obstacle]
    roots: Sequence[tuple[str, str, int]]

    @property
    def here(self) -> int:
        """How many bottles of the batch are here and may leave."""
        return self._count(HERE)

    @property
    def out(self) -> int:
        """How many bottles of the batch are with somebody else."""
        return self._count((BottleStatus.DISPATCHED,))

    @property
    def near(self) -> list[Other]:
        """Other complaints like this one about the same filling lot or batch."""
        return [one for one in self.others if one.is_near and one.is_alike]

    @property
    def open_recalls(self) -> list[Touching]:
        """The recalls that are open and reach it now."""
        return [one for one in self.recalls if one.is_open and one.reaches]

    def _count(self, states: Sequence[BottleStatus]) -> int:
        return sum(
            count
            for one in self.filled
            for state, count in one.counts
            if state in states
        )


NOTHING: Final = Leads(
    lot=None,
    batch=None,
    sisters=(),
    filled=(),
    samples=(),
    charts=(),
    others=(),
    deviations=(),
    released=(),
    recalls=(),
    obstacles=(),
    roots=(),
)


def leads_of(now: Standing) -> Leads:
    """Return what a complaint leads to, as the records are now."""
    account = now.account
    lot, batch = complaints.lot_of(account), complaints.batch_of(account)
    if batch is None:
        return NOTHING
    genealogy = trace.trace(batch.stock)
    others = list(_others(account, batch, lot))
    known = deviations.of_stocks([batch.pk])
    recalls = complaint_ends.recalls_of(batch, lot)
    samples = RetainedSample.objects.listed().filter(filling_lot__batch=batch)
    return Leads(
        lot=lot,
        batch=batch,
        sisters=sisters_in(lot.pk) if lot else (),
        filled=filled_from(batch),
        samples=list(samples.select_related("filling_lot", "bottle", "place")),
        charts=[
            one
            for formula in _formulas(genealogy.batches)
            for one in charting.of_formula(formula)
        ],
        others=others,
        deviations=known,
        released=[
            one
            for one in reversed(genealogy.batches)
            if one.status == BatchStatus.RELEASED
        ],
        recalls=recalls,
        obstacles=complaint_ends.in_the_way_of(known, recalls),
        roots=_roots(genealogy, batch, others),
    )


def _others(
    account: ComplaintAccount, batch: Batch, lot: FillingLot | None
) -> Iterator[Other]:
    """Yield the other complaints that have something in common.

    Those that are like it come first, of each kind the nearest.
    """
    found = list(_in_common(account, batch, lot))
    yield from sorted(found, key=lambda one: not one.is_alike)


def _is_alike(one: ComplaintAccount, other: ComplaintAccount) -> bool:
    return one.nature == other.nature or (one.was_hurt and other.was_hurt)


def _in_common(
    account: ComplaintAccount, batch: Batch, lot: FillingLot | None
) -> Iterator[Other]:
    """Yield those about the same filling or batch, or with a lot in both."""
    rows = [
        one
        for one in complaints.listed().filter(of_batch__isnull=False)
        if one.complaint_id != account.complaint_id
    ]
    above = trace.upstream_of_each({batch.pk, *(_batch_id(one) for one in rows)})
    mine = above[batch.pk]
    distant = []
    for row in rows:
        alike = _is_alike(account, row)
        if lot is not None and getattr(row, "of_lot", None) == lot.pk:
            yield Other(account=row, words="the same filling lot", is_alike=alike)
        elif _batch_id(row) == batch.pk:
            yield Other(account=row, words="the same batch", is_alike=alike)
        elif shared := mine & above[_batch_id(row)]:
            distant.append((row, shared))
    names = Stock.objects.in_bulk({pk for _, shared in distant for pk in shared})
    for row, shared in distant:
        codes = sorted(names[pk].code for pk in shared)
        yield Other(
            account=row,
            words=f"{', '.join(codes)} in both",
            is_alike=_is_alike(account, row),
            shared=codes,
        )


def _batch_id(row: ComplaintAccount) -> int:
    return int(getattr(row, "of_batch"))  # noqa: B009 - an annotation


def _roots(
    genealogy: trace.Genealogy, batch: Batch, others: Sequence[Other]
) -> list[tuple[str, str, int]]:
    """Return where a recall could begin: code, what it is, how many complaints."""
    alike = [one for one in others if one.is_alike]
    near = 1 + sum(one.is_near for one in alike)
    found = []
    for code, name in sorted(genealogy.names.values()):
        of_it = near + sum(code in one.shared for one in alike)
        found.append((code, name, of_it))
    return sorted(found, key=lambda one: (one[0] != batch.number, -one[2], one[0]))


def _formulas(batches: Sequence[Batch]) -> list[Formula]:
    """Return the formulas of these batches, each once, the newest batch first."""
    found = {
        one.formula_version.formula_id: one.formula_version.formula
        for one in reversed(batches)
    }
    return list(found.values())
