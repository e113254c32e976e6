"""What a table of an export is made of."""

from __future__ import annotations

import dataclasses
import datetime
from collections.abc import Callable, Iterable
from decimal import Decimal

from batches.models import (
    Batch,
    ContainerWeighing,
    Cost,
    LabelCount,
    PatchTest,
    Portion,
    SprayMix,
)
from batches.services.entries import Entry

Cell = str | int | bool | Decimal | datetime.date | datetime.datetime | None
Row = tuple[Cell, ...]
# Columns that every row has which can be corrected, and those of the others.
HAND = (
    "id",
    "supersedes",
    "is_taken_back",
    "reason",
    "observed_at",
    "entered_at",
    "entered_by",
)
WHEN = ("observed_at", "entered_at", "entered_by")


@dataclasses.dataclass(frozen=True, kw_only=True)
class Table:
    """A table: what it is about, its columns, and its rows of one batch.

    The first column is always the batch, and units stand in the names of columns.
    """

    name: str
    about: str
    head: tuple[str, ...]
    rows: Callable[[Batch], Iterable[Row]]


def hand(
    row: Entry | ContainerWeighing | Cost | LabelCount | PatchTest | Portion | SprayMix,
) -> Row:
    """Return who entered a row and when, and what it corrects and why."""
    return (
        row.pk,
        row.supersedes_id,
        row.is_void,
        row.reason,
        row.observed_at,
        row.entered_at,
        row.entered_by.person.name,
    )
