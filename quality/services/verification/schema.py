"""What the migrations made of each table: columns, rules and indexes, word by word.

A rule that keeps its name and lets everything pass changes no row yet. So each table of
ours is held against ``schema_sqlite.json`` or ``schema_postgresql.json`` beside this
module: what a fresh database looked like after all migrations. A test compares those
files with a fresh database, and says how to write them anew after a migration.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path

from django.db import connection

from producer.written import NOT_NOTED, noted_models
from quality.services.verification.checks import Remark

# “table what name” → what the database says of it
Parts = dict[str, str]
SERVER = "server"  # the key of its major version, beside the parts

_SQLITE = """
SELECT tbl_name, type, name, sql FROM sqlite_master
WHERE sql IS NOT NULL AND type IN ('table', 'index')
"""
# The index of a rule goes with the rule; since PostgreSQL 18 “n” repeats NOT NULL.
_POSTGRESQL = """
SELECT relname, 'rule', conname,
  pg_get_constraintdef(pg_constraint.oid)
FROM pg_constraint JOIN pg_class ON pg_class.oid = conrelid
WHERE contype IN ('c', 'u', 'p', 'f', 'x') AND pg_table_is_visible(conrelid)
UNION ALL
SELECT relname, 'column', attname, concat_ws(
  ' ', format_type(atttypid, atttypmod), CASE WHEN attnotnull THEN 'NOT NULL' END,
  nullif(attidentity::text, ''), pg_get_expr(adbin, adrelid)
)
FROM pg_attribute JOIN pg_class ON pg_class.oid = attrelid
LEFT JOIN pg_attrdef ON adrelid = attrelid AND adnum = attnum
WHERE attnum > 0 AND NOT attisdropped AND relkind = 'r'
  AND pg_table_is_visible(attrelid)
UNION ALL
SELECT pg_class.relname, 'index', of_index.relname,
  regexp_replace(pg_get_indexdef(indexrelid), ' ON \\S+ ', ' ')
FROM pg_index JOIN pg_class ON pg_class.oid = indrelid
JOIN pg_class of_index ON of_index.oid = indexrelid
WHERE pg_table_is_visible(indrelid)
  AND NOT EXISTS (SELECT 1 FROM pg_constraint WHERE conindid = indexrelid)
"""
_NAMED_RULE = re.compile(r'CONSTRAINT "(\w+)"')
_PIECES = re.compile(r', (?="|CONSTRAINT )')


def path() -> Path:
    """Return the file that says how the tables of this kind of database were made."""
    return Path(__file__).with_name(f"schema_{connection.vendor}.json")


def made_on() -> int:
    """Return the major version of the server that words its schema here; 0: no matter.

    PostgreSQL puts a rule in its own words, and another version may choose others.
    """
    if connection.vendor != "postgresql":
        return 0
    with connection.cursor() as cursor:
        cursor.execute("SHOW server_version_num")
        return int(cursor.fetchone()[0]) // 10_000


def live() -> Parts:
    """Return what the tables of ours are now, each part by table, kind and name."""
    with connection.cursor() as cursor:
        cursor.execute(_SQLITE if connection.vendor == "sqlite" else _POSTGRESQL)
        rows = cursor.fetchall()
    ours = {model._meta.db_table for model in [*noted_models(), *NOT_NOTED]}
    return {
        f"{table} {kind} {name}": " ".join(text.split())
        for table, kind, name, text in sorted(rows)
        if table in ours
    }


def expected() -> Parts:
    """Return what :func:`live` says of a fresh database after all migrations."""
    parts: Parts = json.loads(path().read_text("utf-8"))
    return parts


def write_down() -> None:
    """Write the file anew from this database, which must be a fresh one."""
    parts = {**live(), **({SERVER: str(made_on())} if made_on() else {})}
    path().write_text(json.dumps(parts, indent=1, sort_keys=True) + "\n", "utf-8")


def faults() -> Iterator[str]:
    """Yield a fault for each part that is gone or other than the migrations made it.

    On a PostgreSQL of another major version, one remark instead.
    """
    made = expected()
    server, here = made.pop(SERVER, "0"), str(made_on())
    if server != here:
        yield Remark(
            f"The rules of the tables are known in the words of PostgreSQL {server};"
            f" this is PostgreSQL {here}, so they were not compared."
        )
        return
    now = live()
    for key, then in made.items():
        table, kind, name = key.split(" ", 2)
        found = now.get(key)
        if found is None:
            yield _gone(table, kind, name)
        elif found != then and kind == "table":
            yield from _table_differs(table, found, then)
        elif found != then:
            yield (
                f"The {kind} “{name}” of the table {table} is not as Kettlebook made"
                f" it. It says: {found}"
            )
    for key in sorted(now.keys() - made.keys()):
        table, kind, name = key.split(" ", 2)
        if kind != "index":  # one more makes nothing pass
            yield (
                f"The table {table} has a {kind} “{name}”, which Kettlebook did not"
                " make."
            )


def _gone(table: str, kind: str, name: str) -> str:
    if kind == "table":
        return f"The table {table} is gone."
    what = "column" if kind == "column" else "rule"
    return f"The {what} “{name}” of the table {table} is gone."


def _table_differs(table: str, found: str, then: str) -> Iterator[str]:
    """Say of a table of SQLite which rules are gone, and what else is other."""
    names = _NAMED_RULE.findall(found)
    for name in _NAMED_RULE.findall(then):
        if name not in names:
            yield f"The rule “{name}” of the table {table} is gone."
    known = _PIECES.split(then)
    others = [piece for piece in _PIECES.split(found) if piece not in known]
    said = f" It says: {'; '.join(others)}" if others else ""
    yield f"The table {table} is not as Kettlebook made it.{said}"
