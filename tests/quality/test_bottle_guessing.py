"""Who tries codes out is slowed, nobody else, and nothing of anybody is kept."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from batches.label_words import words_in
from batches.models import Bottle
from batches.services import scans
from producer import settings as real_settings
from producer.codes import new_bottle_code
from producer.slowing import Slowing
from quality.views import bottle_public
from tests import make
from tests.doors.pages import page_of
from tests.scanned import MISTYPED, seen, visit

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _nothing_waits() -> Iterator[None]:
    scans.forget()
    yield
    scans.forget()


@pytest.fixture
def bottle(crew: make.Crew) -> Bottle:
    """Return a bottle of laundry liquid in stock."""
    return make.bottles_of(make.filled(crew))[0]


class Clock:
    """A clock that goes when it is told to."""

    now = 1000.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    """Switch the slowing on, as the premises have it, by a clock of our own."""
    clock = Clock()
    slowing = Slowing(
        most=real_settings.WRONG_CODES_ALLOWED,
        window=real_settings.WRONG_CODES_WINDOW,
        clock=clock,
    )
    monkeypatch.setattr(bottle_public, "slowing", slowing)
    return clock


def guess(times: int, address: str = "192.0.2.7") -> None:
    for number in range(times):
        code = new_bottle_code() if number % 2 else MISTYPED
        visit(code, status=404, REMOTE_ADDR=address)


def test_guessing_is_slowed_and_others_are_not(bottle: Bottle, clock: Clock) -> None:
    guess(20)
    for code in (new_bottle_code(), MISTYPED, bottle.code):
        response = visit(code, status=429, REMOTE_ADDR="192.0.2.7")
        assert response.headers["Retry-After"] == "600"
        words = page_of(response).words
        assert words_in("en").too_many_title in words
        assert "555 0100" in words
        assert bottle.filling_lot.batch.number not in words
    assert seen(bottle.code, REMOTE_ADDR="192.0.2.8")
    clock.now += 599
    visit(bottle.code, status=429, REMOTE_ADDR="192.0.2.7")
    clock.now += 1
    assert seen(bottle.code, REMOTE_ADDR="192.0.2.7")


def test_right_codes_and_few_wrong_ones_slow_nobody(
    bottle: Bottle, clock: Clock
) -> None:
    guess(19)
    for _ in range(30):
        visit(bottle.code, REMOTE_ADDR="192.0.2.7")
    clock.now += 600
    guess(19)  # those before are out of the window
    visit(bottle.code, REMOTE_ADDR="192.0.2.7")


def test_asking_while_waiting_does_not_prolong_it(bottle: Bottle, clock: Clock) -> None:
    guess(20)
    for _ in range(10):
        clock.now += 59
        visit(MISTYPED, status=429, REMOTE_ADDR="192.0.2.7")
    clock.now += 10
    visit(bottle.code, REMOTE_ADDR="192.0.2.7")


def test_nothing_of_an_address_is_stored_not_even_in_memory(
    db: None, clock: Clock
) -> None:
    with CaptureQueriesContext(connection) as asked:
        guess(3, address="198.51.100.23")
    assert "198.51.100.23" not in str([one["sql"] for one in asked])
    known = bottle_public.slowing._misses
    assert len(known) == 1
    assert "198.51.100.23" not in repr(known)
    other = Slowing(most=1, window=1)
    other.miss("198.51.100.23")
    assert set(known) != set(other._misses)  # salted: another start, another hash


def test_of_many_addresses_only_the_latest_are_known() -> None:
    slowing = Slowing(most=1, window=60, places=3, clock=Clock())
    for number in range(5):
        slowing.miss(f"192.0.2.{number}")
    waits = [slowing.wait(f"192.0.2.{number}") for number in range(5)]
    assert waits == [0, 0, 60, 60, 60]


def test_who_is_signed_in_is_not_slowed(
    crew: make.Crew, client: Client, clock: Clock, bottle: Bottle
) -> None:
    client.force_login(crew.maker)
    for _ in range(25):
        assert client.get(f"/b/{MISTYPED}/").status_code == 404
    assert client.get(f"/b/{bottle.code}/").status_code == 200
