"""Threads with connections of their own, and ways behind the program's back."""

from __future__ import annotations

import contextlib
import hashlib
import threading
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from typing import Any, TypeVar

from django.apps import apps
from django.db import connection, connections, models, transaction

from producer.models.journal import canonical

T = TypeVar("T")
PATIENCE = 30  # seconds until a test says that its threads hang


@contextlib.contextmanager
def rolled_back() -> Iterator[None]:
    """Undo in the end whatever is done inside."""
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


def our_models() -> list[type[models.Model]]:
    """Return every model of the three apps."""
    return [
        model
        for app in ("producer", "batches", "quality")
        for model in apps.get_app_config(app).get_models()
    ]


def append_only_models() -> list[type[models.Model]]:
    """Return the models that say their rows are never changed."""
    return [model for model in our_models() if getattr(model, "append_only", False)]


def row_counts() -> Mapping[str, int]:
    """Return how many rows each of our tables has."""
    return {model._meta.label: model._default_manager.count() for model in our_models()}


def row_values() -> dict[str, str]:
    """Return a digest of all that each of our tables holds, every value of every row.

    The same on both engines. When an account last came in is left out: Django notes
    it by itself.
    """
    return {model._meta.label: _digest(model) for model in our_models()}


def _digest(model: type[models.Model]) -> str:
    names = [
        field.attname
        for field in model._meta.concrete_fields
        if field.name != "last_login"
    ]
    rows = [
        # Objects as canonical text: PostgreSQL gives their keys in another order.
        [None if value is None else _text(value) for value in row]
        for row in model._base_manager.order_by("pk").values_list(*names)
    ]
    return hashlib.sha256(repr(rows).encode()).hexdigest()


def _text(value: Any) -> str:
    return canonical(value) if isinstance(value, dict) else str(value)


def run(sql: str, *params: Any) -> int:
    """Run SQL past every model and service; return the number of rows it touched."""
    with connection.cursor() as cursor:
        cursor.execute(sql, params or None)
        touched: int = cursor.rowcount
    return touched


def query(sql: str, *params: Any) -> list[tuple[Any, ...]]:
    """Run SQL and return its rows."""
    with connection.cursor() as cursor:
        cursor.execute(sql, params or None)
        return list(cursor.fetchall())


@contextlib.contextmanager
def without_triggers() -> Iterator[None]:
    """Lift the triggers of the append-only tables, then put them back.

    What somebody with the database file and no manners can do.
    """
    if connection.vendor == "postgresql":
        tables = [model._meta.db_table for model in append_only_models()]
        # Rows not yet checked against their foreign keys forbid ALTER TABLE.
        run("SET CONSTRAINTS ALL IMMEDIATE")
        for table in tables:
            run(f'ALTER TABLE "{table}" DISABLE TRIGGER USER')
        yield
        for table in tables:
            run(f'ALTER TABLE "{table}" ENABLE TRIGGER USER')
        run("SET CONSTRAINTS ALL DEFERRED")
        return
    triggers = query("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
    for name, _ in triggers:
        run(f'DROP TRIGGER "{name}"')
    yield
    for _, sql in triggers:
        run(sql)


def together(*acts: Callable[[], T]) -> list[T | Exception]:
    """Start all acts at once, each on its own thread; return what came of each."""
    gate = threading.Barrier(len(acts))

    def act_in_thread(act: Callable[[], T]) -> T | Exception:
        gate.wait(timeout=PATIENCE)
        return outcome(act)

    with ThreadPoolExecutor(len(acts)) as pool:
        return list(pool.map(act_in_thread, acts))


def while_uncommitted(
    first: Callable[[], T], second: Callable[[], T], *, pause: float = 0.3
) -> tuple[T | Exception, T | Exception]:
    """Start ``second`` when ``first`` has done its work but has not committed yet.

    The order that hurts most, without luck: ``second`` sees the state before
    ``first`` and must wait for its locks.
    """
    done = threading.Event()

    def slow() -> T | Exception:
        def body() -> T:
            with transaction.atomic():
                result = first()
                done.set()
                threading.Event().wait(pause)
                return result

        try:
            return outcome(body)
        finally:
            done.set()

    def late() -> T | Exception:
        done.wait(timeout=PATIENCE)
        return outcome(second)

    with ThreadPoolExecutor(2) as pool:
        ahead, behind = pool.submit(slow), pool.submit(late)
        return ahead.result(PATIENCE), behind.result(PATIENCE)


def outcome(act: Callable[[], T]) -> T | Exception:
    """Return what ``act`` returns or raises, and close the thread's connections."""
    try:
        return act()
    except Exception as error:  # noqa: BLE001 - handed to the test, which looks at it
        return error
    finally:
        connections.close_all()
