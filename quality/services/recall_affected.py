"""What a recall reaches, as it is shown and printed: why, which batches, who has it."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Mapping, Sequence

from batches import trace
from batches.lifecycle import BottleStatus
from batches.models import Batch, DispatchTakenBack, FillingLot
from batches.services import dispatch_back
from batches.shares import Share
from producer.models import RawLot
from quality.models import Recall
from quality.services import recall_roots, recall_scope
from quality.services.recall_roots import Beginning, Root
from quality.services.recall_scope import Scope
from quality.services.recall_spans import Span, add, in_words


@dataclasses.dataclass(frozen=True, kw_only=True)
class Holder:
    """Bottles of one filling lot that are in the same place.

    ``spans`` are their numbers as first and last of each run.
    """

    filling_lot: str
    batch: str
    place: str
    phone: str
    email: str
    status: BottleStatus
    spans: Sequence[Span]

    @property
    def is_out(self) -> bool:
        """Say whether somebody else has them, and must be told."""
        return self.status is BottleStatus.DISPATCHED

    @property
    def count(self) -> int:
        """How many bottles."""
        return sum(last - first + 1 for first, last in self.spans)

    @property
    def numbers(self) -> list[int]:
        """The numbers one by one."""
        return [one for first, last in self.spans for one in range(first, last + 1)]

    @property
    def ranges(self) -> str:
        """The numbers as ranges: “1–12, 15”."""
        return in_words(self.spans)


@dataclasses.dataclass(frozen=True, kw_only=True)
class Affected:
    """Everything that a recall reaches or would reach, and where its bottles are.

    ``causes`` are the lots, batches and filling lots that it was traced to.
    ``shares`` is what part of each batch is of those, by the id of the batch.
    ``taken_back`` are dispatches of these bottles that never were: whom they name need
    not be reached for them.
    """

    words: str
    causes: list[Cause]
    batches: list[Batch]
    shares: Mapping[int, Share]
    holders: list[Holder]
    bottle_count: int
    taken_back: list[DispatchTakenBack]

    @property
    def batch_ids(self) -> list[int]:
        """The ids of the batches."""
        return [batch.pk for batch in self.batches]


@dataclasses.dataclass(frozen=True, kw_only=True)
class Cause:
    """A lot, batch or filling lot that a recall was traced to, with its page."""

    code: str
    page: str
    what: str
    why: str
    is_walked: bool


def affected_by(beginning: Beginning) -> Affected:
    """Return the batches (at any depth), bottles and holders reached from it."""
    scope = recall_scope.scope_by(beginning)
    return affected_in(scope, recall_roots.in_words(beginning))


def affected_of(recall: Recall) -> Affected:
    """Return what a recall reaches by the book as it is now."""
    scope = recall_scope.scope_of(recall)
    return affected_in(scope, recall.subject)


def affected_in(scope: Scope, words: str) -> Affected:
    """Return the batches, bottles and holders of a scope."""
    batches = list(
        Batch.objects.listed().filter(pk__in=trace.among(scope.made_ids)).order_by("pk")
    )
    holders = _holders(scope.traced())
    return Affected(
        words=words,
        causes=_causes(scope.roots),
        batches=batches,
        shares=scope.shares(),
        holders=holders,
        bottle_count=sum(holder.count for holder in holders),
        taken_back=dispatch_back.of_batches(scope.mass_ids),
    )


def place_of(status: str, holder: str) -> str:
    """Return where a bottle is, in words, the same on page, print and file."""
    if status == BottleStatus.DISPATCHED:
        return holder
    return "destroyed" if status == BottleStatus.DESTROYED else "on the premises"


def _holders(bottles: Iterable[trace.TracedBottle]) -> list[Holder]:
    """Gather bottles that come in order of filling by where they are.

    Of each group only the runs of numbers are kept, so a list of a hundred thousand
    bottles takes no more memory than it has lines.
    """
    groups: dict[tuple[str, str, str, str, str, str], list[Span]] = {}
    for one in bottles:
        is_out = one.status == BottleStatus.DISPATCHED
        key = (
            one.filling_lot,
            one.batch,
            place_of(one.status, one.holder or ""),
            one.phone or "" if is_out else "",
            one.email or "" if is_out else "",
            one.status,
        )
        add(groups.setdefault(key, []), one.number)
    holders = [
        Holder(
            filling_lot=lot,
            batch=batch,
            place=place,
            phone=phone,
            email=email,
            status=BottleStatus(status),
            spans=spans,
        )
        for (lot, batch, place, phone, email, status), spans in groups.items()
    ]
    # Whoever must be telephoned comes first, all of one holder together.
    return sorted(
        holders, key=lambda one: (not one.is_out, one.place, one.batch, one.filling_lot)
    )


def _causes(roots: Sequence[Root]) -> list[Cause]:
    """Return the roots with their names, in three queries."""
    ids = [r.stock_id for r in roots if r.stock_id is not None]
    named: dict[tuple[bool, int], tuple[str, str, str]] = {}
    for lot in RawLot.objects.listed().filter(pk__in=ids):
        what = f"{lot.material.name}, {lot.supplier.name} {lot.supplier_lot}".strip()
        named[True, lot.pk] = (lot.code, "producer:lot", what)
    for one in Batch.objects.listed().filter(pk__in=ids):
        product = one.formula_version.product_name
        named[True, one.pk] = (one.number, "batches:batch", product)
    filled = FillingLot.objects.select_related("batch__formula_version")
    for of in filled.filter(pk__in=[r.filling_lot_id for r in roots]):
        product = of.batch.formula_version.product_name
        named[False, of.pk] = (of.code, "batches:filling_lot", product)
    found = []
    for root in roots:
        key = root.filling_lot_id if root.stock_id is None else root.stock_id
        code, page, what = named[root.stock_id is not None, key or 0]
        found.append(
            Cause(
                code=code,
                page=page,
                what=what,
                why=root.why,
                is_walked=root.is_walked,
            )
        )
    return found
