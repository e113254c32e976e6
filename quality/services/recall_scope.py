"""What a recall reaches: lots, batches, bottles.

From the roots that stand, walked forwards through the genealogy as it is now, so that a
bottle filled after the opening is reached too. What was found when it was opened stays
reached though the book was corrected, until a reviewer has looked at it again.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Collection, Iterator, Mapping, Sequence

from django.db.models import Exists, OuterRef, Q, QuerySet
from django.db.models.expressions import RawSQL

from batches import trace
from batches.models import Bottle, FillingLot
from batches.shares import Share
from producer.models import Stock
from quality.models import Recall, RecallItem, RecallRoot
from quality.services.recall_roots import (
    Beginning,
    Root,
    beginning_of,
    roots_from,
)


@dataclasses.dataclass(frozen=True, kw_only=True)
class Scope:
    """What is affected, from ``roots``, and each with its reason.

    ``made_ids`` are roots that are walked and what was made from them, ``held_ids``
    lots that are only held, ``lot_ids`` filling lots for themselves. ``kept_ids`` among
    those made are batches that the book does not reach any more, and that stay affected
    until somebody has looked at the recall again.
    """

    roots: Sequence[Root]
    made_ids: Sequence[int]
    held_ids: Sequence[int]
    lot_ids: Sequence[int]
    kept_ids: Sequence[int] = ()

    @property
    def walked(self) -> list[int]:
        """The stocks that the walk starts from."""
        return walked_in(self.roots)

    @property
    def stock_ids(self) -> list[int]:
        """Every raw lot and batch that is affected or held."""
        return sorted({*self.made_ids, *self.held_ids})

    @property
    def mass_ids(self) -> list[int]:
        """The stocks whose masses are reconciled: also those the lots are of."""
        of_lots = FillingLot.objects.filter(pk__in=self.lot_ids)
        return sorted({*self.made_ids, *of_lots.values_list("batch_id", flat=True)})

    def bottles(self, prefix: str = "") -> Q:
        """Return the condition of a bottle that is affected, behind ``prefix``."""
        made = trace.among(self.made_ids)
        in_lot = Q(**{f"{prefix}filling_lot__batch_id__in": made})
        if not self.lot_ids:
            return in_lot
        return in_lot | Q(**{f"{prefix}filling_lot_id__in": self.lot_ids})

    def filling_lots(self) -> Q:
        """Return the condition of a filling lot that is affected."""
        return Q(batch_id__in=trace.among(self.made_ids)) | Q(pk__in=self.lot_ids)

    def traced(self) -> Iterator[trace.TracedBottle]:
        """Yield the affected bottles in order of filling; memory stays the same."""
        return trace.bottles_among([*self.walked, *self.kept_ids], self.lot_ids)

    def bottle_count(self) -> int:
        """Return how many bottles are affected."""
        if not self.lot_ids and not self.kept_ids and len(self.walked) == 1:
            return trace.bottle_count(self.walked[0])
        return Bottle.objects.filter(self.bottles()).count()

    def shares(self) -> Mapping[int, Share]:
        """Return what part of each batch is of the roots, by the id of the batch."""
        return trace.shares_in(self.walked, self.made_ids)


def walked_in(roots: Collection[Root]) -> list[int]:
    """Return the stocks among roots that the walk starts from."""
    return sorted({r.stock_id for r in roots if r.is_walked and r.stock_id is not None})


def scope_from(roots: Sequence[Root]) -> Scope:
    """Return what these roots reach by the book as it is now."""
    return Scope(
        roots=roots,
        made_ids=trace.downstream_of(walked_in(roots)),
        held_ids=sorted(
            {r.stock_id for r in roots if not r.is_walked and r.stock_id is not None}
        ),
        lot_ids=sorted(
            {r.filling_lot_id for r in roots if r.filling_lot_id is not None}
        ),
    )


def scope_by(beginning: Beginning) -> Scope:
    """Return what a recall that begins with this would reach."""
    return scope_from(roots_from(beginning))


def roots_of(recall: Recall) -> list[Root]:
    """Return the roots of a recall that stand."""
    if recall.root_id is not None or recall.filling_lot_id is not None:
        return roots_from(beginning_of(recall))
    return [plain(row) for row in recall.roots.standing()]


def scope_of(recall: Recall) -> Scope:
    """Return what a recall reaches: by the book as it is now, and by what was kept.

    A correction of the book takes nothing out of a recall by itself: whoever may only
    enter things would end its warning. A look by a reviewer does.
    """
    now = scope_from(roots_of(recall))
    items = RecallItem.objects.standing().filter(
        recall=recall, stock__kind=Stock.Kind.BATCH
    )
    kept = set(items.values_list("stock_id", flat=True)) - set(now.made_ids)
    if not kept:
        return now
    return dataclasses.replace(
        now, made_ids=sorted({*now.made_ids, *kept}), kept_ids=sorted(kept)
    )


def plain(row: RecallRoot) -> Root:
    """Return a root as it was kept."""
    return Root(
        stock_id=row.stock_id,
        filling_lot_id=row.filling_lot_id,
        is_walked=row.is_walked,
        why=row.why,
    )


def roots_by_the_book(recall: Recall) -> list[Root]:
    """Return the roots that what a recall began with means now.

    Raises :class:`.Refusal` as :func:`.beginning_of`.
    """
    return roots_from(beginning_of(recall))


def reaching(
    stock_ids: Collection[int] | RawSQL,
    filling_lot_id: int | None = None,
    *,
    batch_id: int | None = None,
) -> QuerySet[Recall]:
    """Return the real recalls, open or past, that reach a bottle; newest first.

    ``stock_ids`` is all that is in it, see :func:`batches.trace.upstream_ids` (or the
    same by :func:`batches.trace.among`), and
    ``batch_id`` what it was filled from: a recall that kept that batch reaches it until
    somebody has looked at the recall again. Without a filling lot, those that reach
    what was made from these stocks.
    """
    here = Q(stock_id__in=stock_ids, is_walked=True)
    began = Q(root_id__in=stock_ids)
    if filling_lot_id is not None:
        here |= Q(filling_lot_id=filling_lot_id)
        began |= Q(filling_lot_id=filling_lot_id)
    traced = RecallRoot.objects.standing().filter(here, recall=OuterRef("pk"))
    found = began | Q(Exists(traced))
    if batch_id is not None:
        kept = RecallItem.objects.standing().filter(stock=batch_id)
        found |= Q(Exists(kept.filter(recall=OuterRef("pk"))))
    return Recall.objects.filter(found, is_mock=False)


def still_open(recalls: QuerySet[Recall]) -> QuerySet[Recall]:
    """Return those that are not closed."""
    return recalls.exclude(status=Recall.Status.CLOSED)


def holding(stock_id: int) -> QuerySet[Recall]:
    """Return the open real recalls that hold a lot: in them, or a container of it."""
    items = RecallItem.objects.standing().filter(stock=stock_id, recall=OuterRef("pk"))
    return still_open(Recall.objects.filter(Exists(items), is_mock=False))
