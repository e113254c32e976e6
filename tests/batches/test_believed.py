"""What a lot was believed to be in: random histories, walked by hand at any time."""

from __future__ import annotations

import dataclasses
import datetime
import random
from collections.abc import Iterator, Sequence

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from batches import trace
from batches.models import Charge, Discrepancy, DiscrepancyEnd, Input
from batches.models.discrepancies import NOTHING_WENT_IN
from batches.trace import believed
from batches.trace.believed import downstream_as_believed
from tests import make
from tests.batches.test_trace import connect, stocks
from tests.batches.test_trace_plans import (  # noqa: F401 - a fixture
    beliefs,
    many,
    read_whole,
)
from tests.benchmarks.trace import Generator
from tests.database import run, without_triggers

pytestmark = pytest.mark.django_db

HISTORIES, LOTS, BATCHES, STEPS = 60, 4, 9, 26
WENT_IN, NOTHING, ENTERED = "explained", "nothing", "entered"
START = datetime.datetime(2026, 3, 1, 8, tzinfo=datetime.UTC)


@dataclasses.dataclass
class Weighed:
    """A charge as it was entered: of which stock, instead of which row, or void."""

    at: int
    stock: int
    batch: int
    mass: int
    instead: int | None = None


@dataclasses.dataclass
class Entry:
    """An entry kept, and when and how it was settled."""

    at: int
    stock: int
    batch: int
    ended: int | None = None
    outcome: str = ""


@dataclasses.dataclass
class History:
    """What was entered, in turn; the hours are whole numbers."""

    lots: list[int]
    batches: list[int]
    charges: list[Weighed] = dataclasses.field(default_factory=list)
    kept: list[Entry] = dataclasses.field(default_factory=list)

    def standing(self, at: int) -> list[Weighed]:
        """Return the charges that stood at an hour, by reading them one by one."""
        then = [one for one in self.charges if one.at <= at]
        gone = {one.instead for one in then}
        return [
            one
            for place, one in enumerate(self.charges)
            if one.at <= at and place not in gone and one.mass
        ]

    def went_in(self, at: int) -> Iterator[tuple[int, int]]:
        """Yield what went into what, as was believed at an hour."""
        for one in self.standing(at):
            yield one.stock, one.batch
        for entry in self.kept:
            settled = entry.ended is not None and entry.ended <= at
            if entry.at <= at and (not settled or entry.outcome == WENT_IN):
                yield entry.stock, entry.batch

    def downstream(self, stock: int, at: int) -> set[int]:
        """Return a stock and all that it went into, walked from the beginning."""
        found, edges = {stock}, list(self.went_in(at))
        while more := {into for of, into in edges if of in found} - found:
            found |= more
        return found

    def edges(self) -> list[tuple[int, int, int]]:
        """Return the edges as the services leave them at the end.

        Of nought where all was taken back, and none where a reviewer said that nothing
        went in and nothing else says that it did.
        """
        masses = dict.fromkeys(((one.stock, one.batch) for one in self.charges), 0)
        for one in self.standing(STEPS):
            masses[one.stock, one.batch] += one.mass
        for entry in self.kept:
            pair = entry.stock, entry.batch
            others = [
                one
                for one in self.kept
                if (one.stock, one.batch) == pair and one.outcome != NOTHING
            ]
            if entry.outcome == NOTHING and not masses.get(pair) and not others:
                masses.pop(pair, None)
            else:
                masses.setdefault(pair, 0)
        return [(of, into, mass) for (of, into), mass in masses.items()]


def a_history(rng: random.Random, lots: list[int], batches: list[int]) -> History:
    """Weigh, correct to another lot or take back, keep entries and settle them."""
    told = History(lots, batches)
    for hour in range(STEPS):
        standing = told.standing(hour)
        what = rng.random()
        if standing and what < 0.35:
            old = rng.choice(standing)
            place = told.charges.index(old)
            others = [lot for lot in lots if lot != old.stock]
            stock = rng.choice(others) if old.stock in lots else old.stock
            mass = 0 if rng.random() < 0.2 else rng.randint(1, 900)
            told.charges.append(
                Weighed(hour, stock if mass else old.stock, old.batch, mass, place)
            )
        elif what < 0.5:
            entry = Entry(hour, rng.choice(lots), rng.choice(batches))
            if rng.random() < 0.7:
                entry.ended = rng.randint(hour, STEPS)
                entry.outcome = rng.choice([WENT_IN, NOTHING, ENTERED])
            told.kept.append(entry)
        else:
            place = rng.randrange(len(batches))
            stock = rng.choice([*lots, *batches[:place]])
            mass = rng.randint(1, 900)
            told.charges.append(Weighed(hour, stock, batches[place], mass))
    return told


def clock(hour: float) -> datetime.datetime:
    return START + datetime.timedelta(hours=hour)


