"""Which rows an act wrote, so that its journal row can say what they held.

Every row that is saved or deleted inside a transaction is noted; :func:`take` reads the
noted rows back and returns them as plain values. The journal keeps them with the act:
so no column of any table can be changed behind the program without a row of the chain
that says otherwise, and a row that no act wrote has no such row at all.

What a model names in ``personal`` is kept sealed: an HMAC-SHA256 (RFC 2104) with the
secret in its row's own column ``seal``. The row answers to the journal like any other;
once its data are erased and the seal is a new one, nobody can find out from the journal
what stood there, also not by trying every telephone number.

``bulk_create`` sends no signal, so services call :func:`create_all`. An ``update()`` of
columns that another check of ``verify`` derives needs no note.
"""

from __future__ import annotations

import datetime
import hashlib
import hmac
from collections.abc import Iterable
from decimal import Decimal
from pathlib import Path
from typing import Any, TypeVar

from django.apps import apps
from django.conf import settings
from django.db import DEFAULT_DB_ALIAS, connection, models, transaction
from django.db.models.signals import ModelSignal, post_delete, post_save
from django.dispatch import receiver

from producer.models.journal import GONE, WRITTEN, JournalEntry, JournalHead, canonical
from producer.models.stock import NumberSeries

# The journal proves itself; the last number of a series is no record of anything.
NOT_NOTED: frozenset[type[models.Model]] = frozenset(
    {JournalEntry, JournalHead, NumberSeries}
)
# The first changes with every sign-in, which is no act; the other is a secret.
SEAL = "seal"
NOT_KEPT = frozenset({"last_login", SEAL})
PASSWORD = "password"  # noqa: S105 - the name of a column
LONGEST = 200  # characters of a text that are kept as they are
PIECE = 500  # rows of a table that are read at a time
MOST = 1000  # rows that are created by one statement

Kind = TypeVar("Kind", bound=models.Model)


class _Mark:
    """A row that was written, as a thing to do at the commit: which is nothing.

    Django forgets what was to be done when a transaction or savepoint is rolled back,
    and the row is gone with it.
    """

    def __init__(self, model: type[models.Model], pk: Any, *, gone: bool) -> None:
        self.model, self.pk, self.gone = model, pk, gone

    def __call__(self) -> None:
        """Do nothing."""


class _Taken:
    """The rows noted up to here are in a journal row; gone too if that is undone."""

    def __call__(self) -> None:
        """Do nothing."""


def is_noted(model: type[models.Model]) -> bool:
    """Say whether rows of this model are noted: those of our own apps are."""
    if model._meta.apps is not apps or model in NOT_NOTED:
        return False  # a migration's model, or one that is left out
    if not getattr(model, "noted", True):
        return False  # a counter, which is no record
    return Path(model._meta.app_config.path).parent == settings.BASE_DIR


def note(row: models.Model, *, gone: bool = False) -> None:
    """Remember that this row was written, or deleted, in the running transaction."""
    transaction.on_commit(_Mark(type(row), row.pk, gone=gone))


def create_all(model: type[Kind], rows: Iterable[Kind]) -> list[Kind]:
    """Create many rows of one model at once, and note them."""
    made: list[Kind] = models.QuerySet[Kind](model).bulk_create(rows, batch_size=MOST)
    for row in made:
        note(row)
    return made


@receiver(post_save)
@receiver(post_delete)
def _noted(
    sender: type[models.Model],
    instance: models.Model,
    signal: ModelSignal,
    using: str,
    **_: Any,
) -> None:
    if using == DEFAULT_DB_ALIAS and is_noted(sender):
        note(instance, gone=signal is post_delete)


def is_pending() -> bool:
    """Say whether rows were noted that no act has taken yet."""
    return bool(_marks())


def _marks() -> list[_Mark]:
    marks = []
    for _, act, *_ in reversed(connection.run_on_commit):
        if isinstance(act, _Taken):
            break
        if isinstance(act, _Mark):
            marks.append(act)
    return marks


