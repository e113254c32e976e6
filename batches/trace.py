"""The genealogy both ways, to any depth, in set-based queries.

A raw lot and a batch are nodes with one kind of number (see ``producer.Stock``), so
one recursive query over one narrow table walks through dilution, blend and rework
alike. UNION drops a node met twice, so even a loop, which cannot arise, would end.
"""

from __future__ import annotations

import dataclasses
from fractions import Fraction

from django.db import connection, models

from batches.lifecycle import BatchStatus
from batches.models import Batch, Bottle, Discrepancy, DiscrepancyEnd, Input
from batches.shares import Share, shares_of
from producer.models import RawLot, Stock

# What went in: a mass by the charges, or by an entry that the book could not take and
# of which nobody has said that it was another lot's.
# Nought otherwise is a charge that was taken back.
_WENT_IN = """(edge.mass_mg > 0 OR EXISTS (
    SELECT 1 FROM batches_discrepancy AS kept
    LEFT JOIN batches_discrepancyend AS settled ON settled.discrepancy_id = kept.id
    WHERE kept.batch_id = edge.batch_id AND kept.stock_id = edge.source_id
    AND (settled.outcome IS NULL OR settled.outcome <> 'entered')
  ))"""

# CROSS JOIN fixes the join order on SQLite; PostgreSQL reads it as a plain join.
_UPSTREAM = """
WITH RECURSIVE up(id) AS (
  VALUES (CAST(%s AS bigint))
  UNION
  SELECT edge.source_id FROM up CROSS JOIN batches_input AS edge
  WHERE edge.batch_id = up.id AND went_in
)
SELECT id FROM up
""".replace("went_in", _WENT_IN)
_DOWNSTREAM = """
WITH RECURSIVE down(id) AS (
  VALUES (CAST(%s AS bigint))
  UNION
  SELECT edge.batch_id FROM down CROSS JOIN batches_input AS edge
  WHERE edge.source_id = down.id AND went_in
)
SELECT id FROM down
""".replace("went_in", _WENT_IN)

# The same from several stocks at once, all together.
_DOWNSTREAM_OF_ALL = """
WITH RECURSIVE down(id) AS (
  SELECT stock.id FROM producer_stock AS stock WHERE stock.id IN ({})
  UNION
  SELECT edge.batch_id FROM down CROSS JOIN batches_input AS edge
  WHERE edge.source_id = down.id AND went_in
)
SELECT id FROM down
""".replace("went_in", _WENT_IN)

# The same from several stocks at once, each with what it went into.
_DOWNSTREAM_OF_EACH = """
WITH RECURSIVE down(root, id) AS (
  SELECT stock.id, stock.id FROM producer_stock AS stock WHERE stock.id IN ({})
  UNION
  SELECT down.root, edge.batch_id FROM down CROSS JOIN batches_input AS edge
  WHERE edge.source_id = down.id AND went_in
)
SELECT root, id FROM down
""".replace("went_in", _WENT_IN)

# Upstream from several stocks at once, each with what went into it.
_UPSTREAM_OF_EACH = """
WITH RECURSIVE up(root, id) AS (
  SELECT stock.id, stock.id FROM producer_stock AS stock WHERE stock.id IN ({})
  UNION
  SELECT up.root, edge.source_id FROM up CROSS JOIN batches_input AS edge
  WHERE edge.batch_id = up.id AND went_in
)
SELECT root, id FROM up
""".replace("went_in", _WENT_IN)


