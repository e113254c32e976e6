"""What the book said at a time: the walk over charges as they stood then.

A lot number is misread, a notice is sent, and a month later the charge is corrected to
the lot that it was. The genealogy then tells the truth; this tells what was believed,
so that who was alarmed for nothing can be told so. The edges of the genealogy keep no
history, the charges and the entries kept do: each row knows when it was entered, and by
which later row it was superseded.
"""

from __future__ import annotations

import dataclasses
import datetime
import functools
from typing import cast

from django.db import connections
from django.db.models import F, Q

from batches.models import Batch, Charge
from batches.trace.walks import SOMETHING_WENT_IN
from producer import reads
from producer.models import Stock, User

# Charges that stood then: entered, not taken back, which is a mass of nought, and not
# superseded yet. All is compared with the walk, which carries the time and a milligram
# along, or SQLite would read a whole table to filter it; see ``walks``.
_CHARGED = """
  SELECT charge.batch_id{carried} FROM {walked} batches_charge AS charge
  WHERE charge.source_id = walked.id AND charge.entered_at <= walked.at
  AND charge.net_mg >= walked.least AND NOT EXISTS (
    SELECT 1 FROM batches_charge AS later
    WHERE later.supersedes_id = charge.id AND later.entered_at <= walked.at
  )"""
# Entries that the book could not take, as they were known then. One that would have
# made a loop never came into the genealogy; an edge that is gone since was taken out
# because nothing had gone in.
_KEPT = """
  SELECT kept.batch_id{carried} FROM {walked} batches_discrepancy AS kept
  WHERE kept.stock_id = walked.id AND kept.entered_at <= walked.at
  AND NOT EXISTS (
    SELECT 1 FROM batches_discrepancyend AS settled
    WHERE settled.discrepancy_id = kept.id AND settled.entered_at <= walked.at
    AND (settled.outcome = 'entered' OR NOT {something_went_in})
  )
  AND (EXISTS (
    SELECT 1 FROM batches_input AS edge
    WHERE edge.batch_id = kept.batch_id AND edge.source_id = walked.id
  ) OR EXISTS (
    SELECT 1 FROM batches_discrepancyend AS settled
    WHERE settled.discrepancy_id = kept.id AND kept.stock_id = walked.id
    AND NOT {something_went_in}
  ))"""
_START = """
WITH RECURSIVE walked(id, at, least) AS (
  VALUES (CAST(%(asked)s AS bigint), CAST(%(at)s AS {time}), 1) UNION"""
_END = ") SELECT id FROM walked"
# SQLite has no LATERAL and takes two recursive terms; PostgreSQL takes one, and is held
# to its indices as in ``walks``.
_TEXT = {
    "sqlite": "{start} {charged} UNION {kept} {end}",
    "postgresql": (
        "{start} SELECT found.batch_id, walked.at, walked.least"
        " FROM walked CROSS JOIN LATERAL ("
        " ({charged} OFFSET 0) UNION ALL ({kept} OFFSET 0)) AS found {end}"
    ),
}
_WORDS = {
    "sqlite": {
        "walked": "walked CROSS JOIN",
        "carried": ", walked.at, walked.least",
        "time": "text",
    },
    "postgresql": {"walked": "", "carried": "", "time": "timestamptz"},
}
# The least that two times in the database differ by.
A_TICK = datetime.timedelta(microseconds=1)


@dataclasses.dataclass(frozen=True, kw_only=True)
class SourceChange:
    """A charge that was corrected to another stock: from which, to which, and why.

    Or that was taken back, and was of none: then ``new`` is empty, and ``mass_mg`` what
    it had been.
    """

    old: Stock
    new: Stock | None
    batch: Batch
    mass_mg: int
    at: datetime.datetime
    by: User
    reason: str


@functools.cache
def question(vendor: str) -> str:
    """Return the text of the walk in the words of an engine."""
    words = {**_WORDS[vendor], "something_went_in": SOMETHING_WENT_IN}
    text = _TEXT[vendor].format(
        start=_START.format(**words),
        charged=_CHARGED.format(**words),
        kept=_KEPT.format(**words),
        end=_END,
    )
    return " ".join(text.split())


def downstream_as_believed(stock_id: int, at: datetime.datetime) -> list[int]:
    """Return the ids of all that a stock went into by the book at a time, its own too.

    By when each row was entered, not by when it happened. One query at any depth; asked
    of now it is :func:`batches.trace.downstream_ids`.
    """
    database = connections[reads.alias()]
    asked = {"asked": stock_id, "at": database.ops.adapt_datetimefield_value(at)}
    with database.cursor() as cursor:
        cursor.execute(question(database.vendor), asked)
        return [row[0] for row in cursor.fetchall()]


def changes_of_source(stock_id: int) -> list[SourceChange]:
    """Return the corrections that put a stock into a batch, or took it out of one.

    Where a charge was corrected from another stock to this one, from this one to
    another, or was of this one and taken back; oldest first. One query.
    """
    rows = (
        Charge.objects.filter(Q(source=stock_id) | Q(supersedes__source=stock_id))
        .filter(supersedes__isnull=False)
        .filter(Q(is_void=True) | ~Q(supersedes__source=F("source")))
        .select_related(
            "source", "supersedes__source", "batch__stock", "entered_by__person"
        )
        .order_by("pk")
    )
    return [_change(row, cast("Charge", row.supersedes)) for row in rows]


def _change(row: Charge, former: Charge) -> SourceChange:
    return SourceChange(
        old=former.source,
        new=None if row.is_void else row.source,
        batch=row.batch,
        mass_mg=former.net_mg if row.is_void else row.net_mg,
        at=row.entered_at,
        by=row.entered_by,
        reason=row.reason,
    )


def made_from_it_until(stock_id: int, change: SourceChange) -> list[str]:
    """Return the codes of what was believed to be made from a stock until a correction.

    Two queries. In the order in which the batches were begun.
    """
    ids = downstream_as_believed(stock_id, change.at - A_TICK)
    rows = Stock.objects.filter(pk__in=[one for one in ids if one != stock_id])
    return list(rows.order_by("pk").values_list("code", flat=True))
