"""A recall looked at again: as it was believed when it was opened, and as it is now.

The book may have been corrected since: a lot number that was mistyped, a container that
was another one. Until somebody looks, what was found then stays recalled. A look keeps,
for the record, what is found now beside it, holds what is new, and lets what is cleared
be decided about. Attempts to reach holders stay as they were recorded.
"""

from __future__ import annotations

import dataclasses
import uuid
from collections.abc import Collection, Iterable, Sequence

from django.db import transaction
from django.db.models import Min, Q
from django.utils import timezone

from batches import trace
from batches.models import BatchStatusChange, FillingLot
from producer import journal, written
from producer.errors import Conflict, Refusal
from producer.models import RawLot, Right, Stock, User
from producer.services.checks import require
from quality.models import (
    Recall,
    RecallChange,
    RecallItem,
    RecallRevision,
    RecallRoot,
)
from quality.services import recall_scope, recalling
from quality.services.recall_roots import Root


@dataclasses.dataclass(frozen=True, kw_only=True)
class Drift:
    """What a recall reaches by the book now, beside what was kept of it.

    ``added`` and ``cleared`` are ids of stocks; ``new_roots`` and ``gone_roots`` what
    it is traced to now and was not, and the other way round. ``gone`` says why what it
    began with cannot be traced any more; then nothing is compared.
    """

    added: Sequence[int] = ()
    cleared: Sequence[int] = ()
    new_roots: Sequence[Root] = ()
    gone_roots: Sequence[RecallRoot] = ()
    gone: str = ""

    def __bool__(self) -> bool:
        """Say whether anything differs."""
        return bool(self.added or self.cleared or self.new_roots or self.gone_roots)


def drift_of(recall: Recall) -> Drift:
    """Return how the book differs from what was kept of a recall."""
    try:
        roots = recall_scope.roots_by_the_book(recall)
    except Refusal as refused:
        return Drift(gone=str(refused))
    scope = recall_scope.scope_from(roots)
    kept = set(
        RecallItem.objects.standing()
        .filter(recall=recall)
        .values_list("stock_id", flat=True)
    )
    now = set(scope.stock_ids)
    new, gone = _roots_apart(recall, roots)
    added = now - kept
    if recall.closed_at is not None:
        # What was begun after it was closed, from a lot that was freed, is not meant.
        begun = BatchStatusChange.objects.filter(entered_at__lte=recall.closed_at)
        added &= set(begun.filter(batch__in=added).values_list("batch_id", flat=True))
    return Drift(
        added=sorted(added),
        cleared=sorted(kept - now),
        new_roots=new,
        gone_roots=gone,
    )


def overtaken_among(recalls: Sequence[Recall]) -> list[Recall]:
    """Return the recalls that a corrected book has overtaken.

    Open ones that reach more or less now, closed ones that would reach more. Of those
    that began with a lot or batch in three queries, however many there are; the roots
    of the others are traced for each.
    """
    rooted = [one for one in recalls if one.root_id is not None]
    reached = trace.downstream_of_each({one.root_id or 0 for one in rooted})
    kept: dict[int, set[int]] = {one.pk: set() for one in rooted}
    items = RecallItem.objects.standing().filter(recall__in=rooted)
    for recall_id, stock_id in items.values_list("recall_id", "stock_id"):
        kept[recall_id].add(stock_id)
    added = {one.pk: reached[one.root_id or 0] - kept[one.pk] for one in rooted}
    first = dict(
        BatchStatusChange.objects.filter(batch__in=set().union(*added.values()))
        .order_by()
        .values_list("batch_id")
        .annotate(Min("entered_at"))
    )
    found = []
    for one in recalls:
        if one.root_id is None:
            drift = drift_of(one)
            is_more, differs = bool(drift.added), bool(drift)
        else:
            is_more = any(
                one.closed_at is None or (pk in first and first[pk] <= one.closed_at)
                for pk in added[one.pk]
            )
            differs = bool(added[one.pk] or kept[one.pk] - reached[one.root_id])
        if is_more or (differs and one.closed_at is None):
            found.append(one)
    return found


@transaction.atomic
def look_again(
    *,
    by: User,
    recall: Recall,
    note: str,
    submission: uuid.UUID | None = None,
) -> RecallRevision:
    """Keep what a recall reaches now; hold what is new, and free what is cleared.

    ``note`` says what was corrected. Cleared lots and batches may be decided about
    again; they stay on hold until somebody does. Of a mock recall nothing is held.
    """
    require(by, Right.REVIEWER)
    if not note.strip():
        raise Refusal("Write what was corrected; it stays on record.", field="note")
    journal.in_line()
    recall = Recall.objects.with_beginning().get(pk=recall.pk)
    if recall.status == Recall.Status.CLOSED:
        raise Conflict(
            "This recall is closed and stays as it was closed. Open another one of"
            f" {recall.subject} for what is affected now."
        )
    drift = drift_of(recall)
    if drift.gone:
        raise Refusal(f"{drift.gone} The recall stays as it is.")
    if not drift:
        raise Refusal("Nothing has changed: the book says what the recall says.")
    return _revised(by, recall, drift, note.strip(), submission)


