"""Is a batch still what a signature signed? By the rows that stood then.

After an honest change there are later rows and the signature is marked void; the rows
that were signed are all still there, with the values they had. So the signed facts are
read again from those rows alone, by the ids that the record names. A later row under a
signature that is not marked void, or a mark without any later row, is a fault.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.core.exceptions import ObjectDoesNotExist

from batches.services.entries import Entries
from producer.models import JournalEntry
from quality.models import Signature
from quality.services import marks, record

# What reading a record raises that somebody altered past reading.
UNREADABLE = (
    ValueError,
    LookupError,
    TypeError,
    AttributeError,
    ArithmeticError,
    ObjectDoesNotExist,
)
# Where the facts of a record list rows, each with its id; the names are those of
# :class:`.Entries`. Records from before titrations, losses or hold points lack the key.
LISTS = (
    *("charges", "readings", "weighings", "losses", "titrations"),
    *("hold_points", "starts", "liquid_readings"),
)


def readable(fault_of: Callable[[], str]) -> str:
    """Return the fault of one record; that it cannot be read is one too."""
    try:
        return fault_of()
    except UNREADABLE as error:
        return f"its record cannot be read: {type(error).__name__}, {error}."


def sha256_in(entry: JournalEntry) -> str:
    """Return which signed text a journal row names, or nothing if it is past that."""
    try:
        return str(entry.after_values["record_sha256"])
    except UNREADABLE:
        return ""


def fault_of_record(signature: Signature) -> str:
    """Return what no longer fits between the signed facts and the rows, or nothing."""
    signed = record.part(signature.record, "facts")
    void = marks.is_void(signature)
    if signed == record.facts_of(signature.batch):
        return "it is marked void, but nothing was changed after it." if void else ""
    if signed != record.facts_of(signature.batch, _rows_signed(signature, signed)):
        return "the batch is no longer what was signed."
    if signature.meaning in marks.JUDGING and not void:
        return "the batch was changed after it, and it is not marked void."
    return ""


def _rows_signed(signature: Signature, signed: dict[str, Any]) -> Entries:
    ids = {name: [row["id"] for row in signed.get(name, ())] for name in LISTS}
    return Entries(signature.batch, only=ids)
