"""Questions to the genealogy: one query at any depth, and one text for each engine.

A raw lot and a batch are nodes with one kind of number (see ``producer.Stock``), so one
recursive query over one narrow table walks through dilution, blend and rework alike.
UNION drops a node met twice, so even a loop, which cannot arise, would end.

What counts is the plan, and each engine has its own way of losing it:

- SQLite joins in the order it likes best, unless CROSS JOIN says otherwise. Once
  statistics are there, it puts a Bloom filter before a table of which a condition asks
  nothing but its own columns, and reads the whole table to make it. So what is kept is
  compared with the walk, not with the edge, and there is no ``IS NOT NULL``.
- PostgreSQL cannot know how many rows a walk returns and takes it for many: it then
  reads the whole table of edges, or of bottles, for a handful of them. A LATERAL with
  OFFSET 0 is asked row by row, by the index; ANY(ARRAY()) is taken for ten values.

Many ids go in as one value, so there is no limit to their number. Which of two machines
is asked says :mod:`producer.reads`.
"""

from __future__ import annotations

import functools
import json
from collections.abc import Callable, Iterable, Iterator
from typing import Any, NamedTuple, cast

from django.db import connection, connections
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.models.expressions import RawSQL

from batches.models.discrepancies import NOTHING_WENT_IN
from producer import reads

# Rows fetched; what a stream holds in memory. More wake the collector of garbage.
AT_A_TIME = 500

# What went in: a mass by the charges, or by an entry that the book could not take and
# of which nobody has said that it was another lot's.
# Nought otherwise is a charge that was taken back.
_WENT_IN = """edge.{near} = walked.id AND (edge.mass_mg > 0 OR EXISTS (
    SELECT 1 FROM batches_discrepancy AS kept
    LEFT JOIN batches_discrepancyend AS settled ON settled.discrepancy_id = kept.id
    WHERE kept.{kept_near} = walked.id AND kept.{kept_far} = edge.{far}
    AND (settled.outcome IS NULL
      OR settled.outcome <> 'entered' AND {something_went_in}) {fence}
  ))"""
# A reviewer says in the first words of an end that nothing went in after all.
SOMETHING_WENT_IN = (
    f"substr(settled.reason, 1, {len(NOTHING_WENT_IN)}) <> '{NOTHING_WENT_IN}'"
)
_STEP = {
    "sqlite": "batches_input AS edge WHERE {went_in}",
    "postgresql": (
        "LATERAL (SELECT edge.{far} FROM batches_input AS edge WHERE {went_in} {fence})"
        " AS edge"
    ),
}
_FENCE = {"sqlite": "", "postgresql": "OFFSET 0"}
_GIVEN = {
    "sqlite": "json_each(%(asked)s) AS given",
    # In a query of its own, or the length of the list is taken for the cost.
    "postgresql": "unnest((SELECT CAST(%(asked)s AS bigint[]))) AS given(value)",
}
_WALK = """
WITH RECURSIVE walked({columns}) AS (
  {start}
  UNION
  SELECT {carried}edge.{far} FROM walked CROSS JOIN {step}
)"""

_COUNT = {
    "sqlite": """{walk}
SELECT count(*) FROM walked
CROSS JOIN batches_fillinglot AS lot CROSS JOIN batches_bottle AS bottle
WHERE lot.batch_id = walked.id AND bottle.filling_lot_id = lot.id""",
    "postgresql": """
SELECT count(*) FROM batches_bottle AS bottle
WHERE bottle.filling_lot_id = ANY(ARRAY(
  SELECT lot.id FROM unnest(ARRAY({walk} SELECT id FROM walked)) AS made(id)
  CROSS JOIN LATERAL (
    SELECT lot.id FROM batches_fillinglot AS lot WHERE lot.batch_id = made.id {fence}
  ) AS lot
))""",
}
_BOTTLES = {
    # The numbers in the list come sorted, and so do the bottles by their index: nothing
    # is left to be sorted.
    "sqlite": """
SELECT bottle.code, lot.code, bottle.number, lot.batch_id, stock.code, bottle.status,
  holder.name, holder.phone, holder.email
FROM batches_fillinglot AS lot CROSS JOIN producer_stock AS stock
CROSS JOIN batches_bottle AS bottle
LEFT JOIN producer_consignee AS holder ON holder.id = bottle.consignee_id
WHERE lot.id IN ({walk}
    SELECT lot.id FROM walked CROSS JOIN batches_fillinglot AS lot
    WHERE lot.batch_id = walked.id {alone}
  ) AND stock.id = lot.batch_id AND bottle.filling_lot_id = lot.id
ORDER BY lot.id, bottle.number""",
    "postgresql": """
SELECT bottle.code, lot.code, bottle.number, lot.batch_id, lot.batch, bottle.status,
  holder.name, holder.phone, holder.email
FROM ({made}) AS lot
CROSS JOIN LATERAL (
  SELECT bottle.code, bottle.number, bottle.status, bottle.consignee_id
  FROM batches_bottle AS bottle WHERE bottle.filling_lot_id = lot.id {fence}
) AS bottle
LEFT JOIN LATERAL (
  SELECT holder.name, holder.phone, holder.email
  FROM producer_consignee AS holder WHERE holder.id = bottle.consignee_id {fence}
) AS holder ON true
ORDER BY lot.id, bottle.number""",
}
# The filling lots of what was made, on PostgreSQL; and those asked for by themselves.
_MADE = """
SELECT lot.id, lot.code, lot.batch_id, lot.batch
FROM unnest(ARRAY({walk} SELECT id FROM walked)) AS made(id)
CROSS JOIN LATERAL (
  SELECT lot.id, lot.code, lot.batch_id, stock.code AS batch
  FROM batches_fillinglot AS lot JOIN producer_stock AS stock ON stock.id = lot.batch_id
  WHERE lot.batch_id = made.id {fence}
) AS lot"""
_ALONE = {
    "sqlite": "UNION SELECT value FROM json_each(%(lots)s)",
    "postgresql": """
UNION
SELECT lot.id, lot.code, lot.batch_id, lot.batch
FROM unnest((SELECT CAST(%(lots)s AS bigint[]))) AS given(value)
CROSS JOIN LATERAL (
  SELECT lot.id, lot.code, lot.batch_id, stock.code AS batch
  FROM batches_fillinglot AS lot JOIN producer_stock AS stock ON stock.id = lot.batch_id
  WHERE lot.id = given.value OFFSET 0
) AS lot""",
}