@dataclasses.dataclass(frozen=True, kw_only=True)
class Genealogy:
    """Everything connected with one stock in one direction, itself included.

    ``edges`` are (source id, batch id, milligrams) between those stocks; of nought
    where an entry kept on a device says that it went in and the book could not take it.
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


def downstream_of(stock_ids: list[int]) -> list[int]:
    """Return the ids of all stocks that any of these went into, themselves included."""
    if not stock_ids:
        return []
    places = ", ".join(["%s"] * len(stock_ids))
    with connection.cursor() as cursor:
        cursor.execute(_DOWNSTREAM_OF_ALL.format(places), stock_ids)
        return [row[0] for row in cursor.fetchall()]


def downstream_of_each(stock_ids: list[int]) -> dict[int, set[int]]:
    """Return the ids of all that each of these stocks went into, itself included.

    One query, however many stocks.
    """
    if not stock_ids:
        return {}
    places = ", ".join(["%s"] * len(stock_ids))
    with connection.cursor() as cursor:
        cursor.execute(_DOWNSTREAM_OF_EACH.format(places), stock_ids)
        pairs: list[tuple[int, int]] = cursor.fetchall()
    found: dict[int, set[int]] = {}
    for root, stock_id in pairs:
        found.setdefault(root, set()).add(stock_id)
    return found


def blocked(stock_ids: list[int]) -> dict[int, list[str]]:
    """Return, for stocks with something in them that blocks a release, what that is.

    Raw lots on hold or rejected and batches on hold, rejected or disposed of, at any
    depth, each as “L26-1-1 is on hold”. Three queries, however many stocks.
    """
    if not stock_ids:
        return {}
    places = ", ".join(["%s"] * len(stock_ids))
    with connection.cursor() as cursor:
        cursor.execute(_UPSTREAM_OF_EACH.format(places), stock_ids)
        pairs: list[tuple[int, int]] = cursor.fetchall()
    ids = {source_id for root, source_id in pairs if source_id != root}
    lots = RawLot.objects.filter(
        pk__in=ids, status__in=[RawLot.Status.ON_HOLD, RawLot.Status.REJECTED]
    )
    batches = Batch.objects.filter(
        pk__in=ids,
        status__in=[BatchStatus.ON_HOLD, BatchStatus.REJECTED, BatchStatus.DISPOSED],
    )
    words = {
        row.pk: f"{row.stock.code} in it is {row.get_status_display()}"
        for rows in (lots, batches)
        for row in rows.select_related("stock")
    }
    found: dict[int, list[str]] = {}
    for root, source_id in sorted(pairs):
        if source_id in words and source_id != root:
            found.setdefault(root, []).append(words[source_id])
    return found


def trace(root: Stock) -> Genealogy:
    """Walk backwards: what a batch was made from, down to the raw lots."""
    return _genealogy(root, upstream_ids(root.pk))


def track(root: Stock) -> Genealogy:
    """Walk forwards: which batches a lot or batch went into."""
    return _genealogy(root, downstream_ids(root.pk))


def shares(found: Genealogy) -> dict[int, Share]:
    """Return what part of each batch is of the root, by what went in. One query.

    ``found`` is what the root went into, see :func:`track`.
    """
    went_in = Input.objects.filter(batch_id__in=found.batch_ids, mass_mg__gt=0)
    kept = [edge for edge in found.edges if not edge[2]]
    drawn = went_in.order_by().values_list("source_id", "batch_id", "mass_mg")
    return {
        # A batch may have lost its last charge of it since it was found.
        **{pk: Share(least=Fraction(0)) for pk in found.batch_ids},
        **shares_of(found.root.pk, [*drawn, *kept]),
    }


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
    kept = Discrepancy.objects.filter(
        batch_id=models.OuterRef("batch_id"), stock_id=models.OuterRef("source_id")
    ).exclude(end__outcome=DiscrepancyEnd.Outcome.ENTERED)
    return Genealogy(
        root=root,
        lots=list(RawLot.objects.listed().filter(pk__in=ids).order_by("pk")),
        batches=list(Batch.objects.listed().filter(pk__in=ids).order_by("pk")),
        edges=list(
            Input.objects.filter(batch_id__in=ids, source_id__in=ids)
            .filter(models.Q(mass_mg__gt=0) | models.Exists(kept))
            .order_by("batch_id", "source_id")
            .values_list("source_id", "batch_id", "mass_mg")
        ),
    )
