"""Undo at the pot: the last entry, by who made it, at once and with one tap.

It is a correction like any other, only without typing: a row that takes the entry back
stands in the record. Once something was entered after it, or ten minutes have passed,
an entry is corrected with a reason.
"""

from __future__ import annotations

import dataclasses
import datetime
import uuid
from collections.abc import Callable
from typing import Any

from django.db import models, transaction
from django.utils import timezone

from batches.lifecycle import CLOSED_TO_CHARGES
from batches.models import (
    Batch,
    BulkWeighing,
    Charge,
    HoldPoint,
    LiquidReading,
    Loss,
    Reading,
    Titration,
    WeighingStart,
)
from batches.services import half_weighings, losses, moves
from batches.services.cooking.charging import amend_charge
from batches.services.cooking.reading import amend_reading
from producer.errors import Conflict, Refusal
from producer.models import Right, User
from producer.quantities import format_mass, format_number
from producer.services.checks import require

WITHIN = datetime.timedelta(minutes=10)  # ours, common practice, no source
REASON = "undone at the pot"
ABOVE = (
    "This reading is above the limit of the formula, so one tap does not take it back."
    " Correct it with a reason."
)

Undoable = Charge | Reading | Loss | WeighingStart
# Every table whose rows are entries of a batch, with what a row needs to be shown.
_TABLES: tuple[tuple[type[models.Model], tuple[str, ...]], ...] = (
    (Charge, ("source__lot__material",)),
    (Reading, ()),
    (Loss, ()),
    (WeighingStart, ("source", "container", "vessel")),
    (BulkWeighing, ()),
    (HoldPoint, ()),
    (LiquidReading, ()),
)


@dataclasses.dataclass(frozen=True, kw_only=True)
class Offer:
    """What may be undone: ``row``; or ``above``, a peak that needs a typed reason."""

    row: Undoable | None = None
    above: Reading | None = None


def last_undoable(batch: Batch, user: User) -> Undoable | None:
    """Return the last entry of a batch if this account may still undo it, or None.

    None too for what was corrected, and for what cannot be taken back: hold points are
    gone through again, and the weighing of the yield is corrected. A temperature above
    the limit is not taken back so easily: see :func:`offered`.
    """
    return offered(batch, user).row


def offered(batch: Batch, user: User) -> Offer:
    """Return what this account may undo now, or the peak that needs a reason."""
    row = _last_of(batch, user)
    if isinstance(row, Reading) and is_above_the_limit(row, batch):
        return Offer(above=row)
    return Offer(row=row)


def is_above_the_limit(row: Reading, batch: Batch) -> bool:
    """Say whether a reading is a temperature above the limit of the batch."""
    return (
        row.characteristic == Reading.Characteristic.TEMPERATURE
        and row.value is not None
        and row.value > batch.formula_version.temperature_limit
    )


def _last_of(batch: Batch, user: User) -> Undoable | None:
    if not batch.is_open:
        return None
    row = _last_entry(batch)
    if not isinstance(row, Charge | Reading | Loss | WeighingStart):
        return None
    if row.entered_by_id != user.pk or row.is_void or row.supersedes_id is not None:
        return None
    if timezone.now() - row.entered_at > WITHIN:
        return None
    if isinstance(row, Charge) and batch.status in CLOSED_TO_CHARGES:
        return None
    return row


@transaction.atomic
def undo(
    *,
    by: User,
    batch: Batch,
    entry: str = "",
    submission: uuid.UUID | None = None,
) -> Undoable:
    """Take the last entry of a batch back, as the row that says so.

    ``entry`` is its :func:`key_of` where somebody saw it: what came in between on
    another device is then not undone instead.
    """
    require(by, Right.MAKER)
    batch = moves.still_open(batch)
    offer = offered(batch, by)
    row = offer.row
    if offer.above is not None:
        raise Refusal(ABOVE)
    if row is None or (entry and entry != key_of(row)):
        raise Conflict(
            "This cannot be undone any more: something was entered after it, by"
            " somebody else, or more than ten minutes ago. Correct it with a reason."
        )
    return _TAKE_BACK[type(row)](by, row, submission)


def key_of(row: Undoable) -> str:
    """Return what tells an entry from every other: its kind and number."""
    return f"{row._meta.model_name}-{row.pk}"


def words_of(row: Undoable) -> str:
    """Say what an entry is, in a few words for the button that undoes it."""
    if isinstance(row, Charge):
        return f"charge of {row.source.code}, {format_mass(row.net_mg)}"
    if isinstance(row, WeighingStart):
        return f"half weighing of {half_weighings.words_of(row)}"
    if isinstance(row, Loss):
        return f"loss of {format_mass(row.mass_mg)}"
    if row.value is None:
        return f"{row.get_characteristic_display()}, {row.get_clarity_display()}"
    return f"{row.get_characteristic_display()} {format_number(row.value.normalize())}"


def _last_entry(batch: Batch) -> Any:
    """Return the row that was entered last, of whatever kind; the later key of two."""
    found: list[Any] = [
        (
            model._default_manager.filter(batch=batch)
            .select_related(*joined)
            .order_by("-pk")
            .first()
        )
        for model, joined in _TABLES
    ]
    found.append(Titration.objects.filter(stock_id=batch.pk).order_by("-pk").first())
    rows = [row for row in found if row is not None]
    return max(rows, key=lambda row: row.entered_at, default=None)


def _charge(by: User, row: Any, submission: uuid.UUID | None) -> Undoable:
    return amend_charge(
        by=by, charge=row, void=True, reason=REASON, submission=submission
    )


def _reading(by: User, row: Any, submission: uuid.UUID | None) -> Undoable:
    return amend_reading(
        by=by, reading=row, void=True, reason=REASON, submission=submission
    )


def _loss(by: User, row: Any, submission: uuid.UUID | None) -> Undoable:
    return losses.amend_loss(
        by=by, loss=row, void=True, reason=REASON, submission=submission
    )


def _start(by: User, row: Any, submission: uuid.UUID | None) -> Undoable:
    return half_weighings.take_back(
        by=by, start=row, reason=REASON, submission=submission
    )


_TAKE_BACK: dict[type[models.Model], Callable[..., Undoable]] = {
    Charge: _charge,
    Reading: _reading,
    Loss: _loss,
    WeighingStart: _start,
}
