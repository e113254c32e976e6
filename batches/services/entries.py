"""All that was entered in one batch, each table asked once.

For a page or a signature that looks at the same rows from many sides: it makes one of
these, passes it along, and throws it away.
"""

from __future__ import annotations

import datetime
from collections.abc import Collection, Iterable, Iterator, Mapping
from functools import cached_property
from itertools import chain
from typing import Protocol, TypeVar

from django.db import models

from batches.models import (
    Batch,
    BulkWeighing,
    Charge,
    HoldPoint,
    LiquidReading,
    Loss,
    Reading,
    Titration,
    Transcription,
    WeighingStart,
)

Entry = (
    Charge
    | Reading
    | BulkWeighing
    | Loss
    | Titration
    | HoldPoint
    | WeighingStart
    | LiquidReading
)
OnPaper = Charge | Reading | BulkWeighing | Loss | HoldPoint | WeighingStart


class Chained(Protocol):
    """A row of any kind that a newer one may supersede, also of a higher app."""

    @property
    def pk(self) -> int:
        """Its key; keys count up as rows are entered."""

    @property
    def supersedes_id(self) -> int | None:
        """The key of the row it corrects or takes back, or None."""

    @property
    def is_void(self) -> bool:
        """Say whether it takes that one back."""


Row = TypeVar("Row", bound=Chained)
Table = TypeVar("Table", bound=models.Model)
WHO = ("entered_by__person", "superseded_by")
# The paper sheet that an entry was copied from, with its photograph.
PAPER = "transcription__attachment"


def first_keys(rows: Iterable[Row]) -> dict[int, int]:
    """Return by the key of each row that of the first one of its chain of corrections.

    ``rows`` are all of a kind, superseded ones too.
    """
    first: dict[int, int] = {}
    for row in sorted(rows, key=lambda row: row.pk):
        former = row.supersedes_id
        first[row.pk] = row.pk if former is None else first.get(former, former)
    return first


def standing(rows: Iterable[Row]) -> list[Row]:
    """Return the rows that nothing supersedes and that take nothing back, in turn.

    In the order in which each was first entered: a correction keeps the place of what
    it corrects, else correcting an old result would make it the last one. ``rows`` are
    all of a kind, superseded ones too.
    """
    rows = list(rows)
    first = first_keys(rows)
    superseded = {row.supersedes_id for row in rows}
    found = [row for row in rows if row.pk not in superseded and not row.is_void]
    return sorted(found, key=lambda row: first[row.pk])


class Entries:
    """The rows of a batch, superseded ones too, in the order of entry.

    With ``only`` the rows of these ids, by the names of the properties below: what
    stood when they were all there was, such as under a signature.
    """

    def __init__(
        self, batch: Batch, *, only: Mapping[str, Collection[int]] | None = None
    ) -> None:
        self.batch = batch
        self._only = only

    def _rows(self, name: str, rows: models.QuerySet[Table]) -> list[Table]:
        if self._only is not None:
            rows = rows.filter(pk__in=self._only.get(name, ()))
        return list(rows.order_by("pk"))

    @cached_property
    def charges(self) -> list[Charge]:
        """What was weighed in."""
        rows = Charge.objects.filter(batch=self.batch).select_related(
            "source__lot__material",
            "source__lot__supplier",
            "line__material",
            "scale",
            "certificate",
            "container__lot__stock",
            "portion__batch__stock",
            "vessel",
            PAPER,
            *WHO,
        )
        return self._rows("charges", rows)

    @cached_property
    def readings(self) -> list[Reading]:
        """What was read."""
        rows = Reading.objects.filter(batch=self.batch)
        return self._rows("readings", rows.select_related("instrument", PAPER, *WHO))

    @cached_property
    def weighings(self) -> list[BulkWeighing]:
        """What came out, on the scale."""
        rows = BulkWeighing.objects.filter(batch=self.batch)
        return self._rows(
            "weighings", rows.select_related("scale", "vessel", PAPER, *WHO)
        )

    @cached_property
    def losses(self) -> list[Loss]:
        """What was lost."""
        rows = Loss.objects.filter(batch=self.batch)
        return self._rows("losses", rows.select_related(PAPER, *WHO))

    @cached_property
    def titrations(self) -> list[Titration]:
        """What was titrated, with its samples."""
        rows = Titration.objects.filter(stock_id=self.batch.pk)
        rows = rows.select_related("scale", "indicator", *WHO).prefetch_related(
            "replicates"
        )
        return self._rows("titrations", rows)

    @cached_property
    def liquid_readings(self) -> list[LiquidReading]:
        """Hardness of the water and density, as they were measured."""
        rows = LiquidReading.objects.filter(batch=self.batch)
        return self._rows("liquid_readings", rows.select_related("instrument", *WHO))

    @cached_property
    def hold_points(self) -> list[HoldPoint]:
        """What was looked at before the first charge, and later."""
        rows = HoldPoint.objects.filter(batch=self.batch).select_related(
            "scale", "tare__vessel", "tare__scale", PAPER, *WHO
        )
        return self._rows("hold_points", rows)

    @cached_property
    def starts(self) -> list[WeighingStart]:
        """The weighings that were begun: finished, open, or taken back."""
        rows = WeighingStart.objects.filter(batch=self.batch).select_related(
            "source__lot__material",
            "scale",
            "container__lot__stock",
            "vessel",
            PAPER,
            *WHO,
        )
        return self._rows("starts", rows)

    @property
    def open_starts(self) -> list[WeighingStart]:
        """The weighings that were begun, and neither finished nor taken back."""
        finished = {row.start_id for row in self.charges}
        return [row for row in standing(self.starts) if row.pk not in finished]

    @cached_property
    def sheets(self) -> list[Transcription]:
        """The paper sheets that entries of it were copied from."""
        used = {row.transcription_id for row in self.on_paper if row.transcription_id}
        rows = Transcription.objects.filter(pk__in=used)
        return list(
            rows.select_related("attachment", "entered_by__person").order_by("pk")
        )

    @property
    def on_paper(self) -> list[OnPaper]:
        """Every row that was copied from a sheet."""
        rows: Iterable[OnPaper] = chain(
            self.hold_points,
            self.starts,
            self.charges,
            self.readings,
            self.weighings,
            self.losses,
        )
        return [row for row in rows if row.transcription_id is not None]

    @cached_property
    def standing_charges(self) -> list[Charge]:
        """The charges that count."""
        return standing(self.charges)

    @property
    def weighing(self) -> BulkWeighing | None:
        """The weighing of what came out that counts, or None."""
        return next(iter(standing(self.weighings)), None)

    def __iter__(self) -> Iterator[Entry]:
        """Yield every row of every kind."""
        return chain(
            self.hold_points,
            self.starts,
            self.charges,
            self.readings,
            self.weighings,
            self.losses,
            self.titrations,
            self.liquid_readings,
        )

    @property
    def last_at(self) -> datetime.datetime:
        """When something was last entered in the batch."""
        return max([self.batch.entered_at, *(row.entered_at for row in self)])
