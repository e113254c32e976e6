"""Backwards and forwards in the genealogy beside the driver alone, on both engines.

Records of 20,000, 200,000 and 2,000,000 bottles: a raw lot to every thousand and a
batch to every twenty of them, each batch made from the one before it in a family of
seven, so up to six deep, with blends, charges taken back and entries kept. What a lot
went into stays the same, however many there are: about two hundred batches. One lot,
the water, went into five thousand batches, a hundred thousand bottles.

Peers: ``sqlite3`` and ``psycopg`` with a connection of their own in the same process,
asked in turns with ours, written as their documentation shows it; the texts here were
written for this and are not ours. Both must give the same answer. Times are medians.

Each engine and size is a process of its own. The rows are made inside the database,
five thousand batches at a time, so that the memory of the generator stays the same.
"""

# ruff: noqa: S608 - SQL made of names of ours
from __future__ import annotations

import collections
import contextlib
import json
import os
import random
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any, NamedTuple

from producer.throwaway import postgresql
from tests.benchmarks import Row

SIZES = (20_000, 200_000, 2_000_000)  # bottles
A_BATCH = 20  # bottles of a batch
A_LOT = 1000  # bottles to a raw lot
FAMILY = 7  # batches, each made from the one before it
OF_THE_WATER = 5000  # batches
SHOPS = 50
A_CHUNK = 5000  # batches
GOAL_BACK = {"sqlite": 1.3, "postgresql": 3.5}
GOAL_FORWARDS = 1.3
GOAL_GROWTH = 3
SAMPLE, SAMPLE_OF_LOTS = 400, 60
ENGINES = ("sqlite", "postgresql")
FILE = "records.sqlite3"
PATIENCE = 900  # seconds
ROOT = Path(__file__).resolve().parents[2]
CALL = "import django; django.setup(); from tests.benchmarks import trace; trace."

Asked = Callable[[Any], Any]


class Pair(NamedTuple):
    """Medians in seconds: ours, and the peer's."""

    ours: float
    peer: float


def rows(sizes: Sequence[int] = SIZES) -> Iterator[Row]:
    """Measure both engines at each size, and how the first grows to the last."""
    for engine in ENGINES:
        found = {}
        for size in sizes:
            found[size] = one = _measured(engine, size)
            yield from _compared(engine, size, one)
        few, many = found[sizes[0]], found[sizes[-1]]
        slow, quick = many["backwards"].ours, few["backwards"].ours
        yield Row(
            f"{engine}, ms backwards from a bottle of {sizes[-1]:,}; peer: the same of"
            f" {sizes[0]:,}",
            slow * 1000,
            quick * 1000,
            f"ratio ≤ {GOAL_GROWTH}",
            slow <= GOAL_GROWTH * quick,
        )


def _compared(engine: str, size: int, found: dict[str, Pair]) -> Iterator[Row]:
    asked = {
        "backwards": ("backwards from a bottle", GOAL_BACK[engine]),
        "count": ("bottles of a lot counted", GOAL_FORWARDS),
        "stream": ("bottles of a lot read", GOAL_FORWARDS),
    }
    for name, (what, goal) in asked.items():
        ours, peer = found[name]
        yield Row(
            f"{engine}, {size:,} bottles: ms {what}; peer: the driver alone",
            ours * 1000,
            peer * 1000,
            f"ratio ≤ {goal}",
            ours <= goal * peer,
        )


def _measured(engine: str, size: int) -> dict[str, Pair]:
    with records(engine, size) as environment:
        found = json.loads(run(environment, CALL + "measure()").splitlines()[-1])
    return {key: Pair(*values) for key, values in found.items()}


@contextlib.contextmanager
def records(engine: str, size: int) -> Iterator[dict[str, str]]:
    """Fill so many bottles on an engine; yield the environment that leads to them."""
    with contextlib.ExitStack() as stack:
        name = stack.enter_context(tempfile.TemporaryDirectory(prefix="kettlebook-"))
        environment = {
            **os.environ,
            "KETTLEBOOK_DATA": name,
            "DJANGO_SETTINGS_MODULE": "producer.settings",
            "PYTHONPATH": str(ROOT),
        }
        environment.pop("DATABASE_URL", None)
        if engine == "postgresql":
            environment["DATABASE_URL"] = stack.enter_context(postgresql())
        run(environment, f"{CALL}build({size})")
        yield environment


