"""A record changed after it was signed: the signature is void, the batch is held.

Nothing is added to a signed record. What was written down wrongly is corrected by a new
row with a reason, as before the signature; in the same act every signature that looked
at the findings is marked void, a released batch is put on hold and its bottles that are
still here with it, and so is what was made from it, at any depth. Each is then reviewed
again, or rejected; what is out cannot be held.
"""

from __future__ import annotations

import dataclasses
import functools
import uuid
from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

from django.core.exceptions import PermissionDenied
from django.db import transaction

from batches.lifecycle import BatchStatus
from batches.models import Batch, BulkWeighing, Charge, Loss, Reading, Titration
from batches.services import cooking, losses, moves, titrating
from batches.services.closed import Also
from batches.services.cooking.charging import is_correction
from batches.services.entries import Entries
from producer import journal
from producer.errors import Refusal
from producer.models import Container, Instrument, Right, Stock, User
from producer.quantities import format_mass, format_number
from producer.services.checks import need_reason
from quality.models import Signature, SignatureMark
from quality.services import holding, marks
from quality.services.reviewing import is_caustic_by_weighing

Row = Charge | Reading | BulkWeighing | Loss | Titration
RIGHTS = (Right.MAKER, Right.REVIEWER)


@dataclasses.dataclass(frozen=True, kw_only=True)
class Foreseen:
    """What a correction would do to a signed batch, before anybody does it.

    Bottles are those of the batch and of what was made from it.
    """

    signatures: list[Signature]
    holds_batch: bool
    holds_below: bool
    bottles_here: int
    out: list[marks.Out]
    made_from_it: list[Batch]

    @property
    def bottles_out(self) -> int:
        """How many bottles are out and cannot be held."""
        return sum(one.count for one in self.out)


def is_closed(batch: Batch) -> bool:
    """Say whether a batch is signed, so that only a change after signature is left."""
    return not batch.is_open and batch.signatures.exists()


def foreseen(batch: Batch) -> Foreseen:
    """Return what a correction of an entry of a signed batch would do."""
    made_from_it = marks.made_from(batch)
    ids = [one.pk for one in (batch, *made_from_it)]
    return Foreseen(
        signatures=marks.standing(batch),
        holds_batch=batch.status == BatchStatus.RELEASED,
        holds_below=any(one.status == BatchStatus.RELEASED for one in made_from_it),
        bottles_here=marks.bottles_here(ids),
        out=marks.bottles_out(ids),
        made_from_it=made_from_it,
    )


def caustic_and_out(batch: Batch) -> int:
    """Return how many bottles that are out may be caustic by the weighings as they are.

    Those of the batch and of what was made from it; 0 where the weighings leave less
    alkali over than makes it caustic.
    """
    if not is_caustic_by_weighing(batch):
        return 0
    ids = [batch.pk, *holding.below([batch.pk])]
    return sum(one.count for one in marks.bottles_out(ids))


@transaction.atomic
def change_charge(
    *,
    by: User,
    charge: Charge,
    reason: str,
    gross_mg: int = 0,
    tare_mg: int = 0,
    source: Stock | None = None,
    container: Container | None = None,
    certain: bool = False,
    void: bool = False,
    submission: uuid.UUID | None = None,
) -> Charge:
    """Correct a charge of a signed batch: other masses, another raw lot, or taken back.

    The stock follows, as before the signature. A lot takes only the place of a lot:
    the batch may have gone into others by now, and nothing is ever in a raw lot, so no
    loop can arise. ``certain`` is said where something forbids to draw from it.
    """
    _may_change(by, charge.batch)
    return cooking.amend_charge(
        by=by,
        charge=charge,
        reason=reason,
        gross_mg=gross_mg,
        tare_mg=tare_mg,
        source=source,
        container=container,
        certain=certain,
        void=void,
        also=_void_and_hold(by, reason),
        submission=submission,
    )


