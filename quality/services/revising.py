"""A certificate revised after batches were made and signed on it.

A batch keeps the figure of its day. Its signature is marked “basis later revised”, the
balance is worked out anew beside the signed one, and every batch that has it in it, at
any depth, is put on hold with its bottles until a reviewer has decided.
"""

from __future__ import annotations

import dataclasses
import functools
import uuid
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from django.core.files.base import File
from django.db import transaction

from batches.chemistry.errors import ChemistryError
from batches.models import Batch, Charge
from batches.services.entries import Entries
from producer.models import Certificate, RawLot, User
from producer.quantities import format_number
from producer.services import intake
from quality.models import Signature
from quality.services import holding, marks, record
from quality.services.alkali import words
from quality.services.alkali.inputs import NotKnownError
from quality.services.alkali.revised import revised_balance

# What of a certificate a batch rests on; its number and its day move nothing.
FIGURES = (
    "assay_percent",
    "assay_basis",
    "assay_is_minimum",
    "assay_half_width",
    "carbonate_percent",
    "saponification_value",
    "saponification_half_width",
)


@dataclasses.dataclass(frozen=True, kw_only=True)
class Used:
    """A batch made with a former version: how it was signed, and what it would be now.

    ``signed_excess`` and ``new_excess`` are E in words, empty where there is none, and
    ``why_not`` then says why it was not worked out anew.
    """

    batch: Batch
    versions: list[Certificate]
    signature: Signature | None
    signed_excess: str
    new_excess: str
    why_not: str
    on_hand: int
    out: list[marks.Out]


@dataclasses.dataclass(frozen=True, kw_only=True)
class Below:
    """A batch that a batch made with a former version went into, at any depth."""

    batch: Batch
    on_hand: int
    out: list[marks.Out]


@dataclasses.dataclass(frozen=True, kw_only=True)
class Revision:
    """What a lot's newest certificate changes: batches, and batches below them."""

    lot: RawLot
    certificate: Certificate | None
    used: list[Used]
    below: list[Below]

    @property
    def bottles_out(self) -> int:
        """How many bottles are out and cannot be held."""
        used = sum(one.count for row in self.used for one in row.out)
        return used + sum(one.count for row in self.below for one in row.out)


@transaction.atomic
def record_certificate(
    *,
    by: User,
    lot: RawLot,
    values: intake.CertificateValues,
    upload: File[bytes] | None,
    reason: str = "",
    submission: uuid.UUID | None = None,
) -> Certificate:
    """Add a version of a lot's certificate, with what it means for what was signed.

    As :func:`producer.services.intake.record_certificate`. Where a further version
    has other figures, every signature over the findings of a batch that was weighed
    with a former one is marked, and released batches are put on hold with their
    bottles, those too that such a batch went into. It needs no right of a reviewer to
    hold them; to lift it does.
    """
    return intake.record_certificate(
        by=by,
        lot=lot,
        values=values,
        upload=upload,
        reason=reason,
        also=functools.partial(_follow, by),
        submission=submission,
    )


def revision_of(lot: RawLot, *, mark: str = ".") -> Revision:
    """Return what was made with former versions of a lot's certificate.

    ``mark`` is the decimal mark of what is said. Nothing is written.
    """
    certificate = intake.current_certificate(lot)
    batches = _made_with_former(lot, certificate) if certificate else []
    return Revision(
        lot=lot,
        certificate=certificate,
        used=[_used(batch, lot, certificate, mark) for batch in batches],
        below=[
            Below(
                batch=one,
                on_hand=marks.bottles_on_hand([one.pk]),
                out=marks.bottles_out([one.pk]),
            )
            for one in _below(batches)
        ],
    )


def made_with(lot: RawLot) -> list[Batch]:
    """Return the batches whose charges of a lot rest on a certificate of it."""
    return list(
        Batch.objects.listed()
        .filter(
            pk__in=Charge.objects.current()
            .filter(certificate__lot=lot)
            .values("batch_id")
        )
        .order_by("pk")
    )


def new_excess(entries: Entries, lot: RawLot, *, mark: str = ".") -> tuple[str, str]:
    """Return E with the newest certificate of a lot in words, or why there is none."""
    try:
        found = revised_balance(entries, lot)
    except (NotKnownError, ChemistryError) as reason:
        return "", str(reason)
    return words.amount_in_words(found, mark=mark), ""


