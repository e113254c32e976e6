"""What of a filling lot is here to be weighed, and what its newest weighing says."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Final

from batches.lifecycle import BOTTLE_MOVES, BottleStatus, find_move
from batches.models import Bottle, FillingLot
from producer.errors import Refusal
from producer.models import Right, User
from quality.models import FillCheck, Limit
from quality.statistics.conformity import Verdict

# What is here and holds what was filled. A bottle that came back was in other hands:
# what is in it says nothing of the filling.
HERE: Final = (BottleStatus.FILLED, BottleStatus.ON_HOLD, BottleStatus.RETAINED)


def here_to_weigh(filling_lot: FillingLot) -> int:
    """Return how many bottles of a lot are here: not destroyed, not out, not back."""
    return filling_lot.bottles.filter(status__in=HERE).count()


def some_here(filling_lot: FillingLot) -> int:
    """Return :func:`here_to_weigh`; refuse where none is."""
    here = here_to_weigh(filling_lot)
    if not here:
        raise Refusal(
            f"No bottle of {filling_lot.code} is here to be weighed: all are destroyed,"
            " or out, or came back."
        )
    return here


def said_of_gone(filling_lot: FillingLot) -> str:
    """Say that fewer are here than were filled, where that is so."""
    here = here_to_weigh(filling_lot)
    if here == filling_lot.count:
        return ""
    return (
        f" {filling_lot.count} were filled; here are {here}, without those destroyed,"
        " out, or back."
    )


def newest_check(filling_lot: FillingLot) -> FillCheck | None:
    """Return the weighing of a lot that saw its bottles last, by the time told.

    One that was taken back counts for nothing.
    """
    checks = filling_lot.fill_checks.select_related("scale", "limit", "filling_lot")
    return checks.standing().in_turn().last()


def newest_of(lots: Iterable[int]) -> Mapping[int, FillCheck]:
    """Return the newest weighing of each of these lots, by its id; one query."""
    checks = FillCheck.objects.filter(filling_lot__in=list(lots))
    rows = checks.select_related("limit").standing().in_turn()
    return {check.filling_lot_id: check for check in rows}


def stops(check: FillCheck | None) -> bool:
    """Say whether a weighing forbids the bottles to leave: outside a limit that holds.

    Without a limit of the mean content, what was not accepted stops the release alone.
    """
    if check is None or check.limit is None or not check.verdict:
        return False
    holds = check.limit.effect == Limit.Effect.HOLD
    return holds and not Verdict(check.verdict).acceptable


def failed(check: FillCheck | None) -> bool:
    """Say whether a weighing was not accepted or lies outside a limit that holds."""
    return check is not None and (not check.accepted or stops(check))


def need_since(filling_lot: FillingLot, since: str) -> str:
    """Return what was done since a weighing that failed; refuse silence about it.

    Bottles do not fill themselves: another result without another act is a choice
    among results.
    """
    since = since.strip()
    if failed(newest_check(filling_lot)) and not since:
        raise Refusal(
            "The last weighing of these bottles was not accepted. Write what was done"
            " since: topped up, or what was wrong with that weighing.",
            field="since",
        )
    return since


def emptied(
    *,
    by: User,
    filling_lot: FillingLot,
    opened: bool,
    numbers: Sequence[int],
    weighed: int,
) -> list[Bottle]:
    """Return the bottles with these numbers, if any were opened to be weighed.

    Each mass is that of one of them. Refuses what is not here, and what ``by`` may not
    do away with.
    """
    if not opened:
        if numbers:
            raise Refusal(
                "Say that these bottles were opened, or leave their numbers out.",
                field="numbers",
            )
        return []
    if not numbers:
        raise Refusal(
            "Write the numbers of the bottles that were opened. They are emptied, so"
            " they count as destroyed and cannot leave any more.",
            field="numbers",
        )
    if len(set(numbers)) != weighed or len(numbers) != weighed:
        raise Refusal(
            f"{len(set(numbers))} bottles were opened and {weighed} masses written"
            " down. Write one mass for each of these bottles.",
            field="numbers",
        )
    rows = filling_lot.bottles.listed().filter(number__in=numbers)
    found = {one.number: one for one in rows}
    for number in numbers:
        words = _why_not_opened(by, found.get(number))
        if words:
            raise Refusal(
                f"Bottle {number} of {filling_lot.code} {words}", field="numbers"
            )
    return [found[number] for number in numbers]


def said_besides(opened: Sequence[Bottle], since: str) -> str:
    """Return what the sentence of a weighing says after its verdict."""
    words = ""
    if opened:
        numbers = ", ".join(str(bottle.number) for bottle in opened)
        words += f" Opened and emptied for it, and so destroyed: bottle {numbers}."
    if since:
        words += f" Done since the weighing before: {since.rstrip('.')}."
    return words


def facts_of(here: int, opened: Sequence[Bottle], since: str) -> dict[str, Any]:
    """Return what a weighing keeps besides its masses, as plain JSON."""
    return {
        "here": here,
        "opened": [bottle.number for bottle in opened],
        "since": since,
    }


def _why_not_opened(by: User, bottle: Bottle | None) -> str:
    if bottle is None:
        return "does not exist. Look at the numbers again."
    status = BottleStatus(bottle.status)
    if status not in HERE:
        return f"is {status.label}, so it was not opened here. Look at its number."
    rights = find_move(BOTTLE_MOVES, status, BottleStatus.DESTROYED).rights
    if not any(by.may(Right(right)) for right in rights):
        return (
            f"is {status.label}, and only a {' or a '.join(rights)} may do away with"
            " it. Open another one, or ask first."
        )
    return ""