def _revised(
    by: User,
    recall: Recall,
    drift: Drift,
    note: str,
    submission: uuid.UUID | None,
) -> RecallRevision:
    scope = recall_scope.scope_from(recall_scope.roots_by_the_book(recall))
    frozen = {} if recall.is_mock else recalling.freeze(by, recall, scope)
    facts = {
        "added": _codes(drift.added),
        "cleared": _codes(drift.cleared),
        "filling_lots_added": _lot_codes(r.filling_lot_id for r in drift.new_roots),
        "filling_lots_cleared": _lot_codes(r.filling_lot_id for r in drift.gone_roots),
    }
    revision = RecallRevision(
        recall=recall,
        note=note,
        facts=facts,
        observed_at=timezone.now(),
        entered_by=by,
    )
    revision.full_clean()
    revision.save(force_insert=True)
    _keep(recall, revision, drift)
    if not recall.is_mock:
        cleared = RawLot.objects.filter(pk__in=drift.cleared, frozen_by=recall.code)
        recalling.thaw(recall, list(cleared))
    journal.write(
        by=by,
        act=f"{'mock recall' if recall.is_mock else 'recall'} looked at again",
        subject=recall,
        label=recall.code,
        after={**facts, **frozen},
        reason=note,
        submission=submission,
    )
    return revision


def _keep(recall: Recall, revision: RecallRevision, drift: Drift) -> None:
    """Write what is new and what is cleared, as rows beside those that were kept."""
    items = {one.stock_id: one for one in RecallItem.objects.filter(recall=recall)}
    unknown = [pk for pk in drift.added if pk not in items]
    items |= {one.stock_id: one for one in recalling.keep_items(recall, unknown)}
    kept = {recall_scope.plain(one).key: one for one in recall.roots.all()}
    fresh = [one for one in drift.new_roots if one.key not in kept]
    kept |= {
        recall_scope.plain(one).key: one for one in recalling.keep_roots(recall, fresh)
    }
    changes = [
        *(RecallChange(item=items[pk], is_affected=True) for pk in drift.added),
        *(RecallChange(item=items[pk], is_affected=False) for pk in drift.cleared),
        *(RecallChange(root=kept[r.key], is_affected=True) for r in drift.new_roots),
        *(RecallChange(root=one, is_affected=False) for one in drift.gone_roots),
    ]
    for change in changes:
        change.revision = revision
    written.create_all(RecallChange, changes)


def _roots_apart(
    recall: Recall, roots: Collection[Root]
) -> tuple[list[Root], list[RecallRoot]]:
    if recall.root_id is not None or recall.filling_lot_id is not None:
        return [], []
    kept = {recall_scope.plain(one).key: one for one in recall.roots.standing()}
    now = {one.key for one in roots}
    new = [one for one in roots if one.key not in kept]
    return new, [one for key, one in kept.items() if key not in now]


def cleared_lots(recall: Recall) -> tuple[list[FillingLot], list[FillingLot]]:
    """Return the filling lots that a look at a recall cleared: clear, and not so.

    Those that another open recall reaches are not clear, whatever this one says.
    """
    now = recall_scope.scope_of(recall)
    gone = RecallItem.objects.filter(recall=recall).exclude(
        pk__in=RecallItem.objects.standing().filter(recall=recall).values("pk")
    )
    roots = recall.roots.exclude(
        pk__in=RecallRoot.objects.standing().filter(recall=recall).values("pk")
    )
    lots = FillingLot.objects.filter(
        Q(batch__in=gone.values("stock")) | Q(pk__in=roots.values("filling_lot"))
    ).exclude(now.filling_lots())
    apart: tuple[list[FillingLot], list[FillingLot]] = ([], [])
    for lot in lots.select_related("batch").order_by("pk"):
        apart[_is_recalled(lot)].append(lot)
    return apart


def _is_recalled(lot: FillingLot) -> bool:
    within = trace.upstream_ids(lot.batch_id)
    reaching = recall_scope.reaching(within, lot.pk, batch_id=lot.batch_id)
    return recall_scope.still_open(reaching).exists()


def _codes(ids: Iterable[int]) -> list[str]:
    rows = Stock.objects.filter(pk__in=list(ids)).order_by("pk")
    return list(rows.values_list("code", flat=True))


def _lot_codes(ids: Iterable[int | None]) -> list[str]:
    rows = FillingLot.objects.filter(pk__in=[one for one in ids if one is not None])
    return list(rows.order_by("pk").values_list("code", flat=True))
