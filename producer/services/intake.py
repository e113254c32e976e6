"""Goods in: receive a lot, record its certificate, decide about it."""

from __future__ import annotations

import dataclasses
import datetime
import uuid
from collections.abc import Callable, Iterable, Mapping, Sequence
from decimal import Decimal
from typing import Any

from django.core.files.base import File
from django.db import transaction
from django.utils import timezone

from producer import journal
from producer.errors import Conflict, Refusal
from producer.models import (
    Certificate,
    LotStatusChange,
    Material,
    RawLot,
    Right,
    Stock,
    StockMovement,
    Supplier,
    User,
)
from producer.services import attachments, stock
from producer.services.certificate_values import (
    KOH_PER_K2CO3,
    LEAST_ASSAY,
    CertificateValues,
    fit_material,
)
from producer.services.checks import (
    local_day,
    need_reason,
    plausible_time,
    require,
)
from producer.services.containers import (
    Filling,
    containers_facts,
    put_in_containers,
)
from producer.services.lot_holds import hold_if_released
from producer.services.numbers import next_code

__all__ = [
    "KOH_PER_K2CO3",
    "LEAST_ASSAY",
    "CertificateValues",
    "certificate_facts",
    "current_certificate",
    "current_certificates",
    "decide_lot",
    "hold_if_released",
    "receive_lot",
    "record_certificate",
]

Status = RawLot.Status
# (from, to) → the right that may decide it
LOT_MOVES: dict[tuple[str, str], Right] = {
    (Status.QUARANTINE, Status.RELEASED): Right.REVIEWER,
    (Status.QUARANTINE, Status.REJECTED): Right.REVIEWER,
    (Status.RELEASED, Status.ON_HOLD): Right.REVIEWER,
    (Status.ON_HOLD, Status.RELEASED): Right.REVIEWER,
    (Status.ON_HOLD, Status.REJECTED): Right.REVIEWER,
}

# What else a further version of a certificate does, given it and the version before;
# returns what the journal says of that.
Also = Callable[["Certificate", "Certificate"], Mapping[str, Any]]


@transaction.atomic
def receive_lot(  # noqa: PLR0913 - as much as a delivery note says
    *,
    by: User,
    material: Material,
    supplier: Supplier,
    supplier_lot: str,
    quantity_mg: int,
    received_on: datetime.date,
    expires_on: datetime.date | None = None,
    retest_on: datetime.date | None = None,
    place: str = "",
    fillings: Sequence[Filling] = (),
    paid_hundredths: int | None = None,
    observed_at: datetime.datetime | None = None,
    submission: uuid.UUID | None = None,
) -> RawLot:
    """Book a delivery in; the lot is held until somebody releases it.

    ``fillings`` are the containers it came in, if they are registered at once.
    """
    require(by, Right.MAKER)
    observed_at = plausible_time(observed_at or timezone.now())
    if received_on > local_day(timezone.now()):
        raise Refusal(
            "This day lies in the future. Goods are booked in when they are here.",
            field="received_on",
        )
    if quantity_mg <= 0:
        raise Refusal("Weigh what came in; it is above zero.", field="quantity_mg")
    own = Stock(
        kind=Stock.Kind.LOT,
        code=next_code("L", received_on.year),
    )
    own.full_clean()
    own.save()
    lot = RawLot(
        stock=own,
        material=material,
        supplier=supplier,
        supplier_lot=supplier_lot.strip(),
        received_on=received_on,
        expires_on=expires_on,
        retest_on=retest_on,
        place=place,
        paid_hundredths=paid_hundredths,
    )
    lot.full_clean()
    lot.save(force_insert=True)
    stock.move(
        by=by,
        stock=own,
        kind=StockMovement.Kind.RECEIPT,
        amount_mg=quantity_mg,
        observed_at=observed_at,
    )
    containers = put_in_containers(lot=lot, stock=own, fillings=fillings)
    journal.write(
        by=by,
        act="raw lot received",
        subject=lot,
        label=own.code,
        after={
            "material": material.name,
            "supplier": supplier.name,
            "supplier_lot": lot.supplier_lot,
            "quantity_mg": quantity_mg,
            "received_on": received_on.isoformat(),
            "expires_on": expires_on.isoformat() if expires_on else None,
            "retest_on": retest_on.isoformat() if retest_on else None,
            "paid_hundredths": paid_hundredths,
            "status": lot.status,
            "containers": containers_facts(containers),
        },
        submission=submission,
    )
    return lot