_THIS = "VALUES (CAST(%(asked)s AS bigint))"
_OF_THE_BOTTLE = (
    "SELECT lot.batch_id FROM batches_bottle AS bottle"
    " CROSS JOIN batches_fillinglot AS lot"
    " WHERE bottle.code = %(asked)s AND lot.id = bottle.filling_lot_id"
)
_IDS, _PAIRS = " SELECT id FROM walked", " SELECT root, id FROM walked"
_BACK, _FORWARDS = ("batch_id", "source_id"), ("source_id", "batch_id")


class TracedBottle(NamedTuple):
    """What a recall asks of a bottle; who has it if ``status`` says that it is out."""

    code: str
    filling_lot: str
    number: int
    batch_id: int
    batch: str
    status: str
    holder: str | None
    phone: str | None
    email: str | None


@functools.cache
def question(name: str, vendor: str) -> str:
    """Return the text of a question in the words of an engine; see ``QUESTIONS``.

    What is asked for goes in by name: marks without one Django looks for letter by
    letter in SQLite's text, which takes as long as the walk itself.
    """
    return " ".join(QUESTIONS[name](vendor).split())


def upstream_ids(stock_id: int) -> list[int]:
    """Return the ids of all stocks that went into a stock, itself included."""
    return _first("upstream", stock_id)


def upstream_of_bottle(code: str) -> list[int]:
    """Return the ids of all stocks that are in a bottle, of its own batch too.

    None for a code that no bottle has.
    """
    return _first("upstream of a bottle", code)


def downstream_ids(stock_id: int) -> list[int]:
    """Return the ids of all stocks that a stock went into, itself included."""
    return _first("downstream", stock_id)


def downstream_of(stock_ids: Iterable[int]) -> list[int]:
    """Return the ids of all stocks that any of these went into, themselves included."""
    return _first("downstream of all", _as_one(stock_ids))


def downstream_of_each(stock_ids: Iterable[int]) -> dict[int, set[int]]:
    """Return the ids of all that each of these stocks went into, itself included."""
    return _of_each("downstream of each", stock_ids)


def upstream_of_each(stock_ids: Iterable[int]) -> dict[int, set[int]]:
    """Return the ids of all that went into each of these stocks, itself included."""
    return _of_each("upstream of each", stock_ids)


def bottle_count(stock_id: int) -> int:
    """Return how many bottles have something of a stock in them."""
    (count,) = _first("bottle count", stock_id)
    return count


def bottles_from(stock_id: int) -> Iterator[TracedBottle]:
    """Yield the bottles that have something of a stock in them, in order of filling.

    Plain values, fetched as they are asked for: memory stays the same, however many
    there are. All from the database in force when this was called.
    """
    return _stream("bottles", {"asked": stock_id}, reads.alias())


def bottles_among(
    stock_ids: Iterable[int], filling_lot_ids: Iterable[int]
) -> Iterator[TracedBottle]:
    """Yield the bottles with something of these stocks in them, or of these lots.

    As :func:`bottles_from`; ``filling_lot_ids`` are filling lots for themselves.
    """
    asked = {"asked": _as_one(stock_ids), "lots": _as_one(filling_lot_ids)}
    return _stream("bottles among", asked, reads.alias())


