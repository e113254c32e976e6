"""Every row of every table, held against what the journal says its act wrote.

A journal row keeps the rows that its act wrote (``producer/written.py``). The newest
journal row that names a record must say what the record holds now. A record that no
journal row names was put there behind the program; one that is named and not there was
taken out. The columns in ``DERIVED`` move without being kept; another check compares
each of them with the rows they are derived from, which are kept.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from typing import Any, NamedTuple

from django.db import models

from batches.models import Batch, Bottle, Input
from producer import baseline
from producer.models import JournalEntry, RawLot, Stock
from producer.models.journal import GONE, WRITTEN
from producer.written import (
    PASSWORD,
    columns,
    every,
    kept_values,
    noted_models,
    personal,
    plain,
    seal_of,
)
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
            .values_list(*self.columns, *seal_of(self.model))
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
        values = kept_values(self.model, self.columns, row)
        hidden = personal(self.model)
        for column, raw, now in zip(self.columns, row, values, strict=False):
            # A column that a later version has added was not there to be kept.
            if column not in kept.values or column in self.leaves_out:
                continue
            then = kept.values[column]
            if column in hidden and not isinstance(then, dict):
                now = plain(column, raw)  # noqa: PLW2901 - kept before there were seals
            if now != then:
                yield _difference(self.model, kept, column, now, then)

    def unknown(self) -> Iterator[Any]:
        """Yield the keys of the rows that no journal row names."""
        keys = every(self.model).order_by("pk").values_list("pk", flat=True)
        return (pk for pk in keys.iterator() if pk not in self.named)

    def unknown_faults(self) -> Iterator[str]:
        """Yield a fault for each row that no journal row names."""
        for pk in self.unknown():
            row = every(self.model).get(pk=pk)
            yield (
                f"{_name(self.model, pk)}{place_of(row)} was not written by any act in"
                " the journal."
            )


def count() -> int:
    """Return how many rows there are to compare."""
    return sum(every(model).count() for model in noted_models())


def faults(tell: Tell) -> Iterator[str]:
    """Walk the journal from its end and yield a fault for each row that differs.

    Memory is bounded: what was named is kept as one bit a row.
    """
    tables = {model._meta.db_table: _Table(model) for model in noted_models()}
    entries = JournalEntry.objects.order_by("-sequence").values_list(
        "sequence", "act", "subject_label", "after"
    )
    for walked, (sequence, act, label, after) in enumerate(entries.iterator(2000)):
        tell(walked)
        if WRITTEN in after or GONE in after:
            yield from _one_entry(tables, sequence, act, label, json.loads(after))
    is_waiting = baseline.is_needed()
    for table in tables.values():
        yield from table.compare()
        if not is_waiting:
            yield from table.unknown_faults()
    if is_waiting:
        yield from _not_compared(tables.values())
    yield from _kept_as_they_stood()


def _not_compared(tables: Iterable[_Table]) -> Iterator[Remark]:
    """Count the rows of an older version that nothing was kept of yet."""
    counts = {
        str(table.model._meta.verbose_name_plural): sum(1 for _ in table.unknown())
        for table in tables
    }
    each = [f"{count} {name}" for name, count in counts.items() if count]
    if each:
        yield Remark(
            f"{sum(counts.values())} rows cannot be compared one by one"
            f" ({', '.join(each)}): the journal began before it kept rows, and a forged"
            " row among them would not be found. Start “serve” once: it writes them"
            " into the journal as they stand, and from then on each is compared."
        )


def _kept_as_they_stood() -> Iterator[Remark]:
    first = baseline.rows().first()
    if first is not None:
        yield Remark(
            f"The rows of an older version were written into the journal as they stood"
            f" on {first.at:%Y-%m-%d}, from row {first.sequence} on. What was changed"
            " behind the program before that cannot be found by comparing rows."
        )


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
        return f"{name}: the password is not the one of {where}."
    label = column.removesuffix("_id").replace("_", " ")
    return f"{name}: {label} is {_said(now)}, but {where} wrote {_said(then)}."


def _said(value: Any) -> str:
    if isinstance(value, dict) and "sealed" in value:
        return f"sealed data {value['sealed'][:16]}…"
    if isinstance(value, dict):
        return f"a text of {value['length']} characters, SHA-256 {value['sha256']}"
    return "nothing" if value in (None, "") else str(value)


def _name(model: type[models.Model], pk: Any) -> str:
    words = str(model._meta.verbose_name)
    return f"{words[0].upper()}{words[1:]} {pk}"
