"""The lives of a batch and of a bottle: states, and the moves allowed between them.

Pure: no Django. What is not in a table is not allowed. Source: the plan of record,
“Lives”; the words are those of 21 CFR 211 and ISO 22716.

>>> find_move(BATCH_MOVES, BatchStatus.REJECTED, BatchStatus.REWORKED).right
'reviewer'
>>> find_move(BATCH_MOVES, BatchStatus.REJECTED, BatchStatus.RELEASED)
Traceback (most recent call last):
batches.lifecycle.ForbiddenMove: What is rejected cannot become released.
"""

from __future__ import annotations

import dataclasses
import enum
from collections.abc import Iterable


class ForbiddenMove(ValueError):
    """The table of lives has no such move."""


class _Status(enum.StrEnum):
    @property
    def label(self) -> str:
        """The words shown on screens and prints."""
        return self.value.replace("_", " ")


class BatchStatus(_Status):
    """Where a batch stands.

    >>> BatchStatus.AWAITING_REVIEW.label
    'awaiting review'
    """

    PLANNED = "planned"
    IN_PROCESS = "in_process"
    AWAITING_REVIEW = "awaiting_review"
    RELEASED = "released"
    REJECTED = "rejected"
    ON_HOLD = "on_hold"
    ABANDONED = "abandoned"
    REWORKED = "reworked"
    DISPOSED = "disposed"


class BottleStatus(_Status):
    """Where a bottle stands."""

    FILLED = "filled"
    ON_HOLD = "on_hold"
    RETAINED = "retained"
    DISPATCHED = "dispatched"
    RETURNED = "returned"
    RECOVERED = "recovered"
    DESTROYED = "destroyed"


@dataclasses.dataclass(frozen=True)
class Move:
    """A move from one state to another, the right that may make it, the facts it needs.

    ``right`` is owner, maker, reviewer or auditor; one of ``also`` does as well.
    ``needs`` says in plain words what must be on record; the services hold the move
    against it.
    """

    start: _Status
    end: _Status
    right: str
    needs: tuple[str, ...] = ()
    also: tuple[str, ...] = ()

    @property
    def rights(self) -> tuple[str, ...]:
        """Every right that may make it, each by itself.

        >>> find_move(BOTTLE_MOVES, BottleStatus.RETURNED, BottleStatus.ON_HOLD).rights
        ('maker', 'reviewer')
        """
        return (self.right, *self.also)


MAKER = "maker"
REVIEWER = "reviewer"
REASON = "a reason"
SIGNATURE = "a signature with the password re-entered"
OTHER_HANDS = "a signer who did not make it, or a one-person premises after its pause"
NO_RECALL = "no open recall that reaches it"

_B = BatchStatus
# There is no move back from awaiting review to in process, and there must never be
# one: a batch takes charges only while it is planned or in process, and can be drawn
# from only after. So whatever it contains was closed before it, and no batch can come
# to contain itself, at any depth. What has to be repaired is reworked into a new batch.
BATCH_MOVES = (
    Move(_B.PLANNED, _B.IN_PROCESS, MAKER, ("a first charge weighed",)),
    Move(_B.PLANNED, _B.ABANDONED, MAKER, (REASON,)),
    Move(_B.IN_PROCESS, _B.ABANDONED, MAKER, (REASON,)),
    Move(
        _B.IN_PROCESS,
        _B.AWAITING_REVIEW,
        MAKER,
        ("every line charged", "the yield weighed"),
    ),
    Move(
        _B.AWAITING_REVIEW,
        _B.RELEASED,
        REVIEWER,
        ("every finding acceptable", NO_RECALL, OTHER_HANDS, SIGNATURE),
    ),
    Move(_B.AWAITING_REVIEW, _B.REJECTED, REVIEWER, (REASON, SIGNATURE)),
    # Whoever finds a reason makes it safer: see moves.hold_if_released.
    Move(_B.RELEASED, _B.ON_HOLD, REVIEWER, (REASON,)),
    Move(
        _B.ON_HOLD, _B.RELEASED, REVIEWER, (REASON, NO_RECALL, OTHER_HANDS, SIGNATURE)
    ),
    # Held, looked at and found bad: without this move it could only be freed again.
    Move(_B.ON_HOLD, _B.REJECTED, REVIEWER, (REASON, SIGNATURE)),
    Move(_B.REJECTED, _B.REWORKED, REVIEWER, (REASON, SIGNATURE)),
    Move(_B.REJECTED, _B.DISPOSED, REVIEWER, (REASON, SIGNATURE)),
)
AT_THE_POT = (_B.PLANNED, _B.IN_PROCESS)  # what may still be weighed into
CLOSED_TO_CHARGES = frozenset(BatchStatus) - frozenset(AT_THE_POT)

