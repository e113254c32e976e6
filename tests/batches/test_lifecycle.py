"""What the tables of lives allow, and above all what they do not."""

from __future__ import annotations

import itertools

import pytest

from batches.lifecycle import (
    BATCH_MOVES,
    BOTTLE_CORRECTIONS,
    BOTTLE_MOVES,
    CLOSED_TO_CHARGES,
    BatchStatus,
    BottleStatus,
    ForbiddenMove,
    Move,
    find_move,
    moves_from,
)

Table = tuple[Move, ...]

BATCH = {
    ("planned", "in_process", "maker"),
    ("planned", "abandoned", "maker"),
    ("in_process", "abandoned", "maker"),
    ("in_process", "awaiting_review", "maker"),
    ("awaiting_review", "released", "reviewer"),
    ("awaiting_review", "rejected", "reviewer"),
    ("released", "on_hold", "reviewer"),
    ("on_hold", "released", "reviewer"),
    ("on_hold", "rejected", "reviewer"),
    ("rejected", "reworked", "reviewer"),
    ("rejected", "disposed", "reviewer"),
}
BOTTLE = {
    ("filled", "dispatched", "maker"),
    ("filled", "destroyed", "maker"),
    ("filled", "on_hold", "reviewer"),
    ("filled", "retained", "maker"),
    ("retained", "destroyed", "maker"),
    ("on_hold", "filled", "reviewer"),
    ("on_hold", "destroyed", "reviewer"),
    ("dispatched", "returned", "maker"),
    ("dispatched", "recovered", "maker"),
    ("dispatched", "destroyed", "maker"),
    ("returned", "filled", "reviewer"),
    ("returned", "on_hold", "maker or reviewer"),
    ("returned", "destroyed", "maker or reviewer"),
    ("recovered", "destroyed", "maker"),
}
CORRECTION = {
    ("dispatched", "filled", "maker or reviewer"),
    ("destroyed", "on_hold", "reviewer"),
    ("destroyed", "retained", "reviewer"),
    ("destroyed", "recovered", "reviewer"),
}
BOTH = pytest.mark.parametrize(
    ("table", "states", "first"),
    [
        (BATCH_MOVES, BatchStatus, BatchStatus.PLANNED),
        (BOTTLE_MOVES, BottleStatus, BottleStatus.FILLED),
    ],
)


def reachable(table: Table, start: str) -> set[str]:
    """Return every state that moves lead to from ``start``."""
    found: set[str] = set()
    edge: set[str] = {start}
    while edge:
        edge = {m.end.value for m in table if m.start in edge} - found
        found |= edge
    return found


@pytest.mark.parametrize(
    ("table", "expected"),
    [
        (BATCH_MOVES, BATCH),
        (BOTTLE_MOVES, BOTTLE),
        (BOTTLE_CORRECTIONS, CORRECTION),
    ],
)
def test_the_table_holds_these_moves_and_no_other(
    table: Table, expected: set[tuple[str, str, str]]
) -> None:
    moves = {(m.start.value, m.end.value, " or ".join(m.rights)) for m in table}
    assert moves == expected
    assert len(table) == len(expected)


@BOTH
def test_every_move_outside_the_table_is_forbidden(
    table: Table, states: type[BatchStatus], first: BatchStatus
) -> None:
    allowed = {(m.start, m.end) for m in table}
    for start, end in itertools.product(states, repeat=2):
        if (start, end) in allowed:
            move = find_move(table, start, end)
            assert (move.start, move.end) == (start, end)
        else:
            with pytest.raises(ForbiddenMove) as caught:
                find_move(table, start, end)
            assert str(caught.value) == (
                f"What is {start.label} cannot become {end.label}."
            )


@BOTH
def test_every_state_can_be_reached_from_the_first(
    table: Table, states: type[BatchStatus], first: BatchStatus
) -> None:
    assert reachable(table, first) | {first} == set(states)


@pytest.mark.parametrize("closed", sorted(CLOSED_TO_CHARGES))
def test_a_batch_closed_to_charges_never_opens_again(closed: BatchStatus) -> None:
    assert reachable(BATCH_MOVES, closed) <= CLOSED_TO_CHARGES


def test_only_a_planned_batch_and_one_in_process_take_charges() -> None:
    assert set(BatchStatus) - CLOSED_TO_CHARGES == {
        BatchStatus.PLANNED,
        BatchStatus.IN_PROCESS,
    }


def test_nothing_leads_to_release_but_a_review() -> None:
    into_released = {m.start for m in BATCH_MOVES if m.end is BatchStatus.RELEASED}
    assert into_released == {BatchStatus.AWAITING_REVIEW, BatchStatus.ON_HOLD}


def test_what_was_rejected_is_never_released() -> None:
    assert BatchStatus.RELEASED not in reachable(BATCH_MOVES, BatchStatus.REJECTED)


def test_a_dispatched_bottle_cannot_be_held_and_a_destroyed_one_is_gone() -> None:
    ends = {m.end for m in moves_from(BOTTLE_MOVES, BottleStatus.DISPATCHED)}
    assert BottleStatus.ON_HOLD not in ends
    assert moves_from(BOTTLE_MOVES, BottleStatus.DESTROYED) == ()


def test_what_a_recall_fetched_is_only_ever_destroyed() -> None:
    assert reachable(BOTTLE_MOVES, BottleStatus.RECOVERED) == {BottleStatus.DESTROYED}


def test_what_undoes_a_mistake_is_no_move_that_anybody_chooses() -> None:
    chosen = {(move.start, move.end) for move in BOTTLE_MOVES}
    assert not chosen & {(move.start, move.end) for move in BOTTLE_CORRECTIONS}


@pytest.mark.parametrize("table", [BATCH_MOVES, BOTTLE_MOVES, BOTTLE_CORRECTIONS])
def test_every_move_names_what_it_needs(table: Table) -> None:
    for move in table:
        assert move.needs
        assert set(move.rights) <= {"owner", "maker", "reviewer", "auditor"}
        assert len(set(move.rights)) == len(move.rights)


def test_a_release_needs_acceptable_findings_other_hands_and_a_signature() -> None:
    move = find_move(BATCH_MOVES, BatchStatus.AWAITING_REVIEW, BatchStatus.RELEASED)
    said = "; ".join(move.needs)
    assert "every finding acceptable" in said
    assert "a signer who did not make it" in said
    assert "password" in said


def test_moves_from_a_state_are_all_that_leave_it() -> None:
    ends = [m.end for m in moves_from(BATCH_MOVES, BatchStatus.REJECTED)]
    assert ends == [BatchStatus.REWORKED, BatchStatus.DISPOSED]


def test_states_are_plain_words() -> None:
    assert BatchStatus.IN_PROCESS.label == "in process"
    assert BatchStatus.ON_HOLD.label == "on hold"
    assert str(BottleStatus.FILLED) == "filled"
    values = [state.value for state in (*BatchStatus, *BottleStatus)]
    assert all(value.islower() and value.isascii() for value in values)
