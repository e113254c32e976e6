"""What happens to a signature when the record under it is changed, or its basis.

A signature is never taken away. A mark beside it says that it no longer counts, or that
something it rested on was revised; the batch is then looked at again.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable

from django.db import models
from django.utils import timezone

from batches import trace
from batches.lifecycle import BottleStatus
from batches.models import Batch, Bottle
from producer.models import Certificate, User
from quality.models import Signature, SignatureMark

Kind = SignatureMark.Kind
Meaning = Signature.Meaning
# Decisions that looked at the findings; the others follow from something else.
JUDGING = (Meaning.RELEASE, Meaning.UNHOLD, Meaning.REJECT)


@dataclasses.dataclass(frozen=True, kw_only=True)
class Out:
    """Bottles that are with somebody, and cannot be held any more."""

    holder: str
    count: int


def is_void(signature: Signature) -> bool:
    """Say whether a signature counts no more; its marks may have been prefetched."""
    return any(mark.kind == Kind.VOID for mark in signature.marks.all())


def judging(batch: Batch) -> list[Signature]:
    """Return the signatures that looked at the findings, oldest first, with marks."""
    rows = batch.signatures.filter(meaning__in=JUDGING).order_by("pk")
    return list(rows.prefetch_related("marks__entered_by__person"))


def standing(batch: Batch) -> list[Signature]:
    """Return the signatures that looked at the findings and are not void."""
    return [row for row in judging(batch) if not is_void(row)]


def newest(batch: Batch) -> Signature | None:
    """Return the last signature that looked at the findings, void or not."""
    return next(reversed(judging(batch)), None)


def mark_void(
    *, by: User, signatures: Iterable[Signature], sentence: str, reason: str
) -> list[int]:
    """Mark signatures void; return their ids. Callers hold the transaction."""
    return [
        _mark(by, one, kind=Kind.VOID, sentence=sentence, reason=reason)
        for one in signatures
    ]


def mark_revised(
    *,
    by: User,
    signatures: Iterable[Signature],
    certificate: Certificate,
    sentence: str,
    reason: str,
) -> list[int]:
    """Mark that a certificate under signatures was revised; return their ids."""
    return [
        _mark(
            by,
            one,
            kind=Kind.BASIS_REVISED,
            certificate=certificate,
            sentence=sentence,
            reason=reason,
        )
        for one in signatures
    ]


def bottles_here(batch_ids: Iterable[int]) -> int:
    """Return how many bottles of these batches are here and may still leave."""
    return Bottle.objects.filter(
        filling_lot__batch_id__in=list(batch_ids), status=BottleStatus.FILLED
    ).count()


def bottles_on_hand(batch_ids: Iterable[int]) -> int:
    """Return how many bottles of these batches are here, held or not."""
    return Bottle.objects.filter(
        filling_lot__batch_id__in=list(batch_ids),
        status__in=[BottleStatus.FILLED, BottleStatus.ON_HOLD],
    ).count()


def bottles_out(batch_ids: Iterable[int]) -> list[Out]:
    """Return how many bottles of these batches are out, by who has them."""
    rows = (
        Bottle.objects.filter(
            filling_lot__batch_id__in=list(batch_ids), status=BottleStatus.DISPATCHED
        )
        .order_by("consignee__name")
        .values_list("consignee__name")
        .annotate(count=models.Count("pk"))
    )
    return [Out(holder=name or "", count=count) for name, count in rows]


def made_from(batch: Batch) -> list[Batch]:
    """Return the batches that this one went into, at any depth."""
    ids = [pk for pk in trace.downstream_ids(batch.pk) if pk != batch.pk]
    return list(Batch.objects.listed().filter(pk__in=ids).order_by("pk"))


def _mark(
    by: User,
    signature: Signature,
    *,
    kind: str,
    sentence: str,
    reason: str,
    certificate: Certificate | None = None,
) -> int:
    row = SignatureMark(
        signature=signature,
        kind=kind,
        certificate=certificate,
        sentence=sentence,
        reason=reason,
        observed_at=timezone.now(),
        entered_by=by,
    )
    row.full_clean()
    row.save(force_insert=True)
    return signature.pk
