"""What an older version wrote, taken into the journal once as it stands.

The journal did not always keep the rows of an act. Where it began without them, nothing
says what the old rows held; so the upgrade writes them down, and from then on each
answers to the journal like any other. What was changed behind the program before that
stays unknown, and ``verify`` says so.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

from django.db import models, transaction

from producer import journal
from producer.models.journal import WRITTEN, JournalEntry, JournalHead
from producer.written import every, noted_models, rows_of

ACT = "records kept as they stand"
LABEL = "rows of an older version"
PIECE = 2000  # rows in one row of the journal


def rows() -> models.QuerySet[JournalEntry]:
    """Return the journal rows that keep the rows of an older version, oldest first."""
    return JournalEntry.objects.filter(act=ACT, actor=None).order_by("sequence")


def is_needed() -> bool:
    """Say whether the journal began before it kept rows, and nobody kept them since.

    A journal without any row is no older one: rows beside it are a fault.
    """
    oldest = JournalEntry.objects.order_by("sequence").first()
    return oldest is not None and WRITTEN not in oldest.after and not rows().exists()


@transaction.atomic
def keep() -> int:
    """Write every row that no act names into the journal; return how many there were.

    Does nothing a second time, nor where every act has kept its rows.
    """
    if not is_needed():
        return 0
    head = JournalHead.objects.select_for_update().get(pk=1)
    if rows().exists():  # by another start, a moment ago
        return 0
    named = _named()
    kept = 0
    for model in noted_models():
        for keys in _pieces(model, named.get(model._meta.db_table, set())):
            kept += len(keys)
            journal.write(
                by=None,
                act=ACT,
                subject=head,
                label=LABEL,
                after={WRITTEN: rows_of(model, keys)},
            )
    return kept


def _named() -> dict[str, set[Any]]:
    """Return, by table, the keys of the rows that acts have kept already."""
    named: dict[str, set[Any]] = {}
    entries = JournalEntry.objects.filter(after__contains=f'"{WRITTEN}"')
    for after in entries.values_list("after", flat=True).iterator():
        for table, kept in json.loads(after).get(WRITTEN, {}).items():
            named.setdefault(table, set()).update(row[0] for row in kept["rows"])
    return named


def _pieces(model: type[models.Model], named: set[Any]) -> Iterator[list[Any]]:
    waiting = []
    keys = every(model).order_by("pk").values_list("pk", flat=True)
    for key in keys.iterator():
        if key not in named:
            waiting.append(key)
        if len(waiting) == PIECE:
            yield waiting
            waiting = []
    if waiting:
        yield waiting