@transaction.atomic
def change_reading(
    *,
    by: User,
    reading: Reading,
    reason: str,
    value: Decimal | None = None,
    clarity: str = "",
    method: str = "",
    instrument: Instrument | None = None,
    void: bool = False,
    submission: uuid.UUID | None = None,
) -> Reading:
    """Correct a reading of a signed batch, or take it back."""
    _may_change(by, reading.batch)
    return cooking.amend_reading(
        by=by,
        reading=reading,
        reason=reason,
        value=value,
        clarity=clarity,
        method=method,
        instrument=instrument,
        void=void,
        also=_void_and_hold(by, reason),
        submission=submission,
    )


@transaction.atomic
def change_weighing(
    *,
    by: User,
    weighing: BulkWeighing,
    reason: str,
    gross_mg: int,
    tare_mg: int,
    submission: uuid.UUID | None = None,
) -> BulkWeighing:
    """Correct the weighing of what a signed batch made; the stock follows."""
    _may_change(by, weighing.batch)
    return cooking.amend_bulk(
        by=by,
        weighing=weighing,
        reason=reason,
        gross_mg=gross_mg,
        tare_mg=tare_mg,
        also=_void_and_hold(by, reason),
        submission=submission,
    )


@transaction.atomic
def change_loss(
    *,
    by: User,
    loss: Loss,
    reason: str,
    mass_mg: int = 0,
    half_width_mg: int = 0,
    note: str = "",
    void: bool = False,
    submission: uuid.UUID | None = None,
) -> Loss:
    """Correct a loss of a signed batch, or take it back."""
    _may_change(by, loss.batch)
    return losses.amend_loss(
        by=by,
        loss=loss,
        reason=reason,
        mass_mg=mass_mg,
        half_width_mg=half_width_mg,
        note=note,
        void=void,
        also=_void_and_hold(by, reason),
        submission=submission,
    )


@transaction.atomic
def void_titration(
    *,
    by: User,
    titration: Titration,
    reason: str,
    submission: uuid.UUID | None = None,
) -> Titration:
    """Take a titration of a signed batch back."""
    if titration.stock.kind != Stock.Kind.BATCH:
        raise Refusal("This is a titration of a raw lot. Take it back on its page.")
    _may_change(by, titration.stock.batch)
    return titrating.take_back_titration(
        by=by,
        titration=titration,
        reason=reason,
        also=_void_and_hold(by, reason),
        submission=submission,
    )


def what_changed(old: Row, new: Row) -> str:
    """Return the change in words: “pH changed from 9.4 to 9.9”.

    >>> before = Reading(characteristic="ph", value=Decimal("9.4"))
    >>> what_changed(before, Reading(characteristic="ph", value=Decimal("9.90")))
    'pH changed from 9.4 to 9.9.'
    """
    name, was, now = _name(old), _said(old), _said(new)
    if new.is_void:
        return f"{name}, {was}, was taken back."
    if isinstance(new, Charge) and _source_id(old) != new.source_id:
        much = "" if was == now else f", and is {now}"
        return f"{name}, {was}, was of {new.source.code}{much}."
    if was == now:  # the value stands, but not how it was taken or shared out
        return f"{name}, {was}: {_how(old)} changed to {_how(new)}."
    return f"{name} changed from {was} to {now}."


def later_changes(mark: SignatureMark) -> list[tuple[Row, str]]:
    """Return what was changed after a signature had become void, with what in words.

    Until the next decision that looked at the findings: what comes after that is told
    with it.
    """
    signature = mark.signature
    again = signature.batch.signatures.filter(
        pk__gt=signature.pk, meaning__in=marks.JUDGING, entered_at__gt=mark.entered_at
    )
    until = again.order_by("pk").values_list("entered_at", flat=True).first()
    entries = Entries(signature.batch)
    kinds: tuple[Sequence[Row], ...] = (
        entries.charges,
        entries.readings,
        entries.weighings,
        entries.losses,
        entries.titrations,
    )
    found = []
    for rows in kinds:
        known = {row.pk: row for row in rows}
        found += [
            (row, what_changed(known[row.supersedes_id], row))
            for row in rows
            if row.supersedes_id is not None
            and row.entered_at > mark.entered_at
            and (until is None or row.entered_at <= until)
        ]
    return sorted(found, key=lambda one: one[0].entered_at)


