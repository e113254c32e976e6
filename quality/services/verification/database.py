"""The database itself: whole, with our tables, rules and triggers, and no others.

A trigger or a rule that is gone changes no row yet; it opens the way to it.
"""

from __future__ import annotations

from collections.abc import Iterator

from django.apps import apps
from django.db import connection, models

from producer.append_only import expected_triggers, live_triggers
from producer.models import JournalEntry
from producer.written import noted_models
from quality.services.verification import schema, stored

OTHER_TABLES = {"django_migrations", "sqlite_sequence"}
MOST_SHOWN = 20  # sentences of SQLite about one damaged file


def count() -> int:
    """Return how many tables there are."""
    return len(connection.introspection.table_names())


def faults() -> Iterator[str]:
    """Yield a fault for each table, rule or trigger that is not as it was made."""
    yield from _table_faults()
    yield from schema.faults()
    yield from _trigger_faults()
    if connection.vendor == "sqlite":
        yield from stored.faults([*noted_models(), JournalEntry])
        yield from _file_faults()


def _table_faults() -> Iterator[str]:
    ours = {model._meta.db_table for model in _models()} | OTHER_TABLES
    with connection.cursor() as cursor:
        there = connection.introspection.table_names(cursor, include_views=True)
    for name in sorted(set(there) - ours):
        yield f"There is a table or view “{name}”, which Kettlebook did not make."


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
