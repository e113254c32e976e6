"""The genealogy both ways, to any depth, in set-based queries.

A raw lot and a batch are nodes with one kind of number (see ``producer.Stock``), so
one recursive query over one narrow table walks through dilution, blend and rework
alike. UNION drops a node met twice, so even a loop, which cannot arise, would end.
"""

from __future__ import annotations

import dataclasses

from django.db import connection, models

from batches.models import Batch, Bottle, Input
from producer.models import RawLot, Stock

# CROSS JOIN fixes the join order on SQLite; PostgreSQL reads it as a plain join.
_UPSTREAM = """
WITH RECURSIVE up(id) AS (
  VALUES (CAST(%s AS bigint))
  UNION
  SELECT edge.source_id FROM up CROSS JOIN batches_input AS edge
  WHERE edge.batch_id = up.id AND edge.mass_mg > 0
)
SELECT id FROM up
"""
_DOWNSTREAM = """
WITH RECURSIVE down(id) AS (
  VALUES (CAST(%s AS bigint))
  UNION
  SELECT edge.batch_id FROM down CROSS JOIN batches_input AS edge
  WHERE edge.source_id = down.id AND edge.mass_mg > 0
)
SELECT id FROM down
"""


@dataclasses.dataclass(frozen=True, kw_only=True)
class Genealogy:
    """Everything connected with one stock in one direction, itself included.

    ``edges`` are (source id, batch id, milligrams) between those stocks.
    """

    root: Stock
    lots: list[RawLot]
    batches: list[Batch]
    edges: list[tuple[int, int, int]]

    @property
    def names(self) -> dict[int, tuple[str, str]]:
        """Code and what it is of, by id."""
        names = {lot.pk: (lot.code, lot.material.name) for lot in self.lots}
        names.update(
            {
                batch.pk: (batch.number, batch.formula_version.formula.name)
                for batch in self.batches
            }
        )
        return names

    @property
    def batch_ids(self) -> list[int]:
        """The ids of the batches."""
        return [batch.pk for batch in self.batches]


def upstream_ids(stock_id: int) -> list[int]:
    """Return the ids of all stocks that went into a stock, itself included."""
    return _ids(_UPSTREAM, stock_id)


def downstream_ids(stock_id: int) -> list[int]:
    """Return the ids of all stocks that a stock went into, itself included."""
    return _ids(_DOWNSTREAM, stock_id)


def trace(root: Stock) -> Genealogy:
    """Walk backwards: what a batch was made from, down to the raw lots."""
    return _genealogy(root, upstream_ids(root.pk))


def track(root: Stock) -> Genealogy:
    """Walk forwards: which batches a lot or batch went into."""
    return _genealogy(root, downstream_ids(root.pk))


def bottles_of(batch_ids: list[int]) -> models.QuerySet[Bottle]:
    """Return the bottles filled from these batches, in order of filling."""
    return (
        Bottle.objects.listed()
        .filter(filling_lot__batch_id__in=batch_ids)
        .order_by("filling_lot_id", "number")
    )


def _ids(sql: str, stock_id: int) -> list[int]:
    with connection.cursor() as cursor:
        cursor.execute(sql, [stock_id])
        return [row[0] for row in cursor.fetchall()]


def _genealogy(root: Stock, ids: list[int]) -> Genealogy:
    return Genealogy(
        root=root,
        lots=list(RawLot.objects.listed().filter(pk__in=ids).order_by("pk")),
        batches=list(Batch.objects.listed().filter(pk__in=ids).order_by("pk")),
        edges=list(
            Input.objects.filter(batch_id__in=ids, source_id__in=ids, mass_mg__gt=0)
            .order_by("batch_id", "source_id")
            .values_list("source_id", "batch_id", "mass_mg")
        ),
    )