@transaction.atomic
def record_certificate(
    *,
    by: User,
    lot: RawLot,
    values: CertificateValues,
    upload: File[bytes] | None,
    reason: str = "",
    also: Also | None = None,
    submission: uuid.UUID | None = None,
) -> Certificate:
    """Add a version of the lot's certificate; earlier versions stay as they are.

    The paper itself is compulsory with the first version; a later one may keep the
    file of the version before it. ``also`` is what a later one does besides, within
    the same act: what was made with the one before is for those who judge.
    """
    require(by, Right.MAKER)
    journal.in_line()  # a further version may hold lot and batches
    # Lock the lot, so that two people adding a version do not both get number 2.
    RawLot.objects.select_for_update(of=("self",)).get(pk=lot.pk)
    former = lot.certificates.order_by("-version").first()
    if upload:
        attachment = attachments.store(by=by, upload=upload)
    elif former and former.attachment:
        attachment = former.attachment
    else:
        raise Refusal(
            "Add the certificate itself, as PDF or picture. Without it the values"
            " cannot be checked later.",
            field="file",
        )
    fit_material(lot.material, values)
    certificate = Certificate(
        lot=lot,
        version=former.version + 1 if former else 1,
        attachment=attachment,
        observed_at=timezone.now(),
        entered_by=by,
        reason=reason.strip(),
        **dataclasses.asdict(values),
    )
    certificate.full_clean()
    certificate.save(force_insert=True)
    held: dict[str, Any] = {}
    if former:
        # It was released on what the paper said before.
        held = hold_if_released(
            by, lot, "A new version of the certificate was recorded."
        )
        if also is not None:
            held = {**held, **also(certificate, former)}
    journal.write(
        by=by,
        act="certificate recorded",
        subject=lot,
        label=lot.code,
        before=certificate_facts(former) if former else {},
        after={**certificate_facts(certificate), **held},
        reason=certificate.reason,
        submission=submission,
    )
    return certificate


@transaction.atomic
def decide_lot(
    *,
    by: User,
    lot: RawLot,
    new: str,
    reason: str,
    judged: Mapping[str, Any] | None = None,
    submission: uuid.UUID | None = None,
) -> RawLot:
    """Release, reject or hold a lot, or lift its hold.

    ``judged`` is what the journal shall say of a judgement that came before.

    Releasing potash needs a certificate with an assay: without it no alkali charge
    can be computed. Any other lot may be released without a paper, the reason then
    being all there is.
    """
    journal.in_line()
    move = LOT_MOVES.get((lot.status, new))
    if move is None:
        raise Conflict(
            f"A lot that is {lot.get_status_display()} cannot become"
            f" {Status(new).label}. Open its page again to see where it stands."
        )
    require(by, move)
    reason = need_reason(reason)
    lot.refresh_from_db(fields=["frozen_by"])
    if lot.frozen_by and new == Status.RELEASED:
        raise Refusal(
            f"Recall {lot.frozen_by} is open and affects this lot. Close it first."
        )
    certificate = current_certificate(lot)
    if new == Status.RELEASED:
        _may_be_released(lot, certificate)
    old = lot.status
    unmoved = RawLot.objects.filter(pk=lot.pk, status=old)
    if new == Status.RELEASED:
        unmoved = unmoved.filter(frozen_by="")
    if not unmoved.update(status=new):
        raise Conflict("Somebody else decided about this lot a moment ago. Look again.")
    lot.status = new
    LotStatusChange.objects.create(
        lot=lot,
        old=old,
        new=new,
        reason=reason,
        observed_at=timezone.now(),
        entered_by=by,
    )
    journal.write(
        by=by,
        act=f"raw lot {Status(new).label}",
        subject=lot,
        label=lot.code,
        before={"status": old},
        after={
            "status": new,
            "certificate": certificate.version if certificate else None,
            **(judged or {}),
        },
        reason=reason,
        submission=submission,
    )
    return lot


def current_certificate(
    lot: RawLot, *, at: datetime.datetime | None = None
) -> Certificate | None:
    """Return the newest version of the lot's certificate, if it has one.

    With ``at`` the newest that had been entered by then.
    """
    rows = lot.certificates.all()
    if at is not None:
        rows = rows.filter(entered_at__lte=at)
    return (
        rows.select_related("attachment", "entered_by__person")
        .order_by("-version")
        .first()
    )


def current_certificates(lots: Iterable[RawLot]) -> dict[int, Certificate]:
    """Return the newest certificate of each of these lots that has one, by lot id."""
    rows = Certificate.objects.filter(lot__in=list(lots)).select_related("attachment")
    return {row.lot_id: row for row in rows.order_by("version")}  # the last one stays


def certificate_facts(certificate: Certificate) -> dict[str, str | int | bool | None]:
    """Return a certificate version as plain JSON values."""
    return {
        "version": certificate.version,
        "reference": certificate.reference,
        "issued_on": certificate.issued_on.isoformat()
        if certificate.issued_on
        else None,
        "assay_percent": _text(certificate.assay_percent),
        "assay_basis": certificate.assay_basis,
        "assay_is_minimum": certificate.assay_is_minimum,
        "assay_half_width": _text(certificate.assay_half_width),
        "carbonate_percent": _text(certificate.carbonate_percent),
        "saponification_value": _text(certificate.saponification_value),
        "saponification_half_width": _text(certificate.saponification_half_width),
        "file_sha256": certificate.attachment.sha256
        if certificate.attachment
        else None,
    }


def _text(value: Decimal | None) -> str | None:
    return None if value is None else f"{value.normalize():f}"


def _may_be_released(lot: RawLot, certificate: Certificate | None) -> None:
    if lot.is_expired(local_day(timezone.now())):
        raise Refusal(
            f"{lot.code} expired on {lot.expires_on:%d %b %Y}. Reject it, or receive a"
            " fresh lot."
        )
    if lot.material.kind != Material.Kind.POTASH:
        return
    if certificate is None or certificate.assay_percent is None:
        raise Refusal(
            "Record the certificate of analysis first: potash is not released without"
            " its assay, because the alkali charge is computed from it."
        )
