"""What an audit asks of a raw lot: its paper, its decision, its dates."""

from __future__ import annotations

import datetime
from collections.abc import Iterator

from django.urls import reverse
from django.utils import timezone

from batches.models import Charge
from producer.models import LotStatusChange, RawLot
from producer.services.checks import local_day
from quality.services.audit.plain import Link, day
from quality.services.suppliers import LotRecord, lot_record

Status = RawLot.Status


def link_of(lot: RawLot, *, was_used: bool) -> Link:
    """Return a raw lot as a link; ``was_used`` says that it went into a batch."""
    record = lot_record(lot, timezone.get_current_timezone())
    changes = list(lot.status_changes.select_related("entered_by__person"))
    return Link(
        what="Raw lot",
        name=lot.code,
        at=reverse("producer:lot", args=[lot.code]),
        present=list(_present(record, changes)),
        missing=list(_missing(record, changes, was_used=was_used)),
        unusual=list(_unusual(record)),
    )


def _present(record: LotRecord, changes: list[LotStatusChange]) -> Iterator[str]:
    lot = record.lot
    yield (
        f"{lot.material.name} of {lot.supplier.name}, their lot {lot.supplier_lot},"
        f" received on {day(lot.received_on)}."
    )
    if not record.newest and not record.is_missing:
        yield "No certificate is on record; one is asked for of potash and oils only."
    if record.newest:
        of = f" {record.newest.reference}" if record.newest.reference else ""
        yield f"Certificate{of}, version {record.newest.version}."
    for change in changes[-1:]:
        yield (
            f"{change.get_new_display().capitalize()} by"
            f" {change.entered_by.person.name}: {change.reason}"
        )


def _missing(
    record: LotRecord, changes: list[LotStatusChange], *, was_used: bool
) -> Iterator[str]:
    lot = record.lot
    if record.is_missing:
        yield f"{lot.code}: no certificate is on record."
    elif record.newest and record.newest.attachment_id is None:
        yield f"{lot.code}: the figures of the certificate are kept, the paper is not."
    if was_used and not any(one.new == Status.RELEASED for one in changes):
        yield f"{lot.code}: it was used, and nobody released it."
    elif was_used:
        yield from _used_unreleased(lot, changes)
    if lot.expires_on is None and lot.retest_on is None:
        yield f"{lot.code}: neither an expiry date nor a retest date."


def _used_unreleased(lot: RawLot, changes: list[LotStatusChange]) -> Iterator[str]:
    """Yield each status but released in which the lot was weighed into a batch.

    By when it was weighed and when it was decided, not by when either was entered; of
    a status the first weighing is named.
    """
    charges = Charge.objects.current().filter(source=lot.pk)
    seen = set()
    for charge in charges.select_related("batch__stock").order_by("observed_at", "pk"):
        status = _status_at(lot, changes, charge.observed_at)
        if status == Status.RELEASED or status in seen:
            continue
        seen.add(status)
        at = day(local_day(charge.observed_at))
        yield (
            f"{lot.code}: it was weighed into {charge.batch.number} on {at}, when it"
            f" was {Status(status).label}."
        )


def _status_at(
    lot: RawLot, changes: list[LotStatusChange], at: datetime.datetime
) -> str:
    """Return the status of a lot at a time, by the decisions about it in order."""
    if not changes:
        return lot.status
    status = changes[0].old
    for one in changes:
        if one.observed_at <= at:
            status = one.new
    return status


def _unusual(record: LotRecord) -> Iterator[str]:
    today = timezone.localdate()
    if record.is_late:
        yield "The certificate came more than a week after the goods."
    if record.is_revised:
        yield f"The certificate was corrected: {len(record.papers)} versions."
    if record.outside:
        yield "The value of the certificate lies outside the range of the material."
    if record.lot.status != Status.RELEASED:
        yield f"The lot is {record.lot.get_status_display()} now."
    last = record.lot.last_day
    if last is not None and last < today and record.lot.stock.on_hand_mg > 0:
        yield f"Some is left, and its date passed on {day(last)}."
