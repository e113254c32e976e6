"""Label stock of one's own: described once, edited in place, as every register.

What was printed keeps the format as it was: a later change changes no label.
"""

from __future__ import annotations

import dataclasses
import uuid

from django.db import transaction

from batches.models import SheetFormat
from batches.sheets import USUAL, Sheet
from producer import journal
from producer.errors import Conflict, Refusal
from producer.models import Right, User
from producer.services.checks import require
from producer.services.registers import fingerprint, values

LENGTHS = tuple(
    field.name
    for field in dataclasses.fields(Sheet)
    if field.name not in {"name", "across", "down"}
)


def all_formats() -> list[Sheet]:
    """Return every format that can be printed on: the usual ones, then one's own."""
    own = SheetFormat.objects.filter(in_use=True)
    return [*USUAL, *(Sheet.like(one) for one in own)]


@transaction.atomic
def save_format(
    *,
    by: User,
    entry: SheetFormat,
    seen: str | None = None,
    submission: uuid.UUID | None = None,
) -> SheetFormat:
    """Validate and save a new or changed format; lengths are hundredths of a mm.

    ``seen`` is the fingerprint of the entry as the page showed it; if somebody changed
    it meanwhile, :class:`Conflict` is raised and nothing is overwritten. Refused, with
    the field it concerns, are labels that overlap or do not lie on their page, and a
    name that one of the usual formats has: formats are told apart by it.
    """
    require(by, Right.MAKER)
    stored = SheetFormat.objects.select_for_update().filter(pk=entry.pk).first()
    if stored and seen is not None and fingerprint(stored) != seen:
        raise Conflict(
            "Somebody changed this format while you had it open. Open it again, look at"
            " the new values, and repeat your change if it is still needed."
        )
    entry.name = entry.name.strip()
    if entry.name.casefold() in {sheet.name.casefold() for sheet in USUAL}:
        raise Refusal("One of the usual formats has this name.", field="name")
    entry.clean_fields()
    Sheet.like(entry)  # refuses what cannot be printed on
    entry.full_clean()
    entry.save()
    journal.write(
        by=by,
        act="label format changed" if stored else "label format registered",
        subject=entry,
        label=str(entry),
        before=values(stored) if stored else {},
        after=values(entry),
        submission=submission,
    )
    return entry
