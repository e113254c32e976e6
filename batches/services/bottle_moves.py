"""What becomes of many bottles at once: back, recovered, destroyed, held, in stock."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Callable, Collection, Sequence
from typing import Any, Final

from django.db import transaction

from batches.lifecycle import (
    BOTTLE_MOVES,
    BottleStatus,
    ForbiddenMove,
    Move,
    find_move,
    moves_from,
)
from batches.models import Bottle, FillingLot
from batches.services import back_in_stock, filling
from batches.services.dispatching import each_once
from batches.services.leaving import fresh
from producer import journal
from producer.codes import grouped
from producer.errors import Refusal
from producer.models import Place, Right, User
from producer.services.checks import need_reason, require

# To leave, a bottle needs a consignee; to be a sample, a place and a day to look.
CHOICES: Final = (
    BottleStatus.RETURNED,
    BottleStatus.RECOVERED,
    BottleStatus.DESTROYED,
    BottleStatus.ON_HOLD,
    BottleStatus.FILLED,
)
WORDS: Final = {
    BottleStatus.RETURNED: "returned by who had it",
    BottleStatus.RECOVERED: "recovered in a recall",
    BottleStatus.DESTROYED: "destroyed or emptied",
    BottleStatus.ON_HOLD: "put on hold",
    BottleStatus.FILLED: "back to stock",
}
MOST_NAMED = 3  # bottles in one sentence
NOT_RECALLED: Final = (
    f"There is no recall of it. Choose “{WORDS[BottleStatus.RETURNED]}”."
)
# The ids of those of these bottles that a real recall covers, open or past.
Recalled = Callable[[Sequence[Bottle]], Collection[int]]


def none_is(_: Sequence[Bottle]) -> Collection[int]:
    """Answer for who knows of no recall: then nothing is recovered in one."""
    return ()


@transaction.atomic
def move_bottles(
    *,
    by: User,
    bottles: Sequence[Bottle],
    new: str,
    reason: str,
    inspection: str = "",
    place: Place | None = None,
    recalled: Recalled = none_is,
    submission: uuid.UUID | None = None,
) -> int:
    """Move bottles, all of them or none, and return how many.

    ``new`` is one of :data:`CHOICES`; which right it needs depends on where a bottle
    is now. Who had it stays in its events. ``inspection`` is what was found on looking
    at it, and is needed before anything that was out goes back to stock. ``place`` is
    where they stand from now on. ``recalled`` says which of them a real recall covers,
    :func:`quality.services.under_recall.recalled`: no other is recovered in one. It is
    handed down, because imports run one way.
    """
    require(by, Right.REVIEWER if by.may(Right.REVIEWER) else Right.MAKER)
    journal.in_line()
    reason = need_reason(reason)
    status = _chosen(new)
    if not bottles:
        raise Refusal("Choose at least one bottle.", field="codes")
    each_once(bottles)
    bottles = fresh(bottles)
    covered = recalled(bottles) if status is BottleStatus.RECOVERED else ()
    _movable(by, bottles, status, covered)
    _standing(place, status)
    if status is BottleStatus.FILLED:
        back_in_stock.check(bottles, inspection=inspection)
    words = back_in_stock.in_words(reason, inspection)
    moved = filling.change_bottles(
        by=by,
        bottles=bottles,
        new=status,
        reason=words,
        place=place,
        looked_at=bool(inspection.strip()),
    )
    journal.write(
        by=by,
        act=f"{'bottle' if moved == 1 else 'bottles'} {status.label}",
        **_about(bottles),
        before=_before(bottles),
        after={
            "status": status.value,
            **({"place": place.name} if place else {}),
            **({"inspection": inspection.strip()} if inspection.strip() else {}),
        },
        reason=reason,
        submission=submission,
    )
    return moved


def choices_for(user: User, old: str | None = None) -> list[tuple[str, str]]:
    """Return what ``user`` may choose: of a bottle that is ``old``, or of any."""
    moves = BOTTLE_MOVES if old is None else moves_from(BOTTLE_MOVES, BottleStatus(old))
    ends = {move.end for move in moves if _may(user, move)}
    return [(one.value, WORDS[one]) for one in CHOICES if one in ends]


def states_before(new: str, user: User | None = None) -> list[str]:
    """Return where bottles are that may become ``new``, by the hand of ``user``."""
    return [
        move.start.value
        for move in BOTTLE_MOVES
        if move.end == new and (user is None or _may(user, move))
    ]


def why_not_moved(bottle: Bottle, new: str) -> str:
    """Return why the table of lives does not let a bottle become this, or nothing."""
    try:
        find_move(BOTTLE_MOVES, BottleStatus(bottle.status), BottleStatus(new))
    except ForbiddenMove as error:
        return str(error)
    return ""


def why_not_recovered(bottle: Bottle, new: str, covered: Collection[int]) -> str:
    """Return that no recall covers a bottle to be recovered in one, or nothing."""
    is_covered = new != BottleStatus.RECOVERED or bottle.pk in covered
    return "" if is_covered else NOT_RECALLED


def of_others(user: User, old: str) -> str:
    """Return what only somebody else may record of a bottle that is ``old``."""
    said = []
    for move in moves_from(BOTTLE_MOVES, BottleStatus(old)):
        if move.end not in CHOICES or _may(user, move):
            continue
        whose = " or a ".join(move.rights)
        if move.end == BottleStatus.FILLED:
            said.append(f"A {whose} puts it {WORDS[BottleStatus.FILLED]}.")
        else:
            words = WORDS[BottleStatus(move.end)]
            said.append(f"A {whose} records it as “{words}”.")
    return " ".join(said)


def _may(user: User, move: Move) -> bool:
    return any(user.may(right) for right in move.rights)


def _chosen(new: str) -> BottleStatus:
    if new == BottleStatus.DISPATCHED:
        raise Refusal("Dispatch bottles on the page “Dispatch”, to a consignee.")
    if new not in CHOICES:
        raise Refusal("Choose what happened to them.", field="new")
    return BottleStatus(new)


def _movable(
    by: User, bottles: Sequence[Bottle], new: BottleStatus, covered: Collection[int]
) -> None:
    bad = [
        (one, words)
        for one in bottles
        if (
            words := why_not_moved(one, new)
            or _whose(by, one, new)
            or why_not_recovered(one, new, covered)
        )
    ]
    if not bad:
        return
    told = " ".join(
        f"Bottle {grouped(one.code)}: {words}" for one, words in bad[:MOST_NAMED]
    )
    more = (
        f" So it is with {len(bad) - MOST_NAMED} more." if len(bad) > MOST_NAMED else ""
    )
    raise Refusal(f"{told}{more} Nothing was moved.", field="codes")


def _whose(by: User, bottle: Bottle, new: BottleStatus) -> str:
    """Return who else has to do it, where ``by`` may do it with other bottles alone.

    Who may do it with none is refused by :func:`.filling.change_bottles`.
    """
    own = states_before(new, by)
    if not own or bottle.status in own:
        return ""
    old = BottleStatus(bottle.status)
    whose = " or a ".join(find_move(BOTTLE_MOVES, old, new).rights)
    return f"Only a {whose} can record what is {old.label} as {new.label}."


def _standing(place: Place | None, new: BottleStatus) -> None:
    if place is None:
        return
    if new is BottleStatus.DESTROYED:
        raise Refusal("What is destroyed stands nowhere.", field="place")
    if not place.in_use:
        raise Refusal(f"{place.name} is not in use any more.", field="place")


def _about(bottles: Sequence[Bottle]) -> dict[str, Any]:
    """Return what a line of the journal is about: the bottle, or its filling lot."""
    if len(bottles) == 1:
        return {"subject": bottles[0], "label": bottles[0].code}
    lots: dict[int, FillingLot] = {
        bottle.filling_lot_id: bottle.filling_lot for bottle in bottles
    }
    first = next(iter(lots.values()))
    more = f" and {len(lots) - 1} more" if len(lots) > 1 else ""
    return {"subject": first, "label": f"{first.code}{more}"}


def _before(bottles: Sequence[Bottle]) -> dict[str, Any]:
    """Return where they were, and who had them: by a reference, never by a name."""
    status: dict[str, list[str]] = defaultdict(list)
    had: dict[str, list[str]] = defaultdict(list)
    for bottle in bottles:
        status[bottle.status].append(bottle.code)
        if bottle.status == BottleStatus.DISPATCHED and bottle.consignee is not None:
            had[bottle.consignee.reference].append(bottle.code)
    return {"status": dict(status), **({"had": dict(had)} if had else {})}
