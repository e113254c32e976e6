"""What happened at the stove that a reviewer must know: half weighings, discrepancies.

An entry that a device kept and the book could not take is a discrepancy until somebody
settles it, and a weighing that was begun is incomplete until it is finished or taken
back. Neither goes away by being forgotten: both stop a release.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from batches.models import Batch, Discrepancy, DiscrepancyEnd
from batches.services.entries import Entries

Outcome = DiscrepancyEnd.Outcome


def discrepancies_of(batch: Batch) -> list[Discrepancy]:
    """Return the discrepancies of a batch with their ends, the oldest first."""
    rows = Discrepancy.objects.filter(batch=batch)
    return list(
        rows.select_related(
            "stock", "entered_by__person", "end__entered_by__person"
        ).order_by("pk")
    )


def end_of(row: Discrepancy) -> DiscrepancyEnd | None:
    """Return how a discrepancy was settled, or None."""
    return getattr(row, "end", None)


def said_of(row: Discrepancy) -> str:
    """Return a discrepancy as a sentence, with its end if it has one."""
    said = f"Discrepancy {row.pk}, {row.kind.replace('_', ' ')}: {row.refused}"
    end = end_of(row)
    if end is None:
        return f"{said} It is not settled."
    return f"{said} {Outcome(end.outcome).label.capitalize()}: {end.reason}"


def obstacles(entries: Entries, known: list[Discrepancy]) -> Iterator[str]:
    """Yield what of the stove stands in the way of a release."""
    for start in entries.open_starts:
        yield (
            f"A weighing of {start.source.code} was begun and neither finished nor"
            " taken back. Take it back with the reason."
        )
    for row in known:
        if end_of(row) is None:
            yield (
                f"{said_of(row)} Settle it: enter what happened, or explain why it is"
                " not entered."
            )


def notes(known: list[Discrepancy]) -> Iterator[str]:
    """Yield the discrepancies that were explained and not entered: to be weighed."""
    for row in known:
        end = end_of(row)
        if end is not None and end.outcome == Outcome.EXPLAINED:
            yield said_of(row)


def signed(known: list[Discrepancy]) -> dict[str, Any]:
    """Return what a signature keeps of discrepancies; nothing where there are none.

    Kept as it was shown and never compared: one may arrive from a device after the
    signature.
    """
    listed = [_kept(row) for row in known]
    return {"discrepancies": listed} if listed else {}


def _kept(row: Discrepancy) -> dict[str, Any]:
    end = end_of(row)
    return {
        "id": row.pk,
        "kind": row.kind,
        "refused": row.refused,
        "stock": row.stock.code if row.stock else None,
        "short_mg": row.short_mg,
        "outcome": end.outcome if end else None,
        "reason": end.reason if end else None,
    }