def run(environment: dict[str, str], code: str) -> str:
    """Run Python on the records in a process of its own; return what it printed."""
    done = subprocess.run(  # noqa: S603 - our own program
        [sys.executable, "-c", code],
        env=environment,
        stdout=subprocess.PIPE,
        text=True,
        check=True,
        timeout=PATIENCE,
    )
    return done.stdout


# ------------------------------------------------------------------ ours and the peer


def measure() -> None:
    """Ask ours and the peer in turns; print the medians in seconds."""
    from django.db import connection  # noqa: PLC0415

    from batches import trace  # noqa: PLC0415
    from producer.models import Stock  # noqa: PLC0415

    peer = PEERS[connection.vendor]()
    lots = list(Stock.objects.filter(code__startswith="XL").order_by("pk"))
    others = [lot.pk for lot in lots[1:]]
    chosen = random.Random(1)  # noqa: S311 - the same in each run
    some = chosen.sample(others, min(SAMPLE_OF_LOTS, len(others)))
    codes = _codes(chosen)
    found = {
        "backwards": _in_turns(codes, trace.upstream_of_bottle, peer.backwards, set),
        "count": _in_turns(some, trace.bottle_count, peer.count, int),
        "stream": _in_turns(some, _listed, peer.bottles, list),
    }
    _tell(f"{connection.vendor}: measured")
    print(json.dumps(found))  # noqa: T201


def _listed(stock: int) -> Iterator[tuple[Any, ...]]:
    """Yield the bottles of a stock as every list of them is read: of one moment."""
    from batches import trace  # noqa: PLC0415
    from producer.one_moment import one_moment  # noqa: PLC0415

    with one_moment():
        yield from trace.bottles_from(stock)


