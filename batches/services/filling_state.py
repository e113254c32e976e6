"""Whether the bottles of a filling lot may leave: released, or from before releases."""

from __future__ import annotations

from collections.abc import Collection

from batches.models import FillingBalance, FillingLot


def why_not_leaving(lots: Collection[FillingLot]) -> dict[int, str]:
    """Return a sentence for each of these lots that was not released, by its id.

    A lot without a balance was filled before a release was asked for: it may leave.
    One query, however many lots.
    """
    waiting = FillingBalance.objects.filter(
        filling_lot__in=[lot.pk for lot in lots], filling_lot__release=None
    )
    return {
        lot_id: (
            f"Filling lot {code} is not released yet. Its page says what is still to"
            " do."
        )
        for lot_id, code in waiting.values_list("filling_lot_id", "filling_lot__code")
    }
