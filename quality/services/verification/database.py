"""The database itself: whole, with our tables, rules and triggers, and no others.

A trigger or a rule that is gone changes no row yet; it opens the way to it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from django.apps import apps
from django.db import connection, models

from producer.append_only import expected_triggers, live_triggers

OTHER_TABLES = {"django_migrations", "sqlite_sequence"}
# A unique rule of a part of the rows, or made later, is an index of this name.
_RULES_OF_SQLITE = "SELECT tbl_name, sql FROM sqlite_master WHERE sql IS NOT NULL"
_NAMED_RULE = re.compile(r'(?:CONSTRAINT|UNIQUE INDEX) "(\w+)"')
_RULES_OF_POSTGRESQL = """
SELECT relname, conname FROM pg_constraint
JOIN pg_class ON pg_class.oid = conrelid WHERE pg_table_is_visible(conrelid)
UNION ALL
SELECT tablename, indexname FROM pg_indexes WHERE schemaname = current_schema()
"""
MOST_SHOWN = 20  # sentences of SQLite about one damaged file


def count() -> int:
    """Return how many tables there are."""
    return len(connection.introspection.table_names())


def faults() -> Iterator[str]:
    """Yield a fault for each table, rule or trigger that is not as it was made."""
    yield from _table_faults()
    yield from _rule_faults()
    yield from _trigger_faults()
    if connection.vendor == "sqlite":
        yield from _file_faults()


def _table_faults() -> Iterator[str]:
    ours = {model._meta.db_table for model in _models()} | OTHER_TABLES
    with connection.cursor() as cursor:
        there = connection.introspection.table_names(cursor, include_views=True)
    for name in sorted(set(there) - ours):
        yield f"There is a table or view “{name}”, which Kettlebook did not make."


def _rule_faults() -> Iterator[str]:
    """Yield a fault for each constraint of a model that the database does not have."""
    sqlite = connection.vendor == "sqlite"
    with connection.cursor() as cursor:
        cursor.execute(_RULES_OF_SQLITE if sqlite else _RULES_OF_POSTGRESQL)
        there = {
            (table, name)
            for table, text in cursor.fetchall()
            for name in (_NAMED_RULE.findall(text) if sqlite else [text])
        }
    for model in _models():
        table = model._meta.db_table
        for rule in model._meta.constraints:
            if (table, rule.name) not in there:
                yield f"The rule “{rule.name}” of the table {table} is gone."


def _trigger_faults() -> Iterator[str]:
    vendor = connection.vendor
    with connection.cursor() as cursor:
        live = live_triggers(cursor, vendor)
    for model in _models():
        if not getattr(model, "append_only", False):
            continue
        table = model._meta.db_table
        for name, text in expected_triggers(vendor, table).items():
            of, found = live.pop(name, ("", ""))
            if not found:
                yield (
                    f"The trigger {name} is gone: rows of {table} can be changed or"
                    " deleted by anybody who has the database."
                )
            elif (of, found) != (table, text):
                yield (
                    f"The trigger {name} is not the one Kettlebook made: it may let"
                    f" rows of {table} be changed or deleted. It says: {found}"
                )
    for name, (table, text) in sorted(live.items()):
        yield (
            f"There is a trigger {name} on {table}, which Kettlebook did not make. It"
            f" says: {text}"
        )


def _file_faults() -> Iterator[str]:
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA foreign_key_check")
        while row := cursor.fetchone():
            table, number, other, _ = row
            yield f"Row {number} of {table} refers to a row of {other} that is gone."
        cursor.execute(f"PRAGMA integrity_check({MOST_SHOWN})")
        for (said,) in cursor.fetchall():
            if said != "ok":
                yield f"SQLite says of its file: {said}."


def _models() -> list[type[models.Model]]:
    return [
        model
        for model in apps.get_models(include_auto_created=True)
        if model._meta.managed
    ]
