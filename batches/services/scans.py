"""Bottle pages that were opened are counted, and codes nobody should hold are told.

Counted is a bottle and a day, nothing of who, where or when on the day. A page view
waits for no disk: it adds to a count in memory, which a thread of its own writes every
few seconds, or sooner when much has come together, and once more when the program
ends. A power cut or a kill loses the last seconds of counting and no record: these
rows are counters, kept in no journal row. Several server processes each add their own.

Unknown codes are made up by whoever asks, so of a day no more than
:data:`MOST_UNKNOWN` stand by themselves; the rest is counted in one row without a code.
"""

from __future__ import annotations

import atexit
import datetime
import logging
import os
import threading
import uuid
from collections import defaultdict
from collections.abc import Iterable, Sequence
from typing import Any

from django.conf import settings
from django.db import DatabaseError, connection, connections, models, transaction
from django.utils import timezone

from batches.lifecycle import BottleStatus
from batches.models import Bottle, BottleScan, ScanAlert
from producer import journal
from producer.errors import Conflict
from producer.models import Right, User
from producer.services.checks import need_reason, require

Kind = ScanAlert.Kind
OTHERS = ""  # the code of the row that counts the unknown codes beyond the most
MOST_UNKNOWN = 200  # codes of a day
MANY = 500  # counts waiting: write them now
MOST_WAITING = 20_000  # counts kept in memory while the database does not take them

# Bottles that only our own people can hold. One in stock is not among them: it may
# stand in a shop of our own, and whoever buys there looks at it first.
NOT_OUT = frozenset(
    {
        BottleStatus.ON_HOLD,
        BottleStatus.RETAINED,
        BottleStatus.RETURNED,
        BottleStatus.RECOVERED,
    }
)

ScanKey = tuple[int, datetime.date]
AlertKey = tuple[str, str, datetime.date]
_log = logging.getLogger(__name__)

# One statement, the same on both engines: two processes lose no count to each other.
_ADD_SCANS = f"""
INSERT INTO {BottleScan._meta.db_table} (bottle_id, day, count) VALUES (%s, %s, %s)
ON CONFLICT (bottle_id, day)
DO UPDATE SET count = {BottleScan._meta.db_table}.count + excluded.count
"""  # noqa: S608 - a name of ours
# What comes again is new: somebody has to look again.
_ADD_ALERTS = f"""
INSERT INTO {ScanAlert._meta.db_table} (code, kind, day, count) VALUES (%s, %s, %s, %s)
ON CONFLICT (code, kind, day) DO UPDATE SET seen_by_id = NULL,
count = {ScanAlert._meta.db_table}.count + excluded.count
"""  # noqa: S608 - a name of ours


class _Waiting:
    """Counts that are not written yet, and the thread that writes them."""

    def __init__(self) -> None:
        self.scans: dict[ScanKey, int] = defaultdict(int)
        self.alerts: dict[AlertKey, int] = defaultdict(int)
        self.lost = 0
        self.lock = threading.Lock()
        self.writing = threading.Lock()
        self.some, self.many = threading.Event(), threading.Event()
        self.thread: threading.Thread | None = None

    def add(
        self, scans: Iterable[ScanKey] = (), alerts: Iterable[AlertKey] = ()
    ) -> None:
        with self.lock:
            for scan in scans:
                self._count(self.scans, scan, 1)
            for alert in alerts:
                self._count(self.alerts, alert, 1)
            size = len(self.scans) + len(self.alerts)
        self.some.set()
        if size >= MANY:
            self.many.set()

    def take(self) -> tuple[dict[ScanKey, int], dict[AlertKey, int]]:
        with self.lock:
            taken = self.scans, self.alerts
            self.scans, self.alerts = defaultdict(int), defaultdict(int)
            if self.lost:
                _log.warning("%d scans were not counted: too many waited.", self.lost)
                self.lost = 0
            self.some.clear()
            self.many.clear()
        return taken

    def give_back(self, scans: dict[ScanKey, int], alerts: dict[AlertKey, int]) -> None:
        with self.lock:
            for scan, count in scans.items():
                self._count(self.scans, scan, count)
            for alert, count in alerts.items():
                self._count(self.alerts, alert, count)
        self.some.set()

    def _count(self, counts: dict[Any, int], key: Any, count: int) -> None:
        if key not in counts and len(counts) >= MOST_WAITING:
            self.lost += count
            return
        counts[key] += count


_waiting = _Waiting()


def _in_a_child() -> None:
    """Begin with nothing: the parent writes what was counted before the fork."""
    global _waiting  # noqa: PLW0603 - the one buffer of a process
    _waiting = _Waiting()


if hasattr(os, "register_at_fork"):
    os.register_at_fork(after_in_child=_in_a_child)


def count(*, bottle_id: int, code: str, status: str, is_doubled: bool) -> None:
    """Count that the public page of a bottle was opened, and tell what is amiss."""
    today = timezone.localdate()
    alerts: list[AlertKey] = []
    if status == BottleStatus.DESTROYED:
        alerts.append((code, Kind.DESTROYED, today))
    if is_doubled:
        alerts.append((code, Kind.DUPLICATE, today))
    if status in NOT_OUT:
        alerts.append((code, Kind.NOT_OUT, today))
    _add([(bottle_id, today)], alerts)


