"""Scans are counted without anybody's data, and no page waits for the disk."""

from __future__ import annotations

import atexit
import datetime
import threading
from collections.abc import Iterator

import pytest
from django.core.exceptions import PermissionDenied
from django.db import DatabaseError, connection, connections
from django.utils import timezone
from pytest_django import Settings

from batches.models import Bottle, BottleScan, ScanAlert
from batches.services import scans
from producer.codes import new_bottle_code
from producer.errors import Conflict, Refusal
from producer.models import JournalEntry, User
from quality.services import verification
from tests import make, scanned
from tests.database import together


@pytest.fixture(autouse=True)
def _nothing_waits() -> Iterator[None]:
    scans.forget()
    yield
    scans.forget()


@pytest.fixture
def bottle(crew: make.Crew) -> Bottle:
    """Return a bottle in stock."""
    return make.bottles_of(make.filled(crew))[0]


def scan(bottle: Bottle, *, status: str = "", is_doubled: bool = False) -> None:
    scans.count(
        bottle_id=bottle.pk,
        code=bottle.code,
        status=status or bottle.status,
        is_doubled=is_doubled,
    )


def alerts() -> dict[tuple[str, str], int]:
    rows = ScanAlert.objects.values_list("code", "kind", "count")
    return {(code, kind): count for code, kind, count in rows}


def test_scans_of_a_bottle_and_day_add_up(bottle: Bottle) -> None:
    for _ in range(3):
        scan(bottle)
    scans.flush()
    scan(bottle)
    scans.flush()
    row = BottleScan.objects.get()
    assert (row.bottle, row.day, row.count) == (bottle, timezone.localdate(), 4)
    assert scans.times_scanned(bottle) == (4, row.day)


def test_a_scan_asks_the_database_nothing(
    bottle: Bottle, django_assert_num_queries: object
) -> None:
    with django_assert_num_queries(0):  # type: ignore[operator]
        scan(bottle, status="destroyed", is_doubled=True)
        scans.count_unknown(scanned.UNKNOWN)
    assert not BottleScan.objects.exists()


def test_writing_many_takes_one_statement_of_each_kind(
    bottle: Bottle, django_assert_max_num_queries: object
) -> None:
    sisters = make.bottles_of(bottle.filling_lot)
    for one in sisters:
        scan(one, status="destroyed")
    with django_assert_max_num_queries(4):  # type: ignore[operator]
        assert scans.flush() == 2 * len(sisters)


@pytest.mark.parametrize(
    ("status", "expected"),
    [
        ("filled", []),  # it may stand in a shop of our own
        ("dispatched", []),
        ("on_hold", ["not_out"]),
        ("retained", ["not_out"]),
        ("returned", ["not_out"]),
        ("recovered", ["not_out"]),
        ("destroyed", ["destroyed"]),
    ],
)
def test_what_nobody_outside_should_hold_is_told(
    bottle: Bottle, status: str, expected: list[str]
) -> None:
    scan(bottle, status=status)
    scans.flush()
    assert [kind for _, kind in alerts()] == expected


def test_scenario_10_a_scan_of_a_doubled_code_is_told(bottle: Bottle) -> None:
    scan(bottle, is_doubled=True)
    scan(bottle, is_doubled=True)
    scans.flush()
    assert alerts() == {(bottle.code, "duplicate"): 2}


def test_made_up_codes_cannot_fill_the_disk(db: None) -> None:
    codes = {new_bottle_code() for _ in range(scans.MOST_UNKNOWN + 30)}
    first, second = list(codes)[:120], list(codes)[120:]
    for part in (first, second):
        for code in part:
            scans.count_unknown(code)
        scans.flush()
    assert ScanAlert.objects.count() == scans.MOST_UNKNOWN + 1
    told = alerts()
    assert told["", "unknown"] == 30
    scans.count_unknown(first[0])  # one that stands there already is still counted
    scans.count_unknown(new_bottle_code())
    scans.flush()
    assert alerts()[first[0], "unknown"] == 2
    assert alerts()["", "unknown"] == 31


