"""Every row of every table, held against what the journal says its act wrote.

A journal row keeps the rows that its act wrote (``producer/written.py``). The newest
journal row that names a record must say what the record holds now. A record that no
journal row names was put there behind the program; one that is named and not there was
taken out. The columns in ``DERIVED`` move without being kept; another check compares
each of them with the rows they are derived from, which are kept.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any, NamedTuple

from django.apps import apps
from django.contrib.auth.hashers import get_hasher
from django.db import models

from batches.models import Batch, Bottle, Input
from producer.models import JournalEntry, RawLot, Stock
from producer.models.journal import GONE, WRITTEN
from producer.written import PASSWORD, columns, every, is_noted, plain, way_of
from quality.services.verification.checks import Remark, Tell
from quality.services.verification.numbers import Numbers
from quality.services.verification.places import place_of

PIECE = 500  # rows of a table that are compared at a time
# model → columns, and in the comment the check that answers for them
DERIVED: dict[type[models.Model], frozenset[str]] = {
    Stock: frozenset({"on_hand_mg"}),  # stock ledger
    RawLot: frozenset({"status", "frozen_by"}),  # states; recalls
    Batch: frozenset({"status"}),  # states
    Bottle: frozenset({"status", "consignee_id"}),  # states
    Input: frozenset({"mass_mg"}),  # charges and genealogy
}


class Kept(NamedTuple):
    """A row as a journal row keeps it."""

    sequence: int
    act: str
    label: str
    pk: Any
    values: dict[str, Any]


class _Table:
    """A table, which of its rows the journal has named, and those to be compared."""

    def __init__(self, model: type[models.Model]) -> None:
        self.model = model
        self.is_append_only = bool(getattr(model, "append_only", False))
        self.leaves_out = DERIVED.get(model, frozenset())
        self.columns = columns(model)
        self.named = Numbers()
        self.pending: list[Kept] = []

    def take(self, kept: Kept) -> Iterator[str]:
        """Compare a row later if no newer journal row has named it."""
        if self.named.add(kept.pk):
            self.pending.append(kept)
            if len(self.pending) == PIECE:
                yield from self.compare()
        elif self.is_append_only:
            yield (
                f"{_name(self.model, kept.pk)} is written once and never again, but"
                f" journal row {kept.sequence} is not the only one that wrote it."
            )

    def compare(self) -> Iterator[str]:
        """Yield a fault for each pending row that is gone or not what was kept."""
        pending, self.pending = self.pending, []
        found = {
            row[0]: row
            for row in every(self.model)
            .filter(pk__in=[kept.pk for kept in pending])
            .values_list(*self.columns)
        }
        for kept in pending:
            row = found.get(kept.pk)
            if row is None:
                yield (
                    f"{_name(self.model, kept.pk)} is gone; journal row"
                    f" {kept.sequence} ({kept.act}, {kept.label}) wrote it."
                )
                continue
            yield from self._differences(kept, row)

    def _differences(self, kept: Kept, row: tuple[Any, ...]) -> Iterator[str]:
        # A column that a later version has added was not there to be kept.
        for column, value in zip(self.columns, row, strict=True):
            if column not in kept.values or column in self.leaves_out:
                continue
            now, then = plain(column, value), kept.values[column]
            if now != then:
                yield _difference(self.model, kept, column, now, then)

    def unknown(self, *, oldest_is_known: bool) -> Iterator[str]:
        """Yield a fault for each row that no journal row names.

        Without ``oldest_is_known`` the journal began before it kept rows: those below
        the lowest number it names are counted in a remark.
        """
        older, lowest = 0, self.named.lowest
        keys = every(self.model).order_by("pk").values_list("pk", flat=True)
        for pk in keys.iterator():
            if pk in self.named:
                continue
            if not oldest_is_known and (lowest is None or pk < lowest):
                older += 1
                continue
            row = every(self.model).get(pk=pk)
            yield (
                f"{_name(self.model, pk)}{place_of(row)} was not written by any act in"
                " the journal."
            )
        if older:
            yield Remark(
                f"{older} rows of “{self.model._meta.verbose_name_plural}” are from"
                " before the journal kept rows. They cannot be compared one by one."
            )


def count() -> int:
    """Return how many rows there are to compare."""
    return sum(every(model).count() for model in noted_models())


def noted_models() -> list[type[models.Model]]:
    """Return the models whose rows the journal keeps."""
    return [model for model in apps.get_models() if is_noted(model)]


def faults(tell: Tell) -> Iterator[str]:
    """Walk the journal from its end and yield a fault for each row that differs.

    Memory is bounded: what was named is kept as one bit a row.
    """
    tables = {model._meta.db_table: _Table(model) for model in noted_models()}
    entries = JournalEntry.objects.order_by("-sequence").values_list(
        "sequence", "act", "subject_label", "after"
    )
    keeps_rows = True
    for walked, (sequence, act, label, after) in enumerate(entries.iterator(2000)):
        tell(walked)
        # Walked to its oldest row, which says whether the journal began like this.
        keeps_rows = WRITTEN in after
        if keeps_rows or GONE in after:
            yield from _one_entry(tables, sequence, act, label, json.loads(after))
    for table in tables.values():
        yield from table.compare()
        yield from table.unknown(oldest_is_known=keeps_rows)


def _one_entry(
    tables: dict[str, _Table], sequence: int, act: str, label: str, after: Any
) -> Iterator[str]:
    for name, kept in after.get(WRITTEN, {}).items():
        if name in tables:  # a later version may do without a table
            for row in kept["rows"]:
                values = dict(zip(kept["columns"], row, strict=True))
                yield from tables[name].take(Kept(sequence, act, label, row[0], values))
    for name, keys in after.get(GONE, {}).items():
        for pk in keys:
            if name in tables and tables[name].named.add(pk):
                yield from _not_gone(tables[name].model, pk, sequence)


def _not_gone(model: type[models.Model], pk: Any, sequence: int) -> Iterator[str]:
    if every(model).filter(pk=pk).exists():
        yield f"{_name(model, pk)} is there, but journal row {sequence} deleted it."


def _difference(
    model: type[models.Model], kept: Kept, column: str, now: Any, then: Any
) -> str:
    name = _name(model, kept.pk)
    where = f"journal row {kept.sequence} ({kept.act}, {kept.label})"
    if column == PASSWORD:
        if _is_hashed_anew(str(now), str(then)):
            return Remark(
                f"The password of {name} is kept in a stronger way than {where} has it,"
                " as the program does when somebody signs in after an update."
            )
        return f"{name}: the password is not the one of {where}."
    label = column.removesuffix("_id").replace("_", " ")
    return f"{name}: {label} is {_said(now)}, but {where} wrote {_said(then)}."


def _is_hashed_anew(now: str, then: str) -> bool:
    """Say whether a password has the effort of this program, and had another."""
    way, former = now.partition(" ")[0], then.partition(" ")[0]
    return way != former and way == way_of(get_hasher().encode("x", "salt1234567890"))


def _said(value: Any) -> str:
    return "nothing" if value in (None, "") else str(value)


def _name(model: type[models.Model], pk: Any) -> str:
    words = str(model._meta.verbose_name)
    return f"{words[0].upper()}{words[1:]} {pk}"