def count_unknown(code: str) -> None:
    """Count that somebody asked for a well-formed code that was never issued."""
    _add([], [(code, Kind.UNKNOWN, timezone.localdate())])


def flush() -> int:
    """Write what waits; return how many counts were written.

    Raises :class:`DatabaseError` when it cannot be; then everything waits on.
    """
    with _waiting.writing:
        scans, alerts = _waiting.take()
        try:
            with transaction.atomic():
                _write(scans, alerts)
        except DatabaseError:
            _waiting.give_back(scans, alerts)
            raise
    return len(scans) + len(alerts)


def forget() -> None:
    """Drop what waits without writing it: for tests, whose rows are taken back."""
    _waiting.take()


def unseen() -> models.QuerySet[ScanAlert]:
    """Return the alerts that nobody has looked into, newest first."""
    return ScanAlert.objects.filter(seen_by__isnull=True)


def times_scanned(bottle: Bottle) -> tuple[int, datetime.date | None]:
    """Return how often the public page of a bottle was opened, and the last day."""
    found = BottleScan.objects.filter(bottle=bottle).aggregate(
        times=models.Sum("count"), last=models.Max("day")
    )
    return found["times"] or 0, found["last"]


@transaction.atomic
def look_into(
    *,
    by: User,
    alert: ScanAlert,
    reason: str,
    submission: uuid.UUID | None = None,
) -> Sequence[ScanAlert]:
    """Record what was found out about a code that was scanned; of all its days.

    Returns the alerts that this settles. Raises :class:`Conflict` when somebody else
    was first. What is scanned again afterwards is told again.
    """
    require(by, Right.MAKER if by.may(Right.MAKER) else Right.REVIEWER)
    journal.in_line()
    reason = need_reason(reason)
    rows = list(unseen().filter(code=alert.code, kind=alert.kind))
    ids = [row.pk for row in rows]
    if not rows or not unseen().filter(pk__in=ids).update(seen_by=by):
        raise Conflict("Somebody else looked into this a moment ago. Look again.")
    bottle = Bottle.objects.filter(code=alert.code).first()
    journal.write(
        by=by,
        act="scan looked into",
        subject=bottle or alert,
        label=alert.code or "other codes",
        after={
            "kind": alert.kind,
            "scans": sum(row.count for row in rows),
            "days": sorted(row.day.isoformat() for row in rows),
        },
        reason=reason,
        submission=submission,
    )
    return rows


def _add(scans: list[ScanKey], alerts: list[AlertKey]) -> None:
    _waiting.add(scans, alerts)
    every = settings.SCANS_WRITTEN_EVERY
    if every and _waiting.thread is None:
        _start(_waiting, every)


def _start(waiting: _Waiting, every: float) -> None:
    with waiting.lock:
        if waiting.thread is not None:
            return
        waiting.thread = threading.Thread(
            target=_work, args=(waiting, every), name="scans", daemon=True
        )
        waiting.thread.start()
    atexit.register(_write_waiting)


def _work(waiting: _Waiting, every: float) -> None:
    """Write every so many seconds, as long as the program runs."""
    while True:
        waiting.some.wait()
        waiting.many.wait(every)
        if not _write_waiting():
            # Given back and waiting again: not at once, or it would spin.
            threading.Event().wait(every)


def _write_waiting() -> bool:
    try:
        flush()
    except DatabaseError:
        _log.warning("Scans are not counted at the moment.", exc_info=True)
        return False
    finally:
        connections.close_all()
    return True


def _write(scans: dict[ScanKey, int], alerts: dict[AlertKey, int]) -> None:
    # Sorted, so that two processes lock the same rows in the same order.
    day_of = connection.ops.adapt_datefield_value
    with connection.cursor() as cursor:
        if scans:
            cursor.executemany(
                _ADD_SCANS,
                [
                    (bottle, day_of(day), times)
                    for (bottle, day), times in sorted(scans.items())
                ],
            )
        if alerts:
            cursor.executemany(
                _ADD_ALERTS,
                [
                    (code, kind, day_of(day), times)
                    for (code, kind, day), times in sorted(_bounded(alerts).items())
                ],
            )


def _bounded(alerts: dict[AlertKey, int]) -> dict[AlertKey, int]:
    """Return the alerts with the unknown codes beyond the most of a day as one."""
    kept: dict[AlertKey, int] = defaultdict(int)
    known: dict[datetime.date, set[str]] = {}
    for (code, kind, day), times in alerts.items():
        if kind == Kind.UNKNOWN:
            of_day = known[day] if day in known else _unknown_of(day)
            known[day] = of_day
            if code not in of_day and len(of_day) >= MOST_UNKNOWN:
                kept[OTHERS, kind, day] += times
                continue
            of_day.add(code)
        kept[code, kind, day] += times
    return kept


def _unknown_of(day: datetime.date) -> set[str]:
    rows = ScanAlert.objects.filter(kind=Kind.UNKNOWN, day=day).exclude(code=OTHERS)
    return set(rows.values_list("code", flat=True))
