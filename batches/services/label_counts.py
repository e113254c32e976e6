"""What became of the labels of a filling lot, and whether it adds up.

A label that was printed carries the identity of a bottle. Until it is known where each
of them went, one may be on something else: so the count closes exactly or not at all.
"""

from __future__ import annotations

import dataclasses
import datetime
import uuid
from collections import Counter
from collections.abc import Collection
from typing import Any

from django.db import models, transaction
from django.utils import timezone

from batches.lifecycle import BottleStatus
from batches.models import (
    Bottle,
    FillingBalance,
    FillingLot,
    LabelCopy,
    LabelCount,
    LabelIssue,
)
from batches.services.cooking.rows import newest
from producer import journal
from producer.errors import Refusal
from producer.models import Right, User
from producer.services.checks import (
    existed_at,
    need_reason,
    not_before,
    plausible_time,
    require,
)

MOST_COUNTED = 100_000  # a slip of the finger, not a count
# With these a label is, or was when they left, on the bottle. One that is kept as a
# sample may have none, and of one that is destroyed nobody knows.
NEED_ONE = (
    BottleStatus.FILLED,
    BottleStatus.ON_HOLD,
    BottleStatus.DISPATCHED,
    BottleStatus.RETURNED,
    BottleStatus.RECOVERED,
)


@dataclasses.dataclass(frozen=True, kw_only=True)
class Reconciliation:
    """Labels issued for a filling lot, and what was counted of them.

    ``issued`` are the copies and specimens printed; the rest was counted by hand.
    ``unlabelled`` are the bottles of the lot, without those destroyed, for which no
    label was printed yet: they have nothing to do with whether the count closes.
    """

    issued: int
    applied: int
    spoiled: int
    returned: int
    specimen: int
    unlabelled: int = 0

    @property
    def counted(self) -> int:
        """All that is accounted for."""
        return self.applied + self.spoiled + self.returned + self.specimen

    @property
    def open(self) -> int:
        """Labels not accounted for; below zero where too many were counted."""
        return self.issued - self.counted

    @property
    def closes(self) -> bool:
        """Say whether each label that was printed is accounted for, and no other."""
        return self.issued > 0 and self.open == 0

    @property
    def sentence(self) -> str:
        """Say how the count stands, and what to do while it does not close."""
        if not self.issued:
            return (
                f"{_labels(self.counted)} counted, and none was printed here. Take the"
                " count back."
                if self.counted
                else "No label was printed yet."
            )
        if self.open > 0:
            one = self.open == 1
            return (
                f"{self.open} of {_labels(self.issued)} {'is' if one else 'are'} not"
                f" accounted for. Look for {'it' if one else 'them'}, then count"
                f" {'it' if one else 'them'} as applied, spoiled, left over or a"
                " specimen."
            )
        if self.open < 0:
            return (
                f"{self.counted} counted of {_labels(self.issued)}: {-self.open} too"
                " many. Count again and correct the entry that is wrong."
            )
        if self.issued == 1:
            return "The one label is accounted for."
        return f"All {_labels(self.issued)} are accounted for."


def _labels(count: int) -> str:
    return "1 label" if count == 1 else f"{count} labels"


def reconciliation(filling_lot: FillingLot) -> Reconciliation:
    """Return what was issued for a filling lot and what was counted of it."""
    copies = LabelCopy.objects.filter(issue__filling_lot=filling_lot)
    issues = LabelIssue.objects.filter(filling_lot=filling_lot)
    specimens: int = issues.aggregate(all=models.Sum("specimens", default=0))["all"]
    rows = LabelCount.objects.current().filter(filling_lot=filling_lot)
    sums = rows.values("kind").annotate(all=models.Sum("count")).order_by()
    counted = {row["kind"]: row["all"] for row in sums}
    standing = filling_lot.bottles.exclude(status=BottleStatus.DESTROYED)
    return Reconciliation(
        issued=copies.count() + specimens,
        applied=counted.get(LabelCount.Kind.APPLIED, 0),
        spoiled=counted.get(LabelCount.Kind.SPOILED, 0),
        returned=counted.get(LabelCount.Kind.RETURNED, 0),
        specimen=counted.get(LabelCount.Kind.SPECIMEN, 0),
        unlabelled=standing.filter(copies__isnull=True).count(),
    )


def open_counts(lots: Collection[FillingLot]) -> dict[int, str]:
    """Return a sentence for each of these lots whose labels do not add up, by its id.

    Lots without any label issued are left out. Three queries, however many lots.
    """
    ids = [lot.pk for lot in lots]
    copies = LabelCopy.objects.filter(issue__filling_lot__in=ids)
    issued = Counter(copies.values_list("issue__filling_lot", flat=True))
    issues = LabelIssue.objects.filter(filling_lot__in=ids)
    for lot_id, specimens in issues.values_list("filling_lot", "specimens"):
        issued[lot_id] += specimens
    rows = LabelCount.objects.current().filter(filling_lot__in=ids)
    counted: Counter[int] = Counter()
    for lot_id, count in rows.values_list("filling_lot", "count"):
        counted[lot_id] += count
    return {
        lot.pk: (
            f"The labels of {lot.code} do not add up: {_labels(issued[lot.pk])}"
            f" {'was' if issued[lot.pk] == 1 else 'were'} issued and"
            f" {counted[lot.pk]} {'is' if counted[lot.pk] == 1 else 'are'} accounted"
            " for."
        )
        for lot in lots
        if issued[lot.pk] and issued[lot.pk] != counted[lot.pk]
    }


