"""A release and what stands in its way, at the same moment, in the worst order."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection

from batches.models import Batch, BatchStatusChange
from producer import journal
from producer.models import JournalEntry, RawLot, User
from producer.services import intake
from quality.models import Signature
from quality.services import deviating, recalling, reviewing, signing
from quality.services.verification import states
from tests import make
from tests.database import PATIENCE, together

Act = Callable[[make.Crew, RawLot], Any]
PAUSE = 1.0  # seconds: an act that nothing keeps waiting is over by then
RELEASED = "batch signed: reviewed and released"


def open_recall(crew: make.Crew, lot: RawLot) -> Any:
    return recalling.open_recall(
        by=crew.reviewer,
        root=lot.stock,
        hazard_class="2",
        reason="the supplier found soda in it",
        public_notice="Bring it.",
    )


def open_critical(crew: make.Crew, lot: RawLot) -> Any:
    return deviating.open_deviation(
        by=crew.maker,
        stock=lot.stock,
        classification="critical",
        what="smells of something else",
    )


def hold_lot(crew: make.Crew, lot: RawLot) -> Any:
    return intake.decide_lot(
        by=crew.reviewer, lot=lot, new="on_hold", reason="soda in it"
    )


ACTS = [
    (open_recall, "recall opened"),
    (open_critical, "deviation opened"),
    (hold_lot, "raw lot on hold"),
]


def released_while(
    monkeypatch: pytest.MonkeyPatch, crew: make.Crew, act: Act, *, pause: float = PAUSE
) -> tuple[Batch, list[Any]]:
    """Sign a release; ``act`` starts when the obstacles were read, before the move."""
    lot = make.released_lot(crew, make.potash(crew.maker))
    batch = make.cooked_batch(crew, sources={"potash": lot.stock})
    lot = RawLot.objects.get(pk=lot.pk)
    were_read, over = threading.Event(), threading.Event()
    review_of = reviewing.review_of

    def slowly(*args: Any, **options: Any) -> Any:
        review = review_of(*args, **options)
        were_read.set()
        over.wait(pause)
        return review

    def meanwhile() -> Any:
        were_read.wait(PATIENCE)
        try:
            return act(crew, lot)
        finally:
            over.set()

    monkeypatch.setattr(signing, "review_of", slowly)
    came = together(lambda: make.sign(crew.reviewer, batch), meanwhile)
    return make.fresh(batch), came


def last_two() -> list[str]:
    acts = JournalEntry.objects.order_by("-sequence").values_list("act", flat=True)
    return list(acts[:2])[::-1]


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize(("act", "name"), ACTS)
def test_what_stands_in_the_way_waits_for_a_release_that_is_being_signed(
    crew: make.Crew, monkeypatch: pytest.MonkeyPatch, act: Act, name: str
) -> None:
    batch, (signature, _) = released_while(monkeypatch, crew, act)
    assert isinstance(signature, Signature), signature
    assert last_two() == [RELEASED, name]
    held = name != "raw lot on hold"  # a lot on hold stops what is released after it
    assert batch.status == ("on_hold" if held else "released")
    assert list(states.recall_faults()) == []


@pytest.mark.django_db(transaction=True)
def test_control_without_the_line_a_batch_is_released_on_a_lot_that_is_on_hold(
    crew: make.Crew,
    monkeypatch: pytest.MonkeyPatch,
    on_postgresql: bool,  # noqa: FBT001 - a fixture
) -> None:
    monkeypatch.setattr(journal, "in_line", lambda: None)
    pause = PATIENCE / 2 if on_postgresql else PAUSE
    batch, (signature, _) = released_while(monkeypatch, crew, hold_lot, pause=pause)
    assert isinstance(signature, Signature), signature
    assert batch.status == "released"
    in_order = [RELEASED, "raw lot on hold"]
    # On SQLite every transaction that writes is in one line by itself.
    assert last_two() == (in_order[::-1] if on_postgresql else in_order)


@pytest.mark.django_db
def test_verify_finds_a_batch_that_was_released_in_an_open_recall(
    crew: make.Crew,
) -> None:
    lot = make.released_lot(crew, make.potash(crew.maker))
    batch = make.cooked_batch(crew, sources={"potash": lot.stock})
    recall = open_recall(crew, lot)
    assert list(states.recall_faults()) == []
    Batch.objects.filter(pk=batch.pk).update(status="released")
    BatchStatusChange.objects.create(
        batch=batch,
        old="awaiting_review",
        new="released",
        observed_at=recall.opened_at,
        entered_by=crew.reviewer,
    )
    during, still = states.recall_faults()
    assert f"{batch.number} was released while the open recall {recall.code}" in during
    assert f"{batch.number} is released and in a recall that is open" in still


@pytest.mark.django_db(transaction=True)
def test_the_password_is_checked_before_anybody_is_kept_waiting(
    crew: make.Crew, monkeypatch: pytest.MonkeyPatch
) -> None:
    batch = make.cooked_batch(crew)
    inside: list[bool] = []

    def check(_user: User, _raw: str) -> bool:
        inside.append(connection.in_atomic_block)
        return True

    monkeypatch.setattr(User, "check_password", check)
    make.sign(crew.reviewer, batch)
    found = deviating.open_deviation(
        by=crew.maker, stock=batch.stock, classification="minor", what="spilt a little"
    )
    for kind in ("cause", "action"):
        deviating.add_step(
            by=crew.maker, deviation=found, kind=kind, text="written down in full"
        )
    deviating.close_deviation(
        by=crew.reviewer,
        deviation=found,
        decision="rejected",
        text="away with it all",
        password="any",
    )
    assert inside == [False, False]