def signed_excess(signature: Signature | None, *, mark: str = ".") -> str:
    """Return E by the weighings as it was signed, in words; nothing if not kept."""
    if signature is None:
        return ""
    computed = record.part(signature.record, "computed") or {}
    kept = computed.get("excess_alkali_g", {}).get("by_weighing")
    if kept is None:
        return ""
    spread = float(kept["standard_uncertainty"]) * float(kept["coverage_factor"])
    return words.grams_in_words(float(kept["value"]), spread, mark=mark)


def differ(one: Certificate, other: Certificate) -> bool:
    """Say whether two versions have figures that are not the same."""
    return any(getattr(one, name) != getattr(other, name) for name in FIGURES)


def in_words(certificate: Certificate, *, mark: str = ".") -> str:
    """Return which version it is and the figure it gives: “version 2, assay 87 %”."""

    def said(value: Decimal, half_width: Decimal | None) -> str:
        half = f" ± {format_number(half_width, mark=mark)}" if half_width else ""
        return format_number(value, mark=mark) + half

    parts = [f"version {certificate.version}"]
    if certificate.assay_percent is not None:
        least = "at least " if certificate.assay_is_minimum else ""
        amount = said(certificate.assay_percent, certificate.assay_half_width)
        basis = certificate.get_assay_basis_display()
        parts.append(f"assay {least}{amount} %, {basis}")
    if certificate.saponification_value is not None:
        amount = said(
            certificate.saponification_value, certificate.saponification_half_width
        )
        parts.append(f"saponification value {amount} mg KOH/g")
    if certificate.carbonate_percent is not None:
        amount = format_number(certificate.carbonate_percent, mark=mark)
        parts.append(f"carbonate {amount} %")
    return ", ".join(parts)


def made_with_former(charges: list[Charge], new: Certificate) -> list[Charge]:
    """Return the charges that rest on another version with other figures."""
    return [
        row
        for row in charges
        if row.certificate is not None
        and row.certificate.lot_id == new.lot_id
        and row.certificate_id != new.pk
        and differ(row.certificate, new)
    ]


def why_held(code: str) -> str:
    """Return how the reason of every hold by a revised certificate begins."""
    return f"The certificate of {code} was revised"


def _follow(by: User, new: Certificate, former: Certificate) -> Mapping[str, Any]:
    """Mark and hold what was made with former figures; return the journal's facts."""
    if not differ(new, former):
        return {}
    direct = _made_with_former(new.lot, new)
    below = _below(direct)
    # In one order for everybody, and so that no draw is under way.
    ids = [batch.pk for batch in (*direct, *below)]
    holding.lock(ids)
    revised: list[int] = []
    for batch in direct:
        revised += marks.mark_revised(
            by=by,
            signatures=marks.standing(batch),
            certificate=new,
            sentence=_sentence(new, batch),
            reason=new.reason,
        )
    why = f"{why_held(new.lot.code)}: {in_words(new)}."
    held = holding.hold(by=by, batch_ids=ids, reason=why)
    return {"signatures_revised": revised, **held.facts}


def _sentence(new: Certificate, batch: Batch) -> str:
    former = "; ".join(in_words(one) for one in _versions(batch, new))
    return (
        f"{new.lot.code} was weighed in by its certificate {former}, and that is now"
        f" {in_words(new)}. The batch keeps the figure of its day."
    )


def _versions(batch: Batch, new: Certificate) -> list[Certificate]:
    charges = list(
        Charge.objects.current().filter(batch=batch).select_related("certificate")
    )
    used = {
        row.certificate.version: row.certificate
        for row in made_with_former(charges, new)
        if row.certificate is not None
    }
    return [used[version] for version in sorted(used)]


def _made_with_former(lot: RawLot, new: Certificate) -> list[Batch]:
    charges = Charge.objects.current().filter(certificate__lot=lot)
    rows = made_with_former(list(charges.select_related("certificate")), new)
    ids = {row.batch_id for row in rows}
    return list(Batch.objects.listed().filter(pk__in=ids).order_by("pk"))


def _below(batches: list[Batch]) -> list[Batch]:
    ids = holding.below(batch.pk for batch in batches)
    return list(Batch.objects.listed().filter(pk__in=ids).order_by("pk"))


def _used(
    batch: Batch, lot: RawLot, certificate: Certificate | None, mark: str
) -> Used:
    signature = marks.newest(batch)
    new, why_not = new_excess(Entries(batch), lot, mark=mark)
    return Used(
        batch=batch,
        versions=_versions(batch, certificate) if certificate else [],
        signature=signature,
        signed_excess=signed_excess(signature, mark=mark),
        new_excess=new,
        why_not=why_not,
        on_hand=marks.bottles_on_hand([batch.pk]),
        out=marks.bottles_out([batch.pk]),
    )
