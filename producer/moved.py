"""Acts that moved a record although they were on another one.

A certificate that is revised, a recall and the hold of a batch put on hold what was
made with it. The journal keeps the rows that each act wrote; so the act that moved a
record is the one that wrote the row of its change of status. Tables of higher apps are
known by name only, as the journal itself knows them.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

from django.apps import apps
from django.db import models
from django.db.models import F, Max, OuterRef, Subquery

from producer.models import JournalEntry
from producer.models.journal import WRITTEN


class Moves(NamedTuple):
    """A table with a row for each change of status, and the column of its owner."""

    table: str
    owner: str


# Kind of record → where its changes of status are written.
MOVES: Mapping[str, Moves] = {
    "rawlot": Moves("producer_lotstatuschange", "lot_id"),
    "batch": Moves("batches_batchstatuschange", "batch_id"),
    "bottle": Moves("batches_bottleevent", "bottle_id"),
}
# An act is written down after its rows, within one transaction. Acts of others that
# were committed in between, or a clock that was set back, put rows between the two.
LATER, EARLIER = 20, 3


def sequences(kind: str, keys: Iterable[Any]) -> list[int]:
    """Return the rows of the journal of acts that moved any of these records.

    Two queries, however many changes of status there are.
    """
    known = MOVES.get(kind)
    model = _model(known.table) if known else None
    if known is None or model is None:
        return []
    near = _near(model._default_manager.filter(**{f"{known.owner}__in": list(keys)}))
    rows = JournalEntry.objects.filter(
        sequence__in={number for numbers in near.values() for number in numbers},
        after__contains=f'"{known.table}":',
    )
    return sorted(
        sequence
        for sequence, after in rows.values_list("sequence", "after").iterator()
        if not near.keys().isdisjoint(keys_written(after, known.table))
    )


def _near(changes: models.QuerySet[Any]) -> dict[int, range]:
    """Return, by change of status, where in the journal its act must be."""
    first = JournalEntry.objects.filter(at__gte=OuterRef("entered_at"))
    last = JournalEntry.objects.aggregate(last=Max("sequence"))["last"] or 0
    found = changes.annotate(
        first=Subquery(first.order_by("at").values("sequence")[:1])
    ).values_list("pk", F("first"))
    return {
        pk: range((number or last) - EARLIER, (number or last) + LATER)
        for pk, number in found
    }


def keys_written(after: str, table: str) -> set[int]:
    """Return the keys of the rows of a table that an act wrote, from its ``after``."""
    kept = json.loads(after).get(WRITTEN, {}).get(table, {"rows": []})
    return {row[0] for row in kept["rows"]}  # the key is the first column


def _model(table: str) -> type[models.Model] | None:
    return next(
        (model for model in apps.get_models() if model._meta.db_table == table), None
    )