def write_down(crew: make.Crew, told: Sequence[History]) -> None:
    """Write histories into the tables, each row entered at its hour."""
    hand = {"observed_at": START, "entered_by": crew.maker}
    scale = make.scale(crew.maker)
    dated: list[tuple[str, int, int]] = []
    for one in told:
        rows: list[Charge] = []
        for row in one.charges:
            former = None if row.instead is None else rows[row.instead]
            rows.append(
                Charge.objects.create(
                    batch_id=row.batch,
                    source_id=row.stock,
                    scale=scale,
                    gross_mg=row.mass,
                    tare_mg=0,
                    net_mg=row.mass,
                    is_void=not row.mass,
                    supersedes=former,
                    reason="misread" if former else "",
                    **hand,
                )
            )
            dated.append(("charge", rows[-1].pk, row.at))
        for entry in one.kept:
            kept = Discrepancy.objects.create(
                batch_id=entry.batch,
                stock_id=entry.stock,
                kind="charge",
                sent={},
                refused="late",
                **hand,
            )
            dated.append(("discrepancy", kept.pk, entry.at))
            if entry.ended is None:
                continue
            nothing = entry.outcome == NOTHING
            end = DiscrepancyEnd.objects.create(
                discrepancy=kept,
                outcome="explained" if nothing else entry.outcome,
                reason=f"{NOTHING_WENT_IN} So it was." if nothing else "so",
                **hand,
            )
            dated.append(("discrepancyend", end.pk, entry.ended))
    connect([edge for one in told for edge in one.edges()])
    with without_triggers():
        for table, pk, hour in dated:
            at = connection.ops.adapt_datetimefield_value(clock(hour))
            run(f"UPDATE batches_{table} SET entered_at = %s WHERE id = %s", at, pk)  # noqa: S608


@pytest.fixture
def told(crew: make.Crew) -> list[History]:
    rng = random.Random(13)  # noqa: S311 - histories, not secrets
    lots, batches = stocks(crew, lots=HISTORIES * LOTS, batches=HISTORIES * BATCHES)
    found = [
        a_history(
            rng,
            lots[n * LOTS : (n + 1) * LOTS],
            batches[n * BATCHES : (n + 1) * BATCHES],
        )
        for n in range(HISTORIES)
    ]
    write_down(crew, found)
    return found


def test_at_every_hour_the_walk_is_that_by_hand(told: list[History]) -> None:
    rng = random.Random(14)  # noqa: S311
    for one in told:
        for hour in rng.sample(range(-1, STEPS + 1), 7):
            at = clock(hour + rng.choice([0, 0.5]))
            for stock in [*one.lots, *rng.sample(one.batches, 2)]:
                found = downstream_as_believed(stock, at)
                assert set(found) == one.downstream(stock, hour)
                assert len(found) == len(set(found))


def test_as_believed_now_is_the_walk_of_the_genealogy(told: list[History]) -> None:
    for one in told:
        for stock in [*one.lots, *one.batches]:
            now = set(trace.downstream_ids(stock))
            assert set(downstream_as_believed(stock, timezone.now())) == now
            assert now == one.downstream(stock, STEPS)


def test_control_the_histories_hold_what_is_hard(told: list[History]) -> None:
    """Lots that were believed in and are out, and in that were believed out; deep."""
    gained = lost = deep = 0
    for one in told:
        for lot in one.lots:
            then, now = one.downstream(lot, STEPS // 2), one.downstream(lot, STEPS)
            gained, lost = gained + bool(now - then), lost + bool(then - now)
            deep += len(now) > 4
    assert min(gained, lost, deep) > 10
    ends = {entry.outcome for one in told for entry in one.kept}
    assert ends == {"", WENT_IN, NOTHING, ENTERED}
    deleted = [
        entry
        for one in told
        for entry in one.kept
        if (entry.stock, entry.batch) not in {edge[:2] for edge in one.edges()}
    ]
    assert deleted  # their edges are gone, and were believed in for a time


def test_one_query_whatever_the_depth(crew: make.Crew, told: list[History]) -> None:
    one = max(told, key=lambda h: len(h.downstream(h.lots[0], STEPS)))
    with CaptureQueriesContext(connection) as asked:
        downstream_as_believed(one.lots[0], clock(STEPS))
    assert len(asked) == 1


def test_the_walk_back_in_time_reads_no_table_whole(
    crew: make.Crew,
    many: Generator,  # noqa: F811 - the fixture
) -> None:
    hand = {"observed_at": START, "entered_by": crew.maker}
    scale = make.scale(crew.maker)
    edges = Input.objects.order_by("-pk").values_list("batch_id", "source_id")[:6000]
    Charge.objects.bulk_create(
        Charge(
            batch_id=batch,
            source_id=source,
            scale=scale,
            gross_mg=5,
            tare_mg=0,
            net_mg=5,
            **hand,
        )
        for batch, source in edges
    )
    if connection.vendor == "postgresql":
        run("SET CONSTRAINTS ALL IMMEDIATE")
    prefix = "EXPLAIN" if connection.vendor == "postgresql" else "EXPLAIN QUERY PLAN"
    at = connection.ops.adapt_datetimefield_value(timezone.now())
    for held in beliefs():
        sql = f"{prefix} {believed.question(connection.vendor)}"
        with connection.cursor() as cursor:
            cursor.execute(sql, {"asked": many.first_lot + 3, "at": at})
            plan = "\n".join(str(row[-1]) for row in cursor.fetchall())
        assert read_whole(plan) == [], f"{held=}:\n{plan}"
        assert "charge" in plan
