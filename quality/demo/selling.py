"""What becomes of bottles: dispatch, return, and recall."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from typing import Any

from batches.lifecycle import BottleStatus
from batches.models import Bottle
from batches.services import bottle_moves, dispatching
from producer.models import Stock
from quality.demo.people import HELPER, OWNER, REVIEWER
from quality.demo.scene import Scene
from quality.models import Recall, RecallContact
from quality.services import (
    recall_closing,
    recall_contacts,
    recall_hazard,
    recalling,
    supplying,
)
from quality.services.under_recall import recalled


def dispatch(
    scene: Scene,
    filling_lot: str,
    first: int,
    last: int,
    *,
    to: str,
    note: str = "",
    observed_at: datetime.datetime | None = None,
) -> None:
    """Send the bottles numbered ``first`` to ``last`` to a consignee."""
    supplying.dispatch(
        by=scene.users[HELPER],
        bottles=dispatching.bottles_by_range(scene.fillings[filling_lot], first, last),
        consignee=scene.consignees[to],
        note=note,
        observed_at=observed_at,
    )
    scene.clock.wait(5)


def move_bottles(
    scene: Scene,
    bottles: Sequence[Bottle],
    new: BottleStatus,
    reason: str,
    *,
    by: str = OWNER,
) -> None:
    """Move bottles one by one, as they come to hand."""
    for bottle in bottles:
        scene.clock.wait(1)
        bottle_moves.move_bottles(
            by=scene.users[by],
            bottles=[bottle],
            new=new,
            reason=reason,
            recalled=recalled,
        )


def bottles_of(scene: Scene, filling_lot: str, numbers: Sequence[int]) -> list[Bottle]:
    """Return bottles of a filling lot by their numbers."""
    return list(scene.fillings[filling_lot].bottles.listed().filter(number__in=numbers))


def bottles_that_are(
    scene: Scene, filling_lot: str, status: BottleStatus
) -> list[Bottle]:
    """Return the bottles of a filling lot that are in a state."""
    return list(scene.fillings[filling_lot].bottles.listed().filter(status=status))


def open_recall(
    scene: Scene, root: Stock, *, reason: str, notice: str, is_mock: bool = False
) -> Recall:
    """Open a recall, or a mock recall."""
    return recalling.open_recall(
        by=scene.users[REVIEWER],
        root=root,
        hazard_class=Recall.HazardClass.THREE if is_mock else Recall.HazardClass.TWO,
        reason=reason,
        public_notice=notice,
        is_mock=is_mock,
    )


def evaluate(scene: Scene, recall: Recall, **words: Any) -> None:
    """Write down how bad it could be, of the class it was opened with."""
    recall_hazard.evaluate(
        by=scene.users[REVIEWER],
        recall=recall,
        hazard_class=recall.hazard_class,
        **words,
    )


def advance(scene: Scene, recall: Recall, note: str) -> None:
    """Say that the holders of a recall are notified."""
    recalling.advance(by=scene.users[REVIEWER], recall=recall, note=note)


def attempt(
    scene: Scene,
    recall: Recall,
    outcome: RecallContact.Outcome,
    *,
    to: str = "",
    by: str = HELPER,
    means: RecallContact.Means = RecallContact.Means.TELEPHONE,
    **said: Any,
) -> None:
    """Record an attempt to reach a holder, named by a short name of ours."""
    recall_contacts.record_contact(
        by=scene.users[by],
        recall=recall,
        consignee=scene.consignees[to] if to else None,
        means=means,
        outcome=outcome,
        **said,
    )


def close_recall(scene: Scene, recall: Recall, note: str, why_not: str = "") -> None:
    """Close a recall, signed by the reviewer."""
    recall_closing.close(
        by=scene.users[REVIEWER],
        recall=recall,
        note=note,
        why_not=why_not,
        password=scene.passwords[REVIEWER],
    )
