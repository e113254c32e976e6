"""Registers: suppliers, consignees, materials, instruments, the premises itself.

These are descriptions, not records of what happened, so they are edited in place;
the journal keeps every former value.
"""

from __future__ import annotations

import datetime
import hashlib
import uuid
from typing import Any, NamedTuple, TypeVar

from django.db import models, transaction

from producer import journal, written
from producer.errors import Conflict, Refusal
from producer.models import (
    Consignee,
    Instrument,
    JournalEntry,
    Material,
    Place,
    Premises,
    Right,
    Supplier,
    User,
    Vessel,
)
from producer.models.contacts import new_seal
from producer.models.journal import canonical
from producer.services.checks import require
from producer.services.instrument_fields import check_fields

Entry = TypeVar(
    "Entry", Supplier, Consignee, Material, Instrument, Vessel, Place, Premises
)

RIGHT_FOR: dict[type[models.Model], Right] = {
    Supplier: Right.MAKER,
    Consignee: Right.MAKER,
    Material: Right.MAKER,
    Instrument: Right.MAKER,
    Vessel: Right.MAKER,
    Place: Right.MAKER,
    Premises: Right.OWNER,
}


# Hours. Who looks again at once sees what they saw before.
SHORTEST_PAUSE = 1


def check_pause(premises: Premises) -> None:
    """Refuse a pause before self-review that is none."""
    if premises.self_review_pause_hours < SHORTEST_PAUSE:
        raise Refusal(
            f"At least {SHORTEST_PAUSE} hour: without a pause nobody looks with fresh"
            " eyes.",
            field="self_review_pause_hours",
        )


def values(entry: models.Model) -> dict[str, Any]:
    """Return the fields of a register entry as plain JSON values."""
    return {
        field.name: None if raw is None else field.value_to_string(entry)
        for field in entry._meta.concrete_fields
        if field.name != written.SEAL
        and ((raw := field.value_from_object(entry)) is not None or field.null)
    }


def said(entry: models.Model) -> dict[str, Any]:
    """Return the fields of an entry as the journal may say them for ever.

    Personal data are not told in words, only sealed: so they can be erased.
    """
    seal = getattr(entry, written.SEAL, "")
    return {
        name: written.sealed(name, value, seal)
        if name in written.personal(type(entry))
        else value
        for name, value in values(entry).items()
    }


def fingerprint(entry: models.Model) -> str:
    """Return a short text that changes whenever a field of the entry does."""
    return hashlib.sha256(canonical(values(entry)).encode()).hexdigest()[:16]


def _keep_apart(entry: Consignee, stored: models.Model | None) -> None:
    """Seal one from before there were seals; refuse to make another kind of them.

    What went to them was let through as for what they were then.
    """
    entry.seal = entry.seal or new_seal()
    if not isinstance(stored, Consignee):
        return
    stored.seal = entry.seal
    if stored.kind != entry.kind and stored.dispatches.exists():
        raise Refusal(
            "Bottles went to them already, under the rules for"
            f" “{stored.get_kind_display()}”. Register them anew as what they are now.",
            field="kind",
        )


@transaction.atomic
def save(
    *,
    by: User,
    entry: Entry,
    seen: str | None = None,
    submission: uuid.UUID | None = None,
) -> Entry:
    """Validate and save a new or changed entry.

    ``seen`` is the fingerprint of the entry as the page showed it; if somebody
    changed it meanwhile, :class:`Conflict` is raised and nothing is overwritten.
    """
    kind = type(entry)
    require(by, RIGHT_FOR[kind])
    stored = kind._default_manager.select_for_update().filter(pk=entry.pk).first()
    if stored and seen is not None and fingerprint(stored) != seen:
        raise Conflict(
            "Somebody changed this entry while you had it open. Open it again, look at"
            " the new values, and repeat your change if it is still needed."
        )
    if isinstance(stored, Consignee) and stored.erased_at:
        raise Refusal(
            "These contact data were erased. If they buy again, register them anew."
        )
    if isinstance(entry, Consignee):
        _keep_apart(entry, stored)
    entry.full_clean()
    if isinstance(entry, Premises):
        check_pause(entry)
    if isinstance(entry, Instrument):
        check_fields(entry)
    entry.save()
    name = kind._meta.verbose_name
    journal.write(
        by=by,
        act=f"{name} changed" if stored else f"{name} registered",
        subject=entry,
        label=getattr(entry, "reference", str(entry)),
        before=said(stored) if stored else {},
        after=said(entry),
        submission=submission,
    )
    return entry


class Located(NamedTuple):
    """A location number of the premises, or nothing, and since when it has been so."""

    number: str
    since: datetime.datetime


def location_numbers() -> list[Located]:
    """Return the GLN of the premises from each change of it on, the oldest first.

    The premises is edited in place; what it said before, the journal knows.
    """
    rows = JournalEntry.objects.filter(
        subject_kind=Premises._meta.model_name, after__contains='"location_number":'
    )
    found: list[Located] = []
    for row in rows.order_by("sequence"):
        number = row.after_values.get("location_number") or ""
        if number != (found[-1].number if found else ""):
            found.append(Located(number, row.at))
    return found