def too_few(lots: Collection[FillingLot]) -> dict[int, str]:
    """Return a sentence for each of these lots with fewer labels on than it needs.

    Each bottle that left, or is here to leave, needs one. Lots from before labels were
    counted are left out. Three queries, however many lots.
    """
    balances = FillingBalance.objects.filter(filling_lot__in=[lot.pk for lot in lots])
    ids = list(balances.values_list("filling_lot_id", flat=True))
    bottles = Bottle.objects.filter(filling_lot__in=ids, status__in=NEED_ONE)
    by_lot = bottles.order_by().values_list("filling_lot")
    needed = dict(by_lot.annotate(models.Count("pk")))
    applied: Counter[int] = Counter()
    rows = LabelCount.objects.current().filter(
        filling_lot__in=ids, kind=LabelCount.Kind.APPLIED
    )
    for lot_id, count in rows.values_list("filling_lot", "count"):
        applied[lot_id] += count
    return {
        lot.pk: (
            f"{lot.code} needs {_labels(needed[lot.pk])} on bottles that left or are"
            f" here to leave, and counted as applied: {applied[lot.pk]}. Label the"
            " others, or correct the count."
        )
        for lot in lots
        if applied[lot.pk] < needed.get(lot.pk, 0)
    }


@transaction.atomic
def count_labels(
    *,
    by: User,
    filling_lot: FillingLot,
    kind: str,
    count: int,
    note: str = "",
    observed_at: datetime.datetime | None = None,
    submission: uuid.UUID | None = None,
) -> LabelCount:
    """Record how many labels of a filling lot were applied, spoiled, left or kept.

    What was counted earlier stays and is added to. Refused is what cannot be: more
    labels on bottles than bottles for which one was printed. More in all than were
    printed is recorded: the count is then open, and says so.
    """
    require(by, Right.MAKER)
    journal.in_line()
    row = _filled(
        LabelCount(filling_lot=filling_lot, kind=kind, entered_by=by),
        count=count,
        note=note,
        observed_at=_once_printed(
            filling_lot, plausible_time(observed_at or timezone.now())
        ),
    )
    row.save(force_insert=True)
    return _written(row, "labels counted", submission=submission)


@transaction.atomic
def amend_count(
    *,
    by: User,
    row: LabelCount,
    reason: str,
    count: int = 0,
    note: str = "",
    void: bool = False,
    submission: uuid.UUID | None = None,
) -> LabelCount:
    """Correct a count by a new row, or take it back; the old row stays legible."""
    require(by, Right.MAKER)
    journal.in_line()
    newest(row, LabelCount.objects.all())
    new = _filled(
        LabelCount(
            filling_lot=row.filling_lot,
            kind=row.kind,
            entered_by=by,
            supersedes=row,
            reason=need_reason(reason),
            is_void=void,
        ),
        count=0 if void else count,
        note=note,
        observed_at=row.observed_at,
    )
    new.save(force_insert=True)
    act = "label count taken back" if void else "label count corrected"
    return _written(new, act, before=_facts(row), submission=submission)


def _once_printed(
    filling_lot: FillingLot, observed_at: datetime.datetime
) -> datetime.datetime:
    """Refuse a count from before the first label, or the first bottle, was there."""
    first = LabelIssue.objects.filter(filling_lot=filling_lot).order_by("pk").first()
    if first is None:
        start, was = existed_at(filling_lot), "These bottles were filled"
    else:
        start, was = existed_at(first), "The first of these labels were issued"
    return not_before(observed_at, start, was=was, what="a count of labels")


def _filled(
    row: LabelCount, *, count: int, note: str, observed_at: datetime.datetime
) -> LabelCount:
    row.count, row.note, row.observed_at = count, note.strip(), observed_at
    row.full_clean()
    if row.is_void:
        return row
    if not 0 < count <= MOST_COUNTED:
        raise Refusal(
            "Write how many there are. What there is none of needs no entry.",
            field="count",
        )
    if row.kind == LabelCount.Kind.APPLIED:
        _can_be_on_bottles(row)
    return row


def _can_be_on_bottles(row: LabelCount) -> None:
    """Refuse more labels on bottles than bottles that were given one."""
    others = LabelCount.objects.current().filter(
        filling_lot=row.filling_lot, kind=row.kind
    )
    if row.supersedes_id is not None:
        others = others.exclude(pk=row.supersedes_id)
    already: int = others.aggregate(all=models.Sum("count", default=0))["all"]
    printed = row.filling_lot.bottles.filter(copies__isnull=False).distinct().count()
    if already + row.count > printed:
        raise Refusal(
            f"With these {already + row.count} labels would be on bottles, and labels"
            f" were printed for {printed}. A label that came off, or was replaced, is"
            " spoiled.",
            field="count",
        )


def _written(
    row: LabelCount,
    act: str,
    *,
    before: dict[str, Any] | None = None,
    submission: uuid.UUID | None,
) -> LabelCount:
    journal.write(
        by=row.entered_by,
        act=act,
        subject=row,
        label=row.filling_lot.code,
        before=before,
        after=_facts(row),
        reason=row.reason,
        submission=submission,
    )
    return row


def _facts(row: LabelCount) -> dict[str, Any]:
    return {
        "kind": row.kind,
        "count": row.count,
        "note": row.note,
        "is_void": row.is_void,
        "observed_at": row.observed_at.isoformat(),
    }
