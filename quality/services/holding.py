"""What is made from a bad batch is held with it, at any depth, with its bottles.

Whoever found the reason: making it safer needs no right of a reviewer, lifting it does,
for each batch on its own. Callers hold the transaction and write the journal.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable
from typing import Any

from batches import trace
from batches.lifecycle import CLOSED_TO_CHARGES, BatchStatus
from batches.models import Batch, BatchStatusChange
from batches.services import filling, moves
from producer.models import User
from quality.services import marks


@dataclasses.dataclass(frozen=True, kw_only=True)
class Held:
    """The numbers of the batches that were put on hold, and how many bottles.

    ``out`` is how many bottles are with somebody else and cannot be held.
    """

    batches: list[str]
    bottles: int
    out: int

    def __add__(self, other: Held) -> Held:
        """Both together."""
        return Held(
            batches=sorted([*self.batches, *other.batches]),
            bottles=self.bottles + other.bottles,
            out=self.out + other.out,
        )

    @property
    def facts(self) -> dict[str, Any]:
        """What the journal says of it."""
        return {
            "batches_held": self.batches,
            "bottles_held": self.bottles,
            "bottles_out": self.out,
        }


def below(batch_ids: Iterable[int]) -> list[int]:
    """Return the ids of the batches that these went into, at any depth; not theirs."""
    roots = set(batch_ids)
    return sorted(set(trace.downstream_of(sorted(roots))) - roots)


def lock(batch_ids: Iterable[int]) -> list[Batch]:
    """Lock the finished ones among these batches until the transaction ends.

    In one order for everybody, and so that no draw, signature or dispatch is under way.
    One that is still made is not locked: who weighs into it locks it first and its
    source then. It is judged only after, and then finds what is on hold in it.
    """
    rows = Batch.objects.select_for_update(of=("self",)).select_related("stock")
    return list(
        rows.filter(pk__in=batch_ids, status__in=CLOSED_TO_CHARGES).order_by("pk")
    )


def lock_with_below(batch: Batch) -> None:
    """Lock a batch and what was made from it, before anything is decided about it."""
    lock([batch.pk, *below([batch.pk])])


def hold(*, by: User, batch_ids: Iterable[int], reason: str) -> Held:
    """Hold the released ones among these batches, and every bottle still here."""
    ids = sorted(batch_ids)
    held = [
        batch.number
        for batch in lock(ids)
        if moves.hold_if_released(by=by, batch=batch, reason=reason)
    ]
    return Held(
        batches=sorted(held),
        bottles=filling.hold_here(by=by, batch_ids=ids, reason=reason),
        out=sum(one.count for one in marks.bottles_out(ids)),
    )


def hold_below(*, by: User, batch: Batch, what: str, reason: str) -> Held:
    """Hold what was made from a batch; ``what`` says what befell that batch.

    The reason that each of them keeps names the batch.
    """
    return hold(
        by=by,
        batch_ids=below([batch.pk]),
        reason=f"Batch {batch.number} is in it and {what}. {reason}",
    )


def last_hold(batch: Batch) -> BatchStatusChange | None:
    """Return the move that put a batch on hold, while it is; else None."""
    if batch.status != BatchStatus.ON_HOLD:
        return None
    rows = batch.status_changes.filter(new=BatchStatus.ON_HOLD).order_by("-pk")
    return rows.select_related("entered_by__person").first()
