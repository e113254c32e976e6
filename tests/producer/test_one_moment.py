"""A list that is read in pieces is of one moment, and keeps no writer waiting."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import pytest
from django.db import InternalError, connection, transaction

from batches.models import Bottle
from producer.models import Material, Stock
from producer.one_moment import one_moment
from quality.documents import recalls
from tests import make
from tests.database import together

pytestmark = pytest.mark.django_db(transaction=True)


def elsewhere(act: Callable[[], Any]) -> Any:
    """Do something in a thread with a connection of its own, and wait for it."""
    (done,) = together(act)
    assert not isinstance(done, Exception), done
    return done


def material(name: str) -> Material:
    return Material.objects.create(name=name, kind="addition")


def names() -> set[str]:
    return set(Material.objects.values_list("name", flat=True))


def test_what_others_write_meanwhile_is_not_seen_and_they_do_not_wait() -> None:
    material("before")
    with one_moment():
        assert names() == {"before"}
        elsewhere(lambda: material("meanwhile"))  # or the database would be locked
        assert names() == {"before"}
    assert names() == {"before", "meanwhile"}


def test_control_outside_of_it_what_others_write_is_seen_at_once() -> None:
    assert names() == set()
    elsewhere(lambda: material("meanwhile"))
    assert names() == {"meanwhile"}


def test_acts_after_it_begin_as_they_always_do() -> None:
    mode = getattr(connection, "transaction_mode", None)
    for _ in range(2):
        with one_moment():
            names()
    assert getattr(connection, "transaction_mode", None) == mode
    assert not connection.in_atomic_block
    with transaction.atomic():
        material("after")
    assert names() == {"after"}


@pytest.mark.postgresql
def test_nothing_can_be_written_in_it(*, on_postgresql: bool) -> None:
    if not on_postgresql:
        pytest.skip("only PostgreSQL refuses it")
    with pytest.raises(InternalError, match="read-only"), one_moment():
        material("inside")


def test_in_a_transaction_of_somebody_else_it_changes_nothing() -> None:
    with transaction.atomic():
        material("mine")
        with one_moment():
            assert names() == {"mine"}
            material("written in it")
    assert names() == {"mine", "written in it"}


# ------------------------------------------------------------------ the list itself


@pytest.fixture
def filled(crew: make.Crew) -> Stock:
    """Return a batch with six bottles."""
    return make.filled(crew, count=6, nominal_ul=100_000).batch.stock


def changed() -> None:
    """Hold three bottles and add one, behind the program's back."""
    numbers = Bottle.objects.filter(number__lte=3)
    assert numbers.update(status="on_hold") == 3
    last = Bottle.objects.get(number=6)
    Bottle.objects.create(
        filling_lot=last.filling_lot, number=7, code="22222222222A", status="filled"
    )


@pytest.mark.parametrize("begun", [1, 2])
def test_a_list_is_of_the_moment_at_which_it_was_begun(
    filled: Stock, begun: int
) -> None:
    """Also where its head was sent and no bottle asked for yet."""
    pieces = recalls.list_of(recalls.of(filled), "json")
    sent = [next(pieces) for _ in range(begun)]
    elsewhere(changed)
    found = json.loads(b"".join([*sent, *pieces]))
    assert found["count"] == found["end"]["bottles"] == 6
    assert {one["status"] for one in found["bottles"]} == {"filled"}
    again = json.loads(b"".join(recalls.list_of(recalls.of(filled), "json")))
    assert again["count"] == 7
    assert [one["status"] for one in again["bottles"]].count("on hold") == 3


def test_closing_a_list_in_the_middle_ends_its_moment(filled: Stock) -> None:
    pieces = recalls.list_of(recalls.of(filled), "csv")
    next(pieces)
    assert connection.in_atomic_block
    pieces.close()  # as the server does when the browser leaves
    assert not connection.in_atomic_block
    elsewhere(changed)
    assert b"on hold" in b"".join(recalls.list_of(recalls.of(filled), "csv"))


def test_an_answer_that_is_not_read_begins_nothing(
    filled: Stock, crew: make.Crew, client: Any
) -> None:
    client.force_login(crew.maker)
    answer = client.get(f"/affected/{filled.code}/list.csv")
    assert not connection.in_atomic_block
    pieces = iter(answer)
    next(pieces)
    assert connection.in_atomic_block
    answer.close()
    assert not connection.in_atomic_block
