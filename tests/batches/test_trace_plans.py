"""How the engines carry out each question: by an index, whatever they believe.

Asked of some thousands of rows made by the generator of ``manage.py benchmark trace``,
before the engine knows anything of them and after ANALYZE has told it.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from batches import trace
from batches.models import Bottle, Discrepancy, DiscrepancyEnd, Input
from batches.trace import walks
from producer.models import Consignee, Stock
from quality.documents import recalls as documents
from quality.services import recall_affected
from tests import make
from tests.benchmarks.trace import Generator
from tests.database import query, run

BOTTLES = 24_000
# What each may read from end to end: its own walk, and the list it was given.
OWN = {"walked", "given", "made", "lot_1", "json_each", "unnest"}
TABLES = {
    "batches_input": "edge",
    "batches_discrepancy": "kept",
    "batches_discrepancyend": "settled",
    "batches_fillinglot": "lot",
    "batches_bottle": "bottle",
    "producer_stock": "stock",
    "producer_consignee": "holder",
}
FORWARDS = {"bottle count", "bottles", "bottles among"}
SEVERAL = {
    *("downstream of all", "downstream of each", "upstream of each"),
    "bottles among",
}
LOT = 2  # a filling lot asked for by itself


@pytest.fixture
def many(crew: make.Crew) -> Generator:
    """Return what made twelve hundred batches, twenty bottles each."""
    lot = make.filled(crew)

    Consignee.objects.bulk_create(
        Consignee(name=f"Shop {n}", kind="reseller", phone="1") for n in range(400)
    )
    maker = Generator(lot.pk, BOTTLES)
    maker.run()
    hand = {"entered_by": crew.maker, "observed_at": lot.observed_at}
    edges = Input.objects.order_by("-pk").values_list("batch_id", "source_id")[:3000]
    kept = Discrepancy.objects.bulk_create(
        Discrepancy(
            batch_id=batch, stock_id=source, kind="x", sent={}, refused="x", **hand
        )
        for batch, source in edges
    )
    DiscrepancyEnd.objects.bulk_create(
        DiscrepancyEnd(discrepancy=row, outcome="entered", reason="x", **hand)
        for row in kept
    )
    if connection.vendor == "postgresql":
        run("SET CONSTRAINTS ALL IMMEDIATE")  # or nothing may be analysed
    return maker


def asked_of(name: str, maker: Generator) -> Any:
    """Return what a question is asked about."""
    batch = maker.first_batch + maker.batches - 1
    if name == "upstream of a bottle":
        return Bottle.objects.latest("pk").code
    if name in SEVERAL:
        ids = list(range(maker.first_batch, batch))
        return ids if connection.vendor == "postgresql" else str(ids)
    return batch if name.startswith("upstream") else maker.first_lot + 3


def beliefs() -> Iterator[str]:
    """Yield what the engine believes of the tables, once it does."""
    if connection.vendor == "postgresql":
        # What a vacuum between two tests noted is forgotten: it saw the tables empty.
        run(
            "UPDATE pg_class SET reltuples = -1, relpages = 0"
            " WHERE relkind IN ('r', 'i') AND relnamespace = 'public'::regnamespace"
        )
    yield "nothing"
    run("ANALYZE")
    yield "what is so"


def plan_of(sql: str, asked: Any) -> str:
    prefix = "EXPLAIN" if connection.vendor == "postgresql" else "EXPLAIN QUERY PLAN"
    with connection.cursor() as cursor:
        lots = [LOT] if connection.vendor == "postgresql" else f"[{LOT}]"
        cursor.execute(f"{prefix} {sql}", {"asked": asked, "lots": lots})
        return "\n".join(str(row[-1]) for row in cursor.fetchall())


def read_whole(plan: str) -> list[str]:
    """Return what a plan reads from end to end, beside its own walk.

    An index without a condition is read whole as well; SQLite's automatic index and
    its Bloom filter are made by reading a table.
    """
    if connection.vendor == "sqlite":
        scans = re.findall(r"SCAN (\w+)", plan)
        made = re.findall(r"AUTOMATIC|BLOOM FILTER", plan)
        return [one for one in scans if one not in {*OWN, "CONSTANT"}] + made
    found = re.findall(r"Seq Scan on (\w+)", plan)
    lines = plan.splitlines()
    for line, below in zip(lines, [*lines[1:], ""], strict=True):
        by_index = re.search(r"Index (?:Only )?Scan using (\w+) on (\w+)", line)
        if by_index and "Index Cond" not in below:
            found.append(f"all of {by_index[1]}")
    return found


@pytest.mark.django_db
def test_no_question_reads_a_table_whole_before_and_after_analyze(
    many: Generator,
) -> None:
    for believed in beliefs():
        for name in walks.QUESTIONS:
            sql = walks.question(name, connection.vendor)
            plan = plan_of(sql, asked_of(name, many))
            assert read_whole(plan) == [], f"{name}, {believed=}:\n{plan}"
            alias = TABLES["batches_input"]
            assert alias in plan or "batches_input" in plan
            for table in ("batches_fillinglot", "batches_bottle"):
                seen = table in plan or f" {TABLES[table]} " in plan
                assert seen >= (name in FORWARDS), plan


@pytest.mark.django_db
def test_a_cursor_of_the_server_is_planned_without_a_whole_table_too(
    many: Generator, *, on_postgresql: bool
) -> None:
    """A cursor is planned for its first rows, which an index in order gives at once."""
    sql = walks.question("bottles", connection.vendor)
    if on_postgresql:
        sql = f"DECLARE seen NO SCROLL CURSOR WITH HOLD FOR {sql}"
    run("ANALYZE")
    plan = plan_of(sql, many.first_lot + 3)
    assert read_whole(plan) == [], plan
    if not on_postgresql:
        assert "TEMP B-TREE" not in plan  # nor is anything sorted


@pytest.mark.django_db
def test_control_the_walk_as_it_is_usually_written_reads_a_table_whole(
    many: Generator,
) -> None:
    """The same question with the condition on the edge alone, and a plain join."""
    usual = """
        WITH RECURSIVE up(id) AS (
          SELECT CAST(%(asked)s AS bigint) UNION
          SELECT edge.source_id FROM batches_input AS edge JOIN up
          ON edge.batch_id = up.id WHERE edge.mass_mg > 0 AND edge.source_id IS NOT NULL
        ) SELECT bottle.code FROM batches_bottle AS bottle
        JOIN batches_fillinglot AS lot ON bottle.filling_lot_id = lot.id
        WHERE lot.batch_id IN (SELECT id FROM up)"""
    run("ANALYZE")
    assert read_whole(plan_of(usual, many.first_batch + many.batches - 1))


@pytest.mark.django_db
def test_control_without_its_index_the_walk_reads_all_edges(many: Generator) -> None:
    index = next(i for i in Input._meta.indexes if i.name == "edge_by_source_covering")
    run(f"DROP INDEX {index.name}")
    if connection.vendor == "postgresql":  # which reads the other one whole, else
        run("ALTER TABLE batches_input DROP CONSTRAINT one_edge_between_two_stocks")
    plan = plan_of(walks.question("downstream", connection.vendor), many.first_lot + 3)
    assert read_whole(plan), plan


@pytest.mark.django_db
def test_the_generator_makes_what_it_says(many: Generator) -> None:
    """A small run of what the benchmark measures, so that it is known to work."""
    water = many.first_lot
    batches, lots = BOTTLES // 20, BOTTLES // 1000
    assert (many.batches, many.lots) == (batches, lots)
    assert trace.bottle_count(water) == BOTTLES
    reached = trace.downstream_ids(many.first_lot + 3)
    assert 100 < len(reached) < 500
    assert trace.bottle_count(many.first_lot + 3) == (len(reached) - 1) * 20
    deep = trace.upstream_ids(many.first_batch + 6)
    assert {many.first_batch + n for n in range(7)} <= set(deep)
    codes = query("SELECT count(DISTINCT code), count(*) FROM batches_bottle")[0]
    assert codes[0] == codes[1] == BOTTLES + 2


@pytest.mark.django_db
def test_each_question_is_one_query_and_each_list_a_few(many: Generator) -> None:
    root = Stock.objects.get(pk=many.first_lot + 3)
    code = Bottle.objects.latest("pk").code
    asks: dict[str, tuple[Callable[[], object], int]] = {
        "backwards from a bottle": (lambda: trace.upstream_of_bottle(code), 1),
        "counted": (lambda: trace.bottle_count(root.pk), 1),
        "read": (lambda: list(trace.bottles_from(root.pk)), 1),
        # walk, lots, batches, edges, bottles, shares
        "the page": (lambda: recall_affected.affected_by(root), 7),
        # count, bottles, walk, shares
        "the file": (lambda: list(documents.list_of(documents.of(root), "csv")), 4),
    }
    for name, (ask, most) in asks.items():
        with CaptureQueriesContext(connection) as asked:
            assert ask()
        assert len(asked) == most, name


@pytest.mark.django_db
def test_bottles_are_fetched_as_they_are_asked_for(many: Generator) -> None:
    water = trace.bottles_from(many.first_lot)
    with CaptureQueriesContext(connection) as asked:
        first = next(water)
    assert len(asked) == 1
    assert first.number == 1
    rows = [first, *water]
    assert len(rows) == BOTTLES
    keys = [(row.batch_id, row.number) for row in rows]
    assert keys == sorted(keys)  # one lot a batch, so this is the order of filling
    out = [row for row in rows if row.status == "dispatched"]
    assert len(out) == BOTTLES * 3 // 4
    assert all(row.holder for row in out)
    plain = {type(value) for row in rows[:100] for value in row}
    assert plain <= {str, int, type(None)}


@pytest.mark.django_db
@pytest.mark.postgresql
def test_postgresql_compiles_no_query_of_ours(
    on_postgresql: bool,  # noqa: FBT001 - a fixture
) -> None:
    if not on_postgresql:
        pytest.skip("only PostgreSQL compiles queries")
    assert query("SHOW jit") == [("off",)]
