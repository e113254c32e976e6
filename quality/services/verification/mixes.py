"""Spray mixes: each drew from its batch what it says it took."""

from __future__ import annotations

from collections.abc import Iterator

from django.db.models import OuterRef

from batches.models import SprayMix
from producer.models import StockMovement
from producer.quantities import format_mass
from quality.services.verification.masses import sum_of


def faults() -> Iterator[str]:
    """Yield a fault for each mix, as it stands, that the ledger tells otherwise.

    One that was taken back has given all of it back.
    """
    drawn = sum_of(
        StockMovement.objects.filter(
            stock=OuterRef("source_id"), purpose=OuterRef("code")
        ),
        "purpose",
        "amount_mg",
    )
    rows = SprayMix.objects.filter(superseded_by__isnull=True).annotate(drawn=drawn)
    for row in rows.select_related("source").order_by("pk").iterator():
        if -row.drawn != row.mass_mg:
            yield (
                f"Spray mix {row.code} took {format_mass(row.mass_mg)} of"
                f" {row.source.code} by its record, but the ledger has"
                f" {format_mass(-row.drawn)}."
            )