_F = BottleStatus
BOTTLE_MOVES = (
    Move(_F.FILLED, _F.DISPATCHED, MAKER, ("a consignee", "its batch released")),
    # Kept here to be looked at later; it never leaves any more.
    Move(_F.FILLED, _F.RETAINED, MAKER, ("a place",)),
    Move(_F.RETAINED, _F.DESTROYED, MAKER, (REASON,)),
    # Broken, leaking or opened before it could leave.
    Move(_F.FILLED, _F.DESTROYED, MAKER, (REASON,)),
    Move(_F.FILLED, _F.ON_HOLD, REVIEWER, (REASON,)),
    Move(_F.ON_HOLD, _F.FILLED, REVIEWER, (REASON,)),
    Move(_F.ON_HOLD, _F.DESTROYED, REVIEWER, (REASON,)),
    # A bottle that has left cannot be held: it is asked back. Returned is what a
    # consignee brings, recovered is what a recall fetches.
    Move(_F.DISPATCHED, _F.RETURNED, MAKER, (REASON,)),
    Move(_F.DISPATCHED, _F.RECOVERED, MAKER, (REASON,)),
    Move(_F.DISPATCHED, _F.DESTROYED, MAKER, (REASON,)),
    # Whoever holds what came back in hand may set it aside or do away with it; put
    # back to stock it is by a reviewer alone, also from a hold: see back_in_stock.
    Move(_F.RETURNED, _F.FILLED, REVIEWER, ("an inspection", REASON)),
    Move(_F.RETURNED, _F.ON_HOLD, MAKER, (REASON,), also=(REVIEWER,)),
    Move(_F.RETURNED, _F.DESTROYED, MAKER, (REASON,), also=(REVIEWER,)),
    Move(_F.RECOVERED, _F.DESTROYED, MAKER, (REASON,)),
)
# What undoes a record that was a mistake. Nobody chooses one of these: each is made by
# the one service that writes the row which takes the mistake back, and by no other.
BOTTLE_CORRECTIONS = (
    Move(
        _F.DISPATCHED,
        _F.FILLED,
        MAKER,
        ("its whole dispatch taken back", REASON),
        also=(REVIEWER,),
    ),
    # Looked at before it can leave again. A sample stays a sample, and what a recall
    # fetched stays fetched.
    Move(_F.DESTROYED, _F.ON_HOLD, REVIEWER, ("a doubt about it settled", REASON)),
    Move(_F.DESTROYED, _F.RETAINED, REVIEWER, ("a doubt about it settled", REASON)),
    Move(_F.DESTROYED, _F.RECOVERED, REVIEWER, ("a doubt about it settled", REASON)),
)


def find_move(moves: Iterable[Move], start: _Status, end: _Status) -> Move:
    """Return the move from ``start`` to ``end``; raise :class:`ForbiddenMove`.

    >>> find_move(BOTTLE_MOVES, BottleStatus.RETURNED, BottleStatus.FILLED).needs
    ('an inspection', 'a reason')
    """
    for move in moves:
        if (move.start, move.end) == (start, end):
            return move
    raise ForbiddenMove(f"What is {start.label} cannot become {end.label}.")


def moves_from(moves: Iterable[Move], start: _Status) -> tuple[Move, ...]:
    """Return every move that leads out of ``start``.

    >>> [move.end.label for move in moves_from(BATCH_MOVES, BatchStatus.RELEASED)]
    ['on hold']
    """
    return tuple(move for move in moves if move.start == start)