def _stream(name: str, asked: dict[str, Any], alias: str) -> Iterator[TracedBottle]:
    database = connections[alias]
    # As quick as the tuple that the driver made; _make is not.
    as_bottle: Any = functools.partial(tuple.__new__, TracedBottle)
    with database.chunked_cursor() as cursor:
        cursor.execute(question(name, database.vendor), asked)
        while rows := cursor.fetchmany(AT_A_TIME):
            yield from map(as_bottle, rows)


def among(ids: Iterable[int]) -> RawSQL:
    """Return these ids for an ``__in``, as one value, however many they are."""
    text = f"SELECT value FROM {_GIVEN[connection.vendor]}"  # noqa: S608
    return RawSQL(text.replace("%(asked)s", "%s"), [_as_one(ids)])  # noqa: S611


def _first(name: str, value: Any) -> list[int]:
    return [row[0] for row in _rows(name, {"asked": value})]


def _rows(name: str, asked: dict[str, Any]) -> list[tuple[Any, ...]]:
    database = connections[reads.alias()]  # looked up once; each time costs
    watched = database.queries_logged or database.execute_wrappers
    if database.vendor == "sqlite" and not watched:
        return _from_the_file(database, name, asked)
    with database.cursor() as cursor:
        cursor.execute(question(name, database.vendor), asked)
        return cast("list[tuple[Any, ...]]", cursor.fetchall())


def _from_the_file(
    database: BaseDatabaseWrapper, name: str, asked: dict[str, Any]
) -> list[tuple[Any, ...]]:
    """Ask the driver itself: Django's cursor takes half as long again as the walk."""
    if database.connection is None:
        database.ensure_connection()
    database.validate_no_broken_transaction()
    with database.wrap_database_errors:
        found: list[tuple[Any, ...]] = database.connection.execute(
            _in_marks_of_the_file(name), asked
        ).fetchall()
    return found


@functools.cache
def _in_marks_of_the_file(name: str) -> str:
    return question(name, "sqlite") % {"asked": ":asked", "lots": ":lots"}


def _of_each(name: str, stock_ids: Iterable[int]) -> dict[int, set[int]]:
    found: dict[int, set[int]] = {}
    for root, stock_id in _rows(name, {"asked": _as_one(stock_ids)}):
        found.setdefault(root, set()).add(stock_id)
    return found


def _as_one(ids: Iterable[int]) -> Any:
    return list(ids) if connection.vendor == "postgresql" else json.dumps(list(ids))


def _walk(
    vendor: str, way: tuple[str, str], start: str = _THIS, *, of_each: bool = False
) -> str:
    near, far = way
    in_kept = {"batch_id": "batch_id", "source_id": "stock_id"}
    words = {
        "near": near,
        "far": far,
        "kept_near": in_kept[near],
        "kept_far": in_kept[far],
        "fence": _FENCE[vendor],
        "something_went_in": SOMETHING_WENT_IN,
    }
    step = _STEP[vendor].format(went_in=_WENT_IN.format(**words), **words)
    columns, carried = ("root, id", "walked.root, ") if of_each else ("id", "")
    return _WALK.format(
        columns=columns, start=start, carried=carried, far=far, step=step
    )


def _ids(way: tuple[str, str], start: str = _THIS) -> Callable[[str], str]:
    return lambda vendor: _walk(vendor, way, start) + _IDS


def _all(way: tuple[str, str]) -> Callable[[str], str]:
    return lambda vendor: _ids(way, f"SELECT value FROM {_GIVEN[vendor]}")(vendor)  # noqa: S608


def _each(way: tuple[str, str]) -> Callable[[str], str]:
    def text(vendor: str) -> str:
        start = f"SELECT value, value FROM {_GIVEN[vendor]}"  # noqa: S608
        return _walk(vendor, way, start, of_each=True) + _PAIRS

    return text


def _forwards(tail: dict[str, str]) -> Callable[[str], str]:
    return lambda vendor: _tail(tail, vendor, _walk(vendor, _FORWARDS))


def _of_many(vendor: str) -> str:
    start = f"SELECT value FROM {_GIVEN[vendor]}"  # noqa: S608
    return _tail(_BOTTLES, vendor, _walk(vendor, _FORWARDS, start), _ALONE[vendor])


def _tail(tail: dict[str, str], vendor: str, walk: str, alone: str = "") -> str:
    words = {"walk": walk, "fence": _FENCE[vendor], "alone": alone}
    made = _MADE.format(**words) + (alone if vendor == "postgresql" else "")
    return tail[vendor].format(made=made, **words)


QUESTIONS: dict[str, Callable[[str], str]] = {
    "upstream": _ids(_BACK),
    "upstream of a bottle": _ids(_BACK, _OF_THE_BOTTLE),
    "upstream of each": _each(_BACK),
    "downstream": _ids(_FORWARDS),
    "downstream of all": _all(_FORWARDS),
    "downstream of each": _each(_FORWARDS),
    "bottle count": _forwards(_COUNT),
    "bottles": _forwards(_BOTTLES),
    "bottles among": _of_many,
}