def _codes(chosen: random.Random) -> list[str]:
    from batches.models import Bottle  # noqa: PLC0415

    last = Bottle.objects.latest("pk").pk
    some = chosen.sample(range(last // 10, last), SAMPLE)
    return list(Bottle.objects.filter(pk__in=some).values_list("code", flat=True))


def _in_turns(
    asked: Sequence[Any], ours: Asked, peer: Asked, alike: Callable[[Any], Any]
) -> Pair:
    """Return the median times; raise an error if the answers are not the same."""
    for one in asked[:3]:
        if alike(ours(one)) != alike(peer(one)):
            raise AssertionError(f"Another answer for {one}.")
    times: dict[Asked, list[float]] = {ours: [], peer: []}
    for place, one in enumerate(asked):
        # Whoever comes second finds the pages in memory, so it is not always the same.
        for way in (ours, peer) if place % 2 else (peer, ours):
            start = time.perf_counter()
            answer = way(one)
            if isinstance(answer, Iterator):
                collections.deque(answer, maxlen=0)
            times[way].append(time.perf_counter() - start)
    return Pair(statistics.median(times[ours]), statistics.median(times[peer]))


# One text of each peer; SQLite's marks are ?, those of psycopg %s.
WENT_IN = """(e.mass_mg > 0 OR EXISTS (SELECT 1 FROM batches_discrepancy k
  LEFT JOIN batches_discrepancyend f ON f.discrepancy_id = k.id
  WHERE k.batch_id = {batch} AND k.stock_id = {source}
  AND (f.outcome IS NULL OR f.outcome <> 'entered') {fence}))"""
SEEN = """SELECT b.code, l.code, b.number, l.batch_id, s.code, b.status,
  c.name, c.phone, c.email"""
LITE_DOWN = f"""WITH RECURSIVE d(id) AS (SELECT ? UNION
  SELECT e.batch_id FROM d CROSS JOIN batches_input e WHERE e.source_id = d.id
  AND {WENT_IN.format(batch="e.batch_id", source="d.id", fence="")})"""
POST_DOWN = f"""WITH RECURSIVE d(id) AS (SELECT %s::bigint UNION
  SELECT e.batch_id FROM d, LATERAL (SELECT e.batch_id FROM batches_input e
  WHERE e.source_id = d.id
  AND {WENT_IN.format(batch="e.batch_id", source="d.id", fence="OFFSET 0")}
  OFFSET 0) e) SELECT id FROM d"""


class SqlitePeer:
    """The driver of the standard library, and the best text we know."""

    BACK = f"""WITH RECURSIVE u(id) AS (
      SELECT l.batch_id FROM batches_bottle b CROSS JOIN batches_fillinglot l
      WHERE b.code = ? AND l.id = b.filling_lot_id UNION
      SELECT e.source_id FROM u CROSS JOIN batches_input e WHERE e.batch_id = u.id
      AND {WENT_IN.format(batch="u.id", source="e.source_id", fence="")})
      SELECT id FROM u"""
    COUNT = f"""{LITE_DOWN} SELECT count(*) FROM d CROSS JOIN batches_fillinglot l
      CROSS JOIN batches_bottle b WHERE l.batch_id = d.id AND b.filling_lot_id = l.id"""
    BOTTLES = f"""{SEEN} FROM batches_fillinglot l CROSS JOIN producer_stock s
      CROSS JOIN batches_bottle b
      LEFT JOIN producer_consignee c ON c.id = b.consignee_id
      WHERE l.id IN ({LITE_DOWN} SELECT l.id FROM d CROSS JOIN batches_fillinglot l
        WHERE l.batch_id = d.id) AND s.id = l.batch_id AND b.filling_lot_id = l.id
      ORDER BY l.id, b.number"""

    def __init__(self) -> None:
        from django.conf import settings  # noqa: PLC0415

        self.file = sqlite3.connect(Path(settings.DATA_DIR) / FILE)

    def backwards(self, code: str) -> list[int]:
        """Return the ids of what is in a bottle."""
        return [row[0] for row in self.file.execute(self.BACK, (code,))]

    def count(self, stock: int) -> int:
        """Return how many bottles there are of a stock."""
        count: int = self.file.execute(self.COUNT, (stock,)).fetchone()[0]
        return count

    def bottles(self, stock: int) -> Iterator[tuple[Any, ...]]:
        """Yield the bottles of a stock."""
        yield from self.file.execute(self.BOTTLES, (stock,))


class PostgresqlPeer:
    """psycopg, and the best text we know; it prepares what is asked often by itself."""

    BACK = f"""WITH RECURSIVE u(id) AS (
      SELECT l.batch_id FROM batches_bottle b
      JOIN batches_fillinglot l ON l.id = b.filling_lot_id WHERE b.code = %s UNION
      SELECT e.source_id FROM u, LATERAL (SELECT e.source_id FROM batches_input e
      WHERE e.batch_id = u.id
      AND {WENT_IN.format(batch="u.id", source="e.source_id", fence="OFFSET 0")}
      OFFSET 0) e) SELECT id FROM u"""
    COUNT = f"""SELECT count(*) FROM batches_bottle b WHERE b.filling_lot_id = ANY(
      ARRAY(SELECT l.id FROM batches_fillinglot l
        WHERE l.batch_id = ANY(ARRAY({POST_DOWN}))))"""
    BOTTLES = f"""{SEEN} FROM batches_fillinglot l
      JOIN producer_stock s ON s.id = l.batch_id
      JOIN batches_bottle b ON b.filling_lot_id = l.id
      LEFT JOIN producer_consignee c ON c.id = b.consignee_id
      WHERE l.batch_id = ANY(ARRAY({POST_DOWN})) ORDER BY l.id, b.number"""

    def __init__(self) -> None:
        import psycopg  # noqa: PLC0415
        from django.db import connection  # noqa: PLC0415

        named = connection.get_connection_params()
        self.server = psycopg.connect(
            host=named.get("host"),
            port=named.get("port"),
            user=named["user"],
            password=named.get("password"),
            dbname=named["dbname"],
            autocommit=True,
        )

    def backwards(self, code: str) -> list[int]:
        """Return the ids of what is in a bottle."""
        return [row[0] for row in self.server.execute(self.BACK, (code,))]

    def count(self, stock: int) -> int:
        """Return how many bottles there are of a stock."""
        row = self.server.execute(self.COUNT, (stock,)).fetchone()
        return int(row[0]) if row else 0

    def bottles(self, stock: int) -> Iterator[tuple[Any, ...]]:
        """Yield the bottles of a stock, by a cursor of the server."""
        with self.server.transaction(), self.server.cursor(name="bottles") as cursor:
            cursor.itersize = 2000
            yield from cursor.execute(self.BOTTLES, (stock,))


PEERS: dict[str, Callable[[], SqlitePeer | PostgresqlPeer]] = {
    "sqlite": SqlitePeer,
    "postgresql": PostgresqlPeer,
}


# ------------------------------------------------------------------ the records

# Numbers n from %(first)s up to %(end)s. Plain SQL, so that one text does for both.
_NUMBERS = """
WITH RECURSIVE numbers(n) AS (
  SELECT CAST(? AS bigint) UNION ALL SELECT n + 1 FROM numbers WHERE n + 1 < ?
)
"""


def build(bottles: int) -> None:
    """Fill so many bottles into the records of the settings; tell how far it is."""
    from django.core.management import call_command  # noqa: PLC0415
    from django.db import connection  # noqa: PLC0415

    from tests import make  # noqa: PLC0415

    call_command("migrate", verbosity=0, interactive=False)
    owner = make.set_up()
    crew = make.Crew(
        make.account(by=owner, name="Mirja Aalto", rights=["maker"]),
        make.account(by=owner, name="Rasmus Lind", rights=["reviewer"]),
    )
    pattern = make.filled(crew, make.released_liquid(crew))
    for name in range(SHOPS):
        make.consignee(crew.maker, f"Shop {name}")
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":  # thrown away, not to be kept
            cursor.execute("PRAGMA synchronous=OFF")
            cursor.execute("PRAGMA cache_size=-200000")
        Generator(pattern.pk, bottles).run()
        cursor.execute("ANALYZE")


class Generator:
    """Rows like those of one filling that the services made, many times over."""

    def __init__(self, pattern: int, bottles: int) -> None:
        from batches.models import Bottle, FillingLot  # noqa: PLC0415
        from producer.models import Consignee, RawLot, Stock  # noqa: PLC0415

        self.lot = FillingLot.objects.get(pk=pattern)
        self.raw = RawLot.objects.latest("pk").pk
        self.holder = Consignee.objects.latest("pk").pk - SHOPS + 1
        self.batches = bottles // A_BATCH
        self.lots = bottles // A_LOT
        newest = Stock.objects.latest("pk").pk
        self.first_lot = newest + 1
        self.first_batch = self.first_lot + self.lots
        self.first_filling = FillingLot.objects.latest("pk").pk + 1
        if self.lots <= FAMILY or Bottle.objects.count() > A_BATCH:
            raise AssertionError("Too few bottles, or records that are in use.")

    def run(self) -> None:
        """Write the lots, then the batches and what belongs to them chunk by chunk."""
        self._write(self._lots(), 0, self.lots)
        for start in range(0, self.batches, A_CHUNK):
            end = min(start + A_CHUNK, self.batches)
            self._write(self._made(), start, end)
            _tell(f"{end * A_BATCH:,} of {self.batches * A_BATCH:,} bottles")

    def _write(self, statements: Sequence[str], first: int, end: int) -> None:
        from django.db import connection, transaction  # noqa: PLC0415

        with transaction.atomic(), connection.cursor() as cursor:
            for statement in statements:
                target, select = statement.split(") ", 1)
                text = f"{target}) {_NUMBERS} {select}".replace("%", "%%")
                cursor.execute(text.replace("?", "%s"), [first, end])

    def _lots(self) -> list[str]:
        from producer.models import RawLot, Stock  # noqa: PLC0415

        key = f"{self.first_lot} + n"
        return [
            _copied(Stock, self.raw, id=key, code="'XL' || n"),
            _copied(RawLot, self.raw, stock_id=key),
        ]

    def _made(self) -> list[str]:
        from batches.models import Batch, FillingLot  # noqa: PLC0415
        from producer.models import Stock  # noqa: PLC0415

        batch, lot = f"{self.first_batch} + n", f"{self.first_filling} + n"
        hold = self.lot.batch_id
        return [
            _copied(Stock, hold, id=batch, code="'XB' || n"),
            _copied(Batch, hold, stock_id=batch),
            *(self._edges(*kind) for kind in self._kinds()),
            self._kept(),
            _copied(
                FillingLot,
                self.lot.pk,
                id=lot,
                batch_id=batch,
                code="'XF' || n",
                count=str(A_BATCH),
            ),
            *(self._bottle(number, lot) for number in range(1, A_BATCH + 1)),
        ]

    def _kinds(self) -> Iterator[tuple[str, str, str]]:
        """Yield source, mass and condition of each kind of charge of batch n."""
        batch, lot, others = self.first_batch, self.first_lot + 1, self.lots - 1
        paste, taken_back = f"n % {FAMILY} = 0", "n % 101 = 0"
        spread = f"n / {FAMILY} * 7919"
        for place in range(4):
            yield f"{lot} + ({spread} + {place}) % {others}", "700000", paste
        mass = f"CASE WHEN {taken_back} THEN 0 ELSE 500000 END"
        yield f"{batch} + n - 1", mass, f"NOT {paste}"
        yield f"{lot} + (n * 613) % {others}", "20000", f"NOT {paste} AND n % 3 = 0"
        # A blend of two families; no batch of the other one is a blend itself.
        blend = f"n % {5 * FAMILY} = 5 AND n > {FAMILY}"
        yield f"{batch} + n - {FAMILY}", "100000", blend
        yield f"{self.first_lot}", "900000", f"n < {OF_THE_WATER}"

    def _edges(self, source: str, mass: str, condition: str) -> str:
        return (
            "INSERT INTO batches_input (batch_id, source_id, mass_mg)"
            f" SELECT {self.first_batch} + n, {source}, {mass} FROM numbers"
            f" WHERE {condition}"
        )

    def _kept(self) -> str:
        """Keep an entry for every second of the charges that were taken back."""
        return (
            "INSERT INTO batches_discrepancy (observed_at, entered_at, entered_by_id,"
            " kind, sent, refused, short_mg, batch_id, stock_id)"
            f" SELECT lot.observed_at, lot.entered_at, lot.entered_by_id, 'charge',"
            f" '{{}}', 'too little on hand', 0, {self.first_batch} + n,"
            f" {self.first_batch} + n - 1 FROM numbers CROSS JOIN batches_fillinglot"
            f" AS lot WHERE lot.id = {self.lot.pk} AND n % 202 = 101"
            f" AND NOT n % {FAMILY} = 0"
        )

    def _bottle(self, number: int, lot: str) -> str:
        """Fill one bottle of each batch; three in four are out. Codes look random."""
        place = f"(n * {A_BATCH} + {number})"
        is_out = number * 4 <= A_BATCH * 3
        shop = f"{self.holder} + n % {SHOPS}"
        status, holder = ("dispatched", shop) if is_out else ("filled", "NULL")
        return (
            "INSERT INTO batches_bottle"
            " (filling_lot_id, number, code, status, consignee_id)"
            f" SELECT {lot}, {number}, CAST(100000000000 + ({place} * 2654435761)"
            f" % 4294967296 AS varchar(12)), '{status}', {holder} FROM numbers"
        )


def _copied(model: Any, key: int, **changed: str) -> str:
    """Return SQL that copies the row ``key`` for each number, with some columns new."""
    columns = [field.column for field in model._meta.concrete_fields]
    values = [changed.get(name, f"pattern.{name}") for name in columns]
    table, primary = model._meta.db_table, model._meta.pk.column
    return (
        f"INSERT INTO {table} ({', '.join(columns)}) SELECT {', '.join(values)}"
        f" FROM numbers CROSS JOIN {table} AS pattern WHERE pattern.{primary} = {key}"
    )


def _tell(line: str) -> None:
    print(line, file=sys.stderr, flush=True)  # noqa: T201