def take() -> dict[str, Any]:
    """Return what the rows noted since the last call hold now, for the journal."""
    marks = _marks()
    transaction.on_commit(_Taken())
    latest: dict[type[models.Model], dict[Any, bool]] = {}
    for mark in reversed(marks):
        latest.setdefault(mark.model, {})[mark.pk] = mark.gone
    written: dict[str, Any] = {}
    gone: dict[str, Any] = {}
    for model, states in latest.items():
        table = model._meta.db_table
        kept = [pk for pk, is_gone in states.items() if not is_gone]
        written |= rows_of(model, kept)
        lost = [pk for pk, is_gone in states.items() if is_gone]
        if lost:
            gone[table] = lost
    return {**({WRITTEN: written} if written else {}), **({GONE: gone} if gone else {})}


def rows_of(model: type[models.Model], keys: list[Any]) -> dict[str, Any]:
    """Return what these rows hold now, under the name of their table."""
    rows = _rows(model, keys)
    table = model._meta.db_table
    return {table: {"columns": columns(model), "rows": rows}} if rows else {}


def noted_models() -> list[type[models.Model]]:
    """Return the models whose rows the journal keeps."""
    return [model for model in apps.get_models() if is_noted(model)]


def columns(model: type[models.Model]) -> list[str]:
    """Return the names of the columns that are kept, the primary key first."""
    names = [field.attname for field in model._meta.concrete_fields]
    key = model._meta.pk.attname
    return [key, *(name for name in names if name != key and name not in NOT_KEPT)]


def plain(column: str, value: Any) -> Any:
    """Return a value of a column as plain JSON, the same on both engines.

    A long text and a password are kept by their SHA-256 alone, as an object, which no
    column can hold: a text that reads like it is another value.
    """
    if value is None or isinstance(value, int):
        return value
    if isinstance(value, Decimal):
        return f"{value:f}"
    if isinstance(value, datetime.datetime):
        return value.astimezone(datetime.UTC).isoformat(timespec="microseconds")
    if isinstance(value, list | dict):
        value = canonical(value)
    text = str(value)
    if column == PASSWORD or len(text) > LONGEST:
        return {"length": len(text), "sha256": _sha256(text)}
    return text


def personal(model: type[models.Model]) -> tuple[str, ...]:
    """Return the columns of a model that are kept sealed."""
    named: tuple[str, ...] = getattr(model, "personal", ())
    return named


def sealed(column: str, value: Any, seal: str) -> Any:
    """Return a value of a personal column as the journal keeps it.

    Nothing stays nothing, and a row from before there were seals is kept as it is.
    """
    if not seal or value in (None, ""):
        return plain(column, value)
    digest = hmac.new(seal.encode(), f"{column}:{value}".encode(), hashlib.sha256)
    return {"sealed": digest.hexdigest()}


def every(model: type[models.Model]) -> models.QuerySet[Any]:
    """Return all rows of a model, whatever its manager would leave out."""
    return models.QuerySet(model)


def _rows(model: type[models.Model], keys: list[Any]) -> list[list[Any]]:
    names = columns(model)
    found: list[list[Any]] = []
    for start in range(0, len(keys), PIECE):
        rows = every(model).filter(pk__in=keys[start : start + PIECE])
        found += [
            kept_values(model, names, row)
            for row in rows.order_by("pk").values_list(*names, *seal_of(model))
        ]
    return found


def seal_of(model: type[models.Model]) -> tuple[str, ...]:
    """Return the column with the seal, for a model that has one."""
    return (SEAL,) if personal(model) else ()


def kept_values(
    model: type[models.Model], names: list[str], row: tuple[Any, ...]
) -> list[Any]:
    """Return the values of a row as the journal keeps them.

    ``row`` has the columns of ``names``, then that of :func:`seal_of`.
    """
    hidden = personal(model)
    seal = row[len(names)] if hidden else ""
    return [
        sealed(name, value, seal) if name in hidden else plain(name, value)
        for name, value in zip(names, row[: len(names)], strict=True)
    ]


def _sha256(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8")).hexdigest()