def _may_change(by: User, batch: Batch) -> None:
    if not any(by.may(right) for right in RIGHTS):
        raise PermissionDenied("This needs the right “Maker” or “Reviewer”.")
    journal.in_line()
    holding.lock_with_below(batch)
    if not is_closed(moves.locked(batch)):  # as it stands, not as it was loaded
        raise Refusal(
            f"Batch {batch.number} is not signed. Correct its entries on its page."
        )


def _void_and_hold(by: User, reason: str) -> Also:
    """Return what follows from a change, to be carried out within its act."""
    return functools.partial(_follow, by, need_reason(reason))


def _follow(
    by: User, reason: str, batch: Batch, old: Row, new: Row
) -> Mapping[str, Any]:
    """Mark the signatures, hold batch and bottles; return the journal's facts."""
    if _facts(old) == _facts(new):
        raise Refusal("This is what stands already, so nothing was changed.")
    sentence = what_changed(old, new)
    why = f"{sentence} {reason}"
    void = marks.mark_void(
        by=by, signatures=marks.standing(batch), sentence=sentence, reason=reason
    )
    held = holding.hold(by=by, batch_ids=[batch.pk], reason=why)
    if held.batches:
        batch.status = BatchStatus.ON_HOLD
    held += holding.hold_below(
        by=by, batch=batch, what="was changed after it was signed", reason=why
    )
    return {
        "signatures_void": void,
        **({"status": str(batch.status)} if batch.number in held.batches else {}),
        **held.facts,
        "made_from_it": [one.number for one in marks.made_from(batch)],
    }


def _source_id(row: Row) -> int | None:
    return row.source_id if isinstance(row, Charge) else None


def _name(row: Row) -> str:
    if isinstance(row, Charge):
        what = "Correction with" if is_correction(row) else "Charge of"
        return f"{what} {row.source.code}"
    if isinstance(row, Reading):
        words: str = row.get_characteristic_display()
        return words if row.characteristic == "ph" else words.capitalize()
    if isinstance(row, BulkWeighing):
        return "What came out"
    if isinstance(row, Loss):
        return f"Loss ({row.get_kind_display()})"
    return f"Titration ({row.get_kind_display()})"


def _said(row: Row) -> str:
    if isinstance(row, Charge | BulkWeighing):
        return format_mass(row.net_mg)
    if isinstance(row, Loss):
        half = f" ± {format_mass(row.half_width_mg)}" if row.half_width_mg else ""
        return format_mass(row.mass_mg) + half
    if row.value is None:
        return str(row.get_clarity_display()) if isinstance(row, Reading) else "–"
    unit = {"temperature": " °C", "free_alkali": " %"}
    kind = row.characteristic if isinstance(row, Reading) else row.kind
    return format_number(row.value) + unit.get(kind, "")


def _how(row: Row) -> str:
    if isinstance(row, Charge | BulkWeighing):
        how = f"gross {format_mass(row.gross_mg)}, tare {format_mass(row.tare_mg)}"
        container = row.container if isinstance(row, Charge) else None
        return f"{how}, out of {container.code}" if container else how
    if isinstance(row, Loss):
        return f"note “{row.note}”"
    instrument = getattr(row, "instrument", None)
    return f"“{row.method}”" + (f" with {instrument.name}" if instrument else "")


def _facts(row: Row) -> tuple[Any, ...]:
    where = (row.source_id, row.container_id) if isinstance(row, Charge) else ()
    return (row.is_void, _said(row), _how(row), *where)
