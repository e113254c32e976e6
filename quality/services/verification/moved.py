"""Charges that were corrected to another stock: nothing may come to be in itself by it.

A loop cannot arise from a raw lot, because nothing is in one. So this is what keeps
loops out once a batch is signed: a lot takes the place of a lot, of what the line asks
for, and no lot has anything in it.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django.db.models import Exists, F, OuterRef, QuerySet

from batches.models import Batch, Charge, Input
from producer.models import RawLot, Stock
from quality.models import Signature

Kind = Stock.Kind


def faults() -> Iterator[str]:
    """Yield a fault where a charge was moved as none may be, or a lot has an input."""
    yield from _of_two_kinds()
    corrected: QuerySet[Any] = (
        Charge.objects.exclude(supersedes__isnull=True)
        .exclude(supersedes__source=F("source"))
        .annotate(signed=Exists(_signed_before()))
        .select_related(
            "source__lot__material",
            "supersedes__source",
            "line__material",
            "batch__stock",
        )
    )
    for row in corrected.order_by("pk").iterator():
        was, now = row.supersedes.source, row.source
        if row.signed and Kind.BATCH in {was.kind, now.kind}:
            yield (
                f"A charge of batch {row.batch.number} was corrected from {was.code} to"
                f" {now.code} after the batch was signed, though not both are raw lots:"
                " a batch could come to be in itself."
            )
        line = row.line
        if now.kind == Kind.LOT and line and line.material_id != now.lot.material_id:
            yield (
                f"A charge of batch {row.batch.number} was corrected to {now.code},"
                f" which is {now.lot.material.name}, not what its line asks for."
            )


def _of_two_kinds() -> Iterator[str]:
    """Yield a fault where a raw lot has something in it, or a batch is none."""
    into_a_lot = Input.objects.filter(batch__stock__kind=Kind.LOT)
    for edge in into_a_lot.select_related("batch__stock", "source").order_by("pk"):
        yield (
            f"The genealogy says that {edge.source.code} is in {edge.batch.number},"
            " which is a raw lot: nothing is ever in one."
        )
    for lot in RawLot.objects.select_related("stock").exclude(stock__kind=Kind.LOT):
        yield f"{lot.code} is a raw lot by its record, but its stock is of a batch."
    for batch in Batch.objects.select_related("stock").exclude(stock__kind=Kind.BATCH):
        yield f"{batch.number} is a batch by its record, but its stock is of a lot."


def _signed_before() -> QuerySet[Signature]:
    return Signature.objects.filter(
        batch=OuterRef("batch"), entered_at__lt=OuterRef("entered_at")
    )