def test_a_new_day_has_room_again(db: None, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(scans, "MOST_UNKNOWN", 1)
    for _ in range(2):
        scans.count_unknown(new_bottle_code())
    scans.flush()
    tomorrow = timezone.localdate() + datetime.timedelta(days=1)
    monkeypatch.setattr(timezone, "localdate", lambda: tomorrow)
    scans.count_unknown(scanned.UNKNOWN)
    scans.flush()
    assert ScanAlert.objects.get(day=tomorrow).code == scanned.UNKNOWN


def test_what_could_not_be_written_waits_and_is_written_later(
    bottle: Bottle, monkeypatch: pytest.MonkeyPatch
) -> None:
    scan(bottle)

    def broken(*_: object) -> None:
        raise DatabaseError("the disk is full")

    with monkeypatch.context() as patch:
        patch.setattr(scans, "_write", broken)
        with pytest.raises(DatabaseError):
            scans.flush()
    scan(bottle)
    scans.flush()
    assert BottleScan.objects.get().count == 2


def test_memory_is_bounded_while_nothing_can_be_written(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(scans, "MOST_WAITING", 2)
    for code in ("A", "B", "B", "C"):
        scans.count_unknown(code)
    _, waiting = scans._waiting.take()
    assert {code: count for (code, _, _), count in waiting.items()} == {"A": 1, "B": 2}
    assert "1 scans were not counted" in caplog.text


@pytest.mark.django_db(transaction=True)
def test_threads_lose_no_count(bottle: Bottle) -> None:
    def many() -> None:
        for number in range(50):
            scan(bottle)
            if number % 10 == 0:
                scans.flush()

    assert together(many, many, many, many) == [None] * 4
    scans.flush()
    assert BottleScan.objects.get().count == 200


@pytest.mark.django_db(transaction=True)
def test_a_thread_of_its_own_writes_by_itself(
    bottle: Bottle, settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    settings.SCANS_WRITTEN_EVERY = 0.05
    waiting = scans._Waiting()
    monkeypatch.setattr(scans, "_waiting", waiting)
    monkeypatch.setattr(atexit, "register", lambda _: None)
    done = threading.Event()
    write = scans._write

    def write_and_tell(*counts: object) -> None:
        assert threading.current_thread() is waiting.thread
        write(*counts)  # type: ignore[arg-type]
        connection.on_commit(done.set)

    monkeypatch.setattr(scans, "_write", write_and_tell)
    scan(bottle)
    assert done.wait(30)
    connections.close_all()
    assert BottleScan.objects.get().count == 1
    # Nothing more waits, so the thread sleeps until the test's process ends.
    assert not waiting.scans


def test_a_child_of_the_process_begins_with_nothing(
    bottle: Bottle, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(scans, "_waiting", scans._Waiting())
    scan(bottle)
    scans._in_a_child()
    assert scans.flush() == 0


def test_looking_into_it_settles_all_its_days_in_one_act(
    bottle: Bottle, maker: User
) -> None:
    scan(bottle, status="destroyed")
    scans.flush()
    day = timezone.localdate() - datetime.timedelta(days=3)
    older = ScanAlert.objects.create(
        code=bottle.code, kind="destroyed", day=day, count=5
    )
    acts = JournalEntry.objects.count()
    scans.look_into(by=maker, alert=older, reason="the label was in the bin")
    assert not scans.unseen().exists()
    assert JournalEntry.objects.count() == acts + 1
    entry = JournalEntry.objects.latest("sequence")
    assert (entry.subject_kind, entry.subject_label) == ("bottle", bottle.code)
    assert entry.reason == "the label was in the bin"
    assert '"scans":6' in entry.after.replace(" ", "")
    with pytest.raises(Conflict):
        scans.look_into(by=maker, alert=older, reason="once more")


def test_what_is_scanned_again_is_told_again(maker: User) -> None:
    alert = scanned.unknown()
    scans.look_into(by=maker, alert=alert, reason="a child at the fair")
    assert not scans.unseen().exists()
    scanned.unknown()
    assert scans.unseen().get().count == 2


def test_who_may_only_read_settles_nothing(auditor: User, maker: User) -> None:
    alert = scanned.unknown()
    with pytest.raises(PermissionDenied):
        scans.look_into(by=auditor, alert=alert, reason="seen")
    with pytest.raises(Refusal):
        scans.look_into(by=maker, alert=alert, reason=" ")
    assert scans.unseen().exists()


def test_counters_are_no_records_and_verify_finds_nothing(bottle: Bottle) -> None:
    scan(bottle, status="destroyed")
    scans.flush()
    before = JournalEntry.objects.count()
    for check in verification.CHECKS:
        assert list(check.walk(verification.quiet)) == []
    assert JournalEntry.objects.count() == before


def test_the_tables_have_no_room_for_anybody() -> None:
    columns = {
        model: {field.attname for field in model._meta.concrete_fields}
        for model in (BottleScan, ScanAlert)
    }
    assert columns[BottleScan] == {"id", "bottle_id", "day", "count"}
    assert columns[ScanAlert] == {"id", "code", "kind", "day", "count", "seen_by_id"}
