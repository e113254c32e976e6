"""What happened at the stove that a reviewer must know: half weighings, discrepancies.

An entry that a device kept and the book could not take is a discrepancy until somebody
settles it, and a weighing that was begun is incomplete until it is finished or taken
back. Neither goes away by being forgotten: both stop a release. So does potash, oil or
acid that was explained to be in the pot: the weighings do not count it, so only a
titration after it tells what is left over.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from batches.models import (
    Batch,
    Discrepancy,
    DiscrepancyEnd,
    Formula,
    Reading,
    Titration,
)
from batches.services import discrepancies, kept_figures
from batches.services.entries import Entries, first_keys, standing
from quality.services.alkali.titrated import last_titration
from quality.services.judgement import outdated
from quality.services.record_rows import moment_text

Outcome = DiscrepancyEnd.Outcome


def discrepancies_of(batch: Batch) -> list[Discrepancy]:
    """Return the discrepancies of a batch with their ends, the oldest first."""
    rows = Discrepancy.objects.filter(batch=batch)
    return list(
        rows.select_related(
            "batch__stock",
            "stock__lot__material",
            "entered_by__person",
            "end__entered_by__person",
        ).order_by("pk")
    )


def end_of(row: Discrepancy) -> DiscrepancyEnd | None:
    """Return how a discrepancy was settled, or None."""
    return getattr(row, "end", None)


def said_of(row: Discrepancy) -> str:
    """Return a discrepancy as a sentence, with its end if it has one."""
    said = f"{_name(row)}: {what_of(row)}. {row.refused}"
    end = end_of(row)
    if end is None:
        return f"{said} It is not settled."
    return f"{said} {Outcome(end.outcome).label.capitalize()}: {end.reason}"


def what_of(row: Discrepancy) -> str:
    """Return what was sent, such as “40 g of L26-1-1”."""
    return kept_figures.sent_words(row)


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
        elif not _is_accounted_for(entries, row):
            yield f"{_name(row)}: {what_of(row)} is in it, or may be. {_way_out(row)}"


def notes(known: list[Discrepancy]) -> Iterator[str]:
    """Yield what was not entered, or not as it was sent: to be weighed."""
    for row in known:
        end = end_of(row)
        if end is None:
            continue
        if end.outcome == Outcome.EXPLAINED or discrepancies.entered_otherwise(
            row, end
        ):
            yield said_of(row)


def _is_accounted_for(entries: Entries, row: Discrepancy) -> bool:
    """Say whether nothing of it can be in there that nobody measured since."""
    if not discrepancies.went_in(row, end_of(row)):
        return True
    return not kept_figures.moves_alkali(row) or _is_measured_after(entries, row)


def _is_measured_after(entries: Entries, row: Discrepancy) -> bool:
    """Say whether free alkali was titrated after it went in; of a dilution, the pH.

    By both clocks, as :func:`.outdated` has it: observed after it went in, and entered
    after it arrived. It cannot have gone in after it arrived, whatever its device said.
    """
    last: Reading | Titration | None = (
        _last_ph(entries) if _is_dilution(entries.batch) else last_titration(entries)[0]
    )
    if last is None:
        return False
    rows: list[Reading | Titration] = [
        *(entries.readings if isinstance(last, Reading) else entries.titrations)
    ]
    first = first_keys(rows)[last.pk]
    entered_at = next(one.entered_at for one in rows if one.pk == first)
    went_in_at = min(row.observed_at, row.entered_at)
    return last.observed_at > went_in_at and entered_at > row.entered_at


def _last_ph(entries: Entries) -> Reading | None:
    read = [
        one
        for one in standing(entries.readings)
        if one.characteristic == Reading.Characteristic.PH
    ]
    return None if not read or outdated(entries, read[-1]) else read[-1]


def _is_dilution(batch: Batch) -> bool:
    """Say whether its free alkali cannot be titrated: a dilution is too thin for it."""
    return batch.kind == Formula.Kind.DILUTION


def _way_out(row: Discrepancy) -> str:
    if not row.batch.is_open:
        return (
            "No weighing counts it, and its record is closed: nothing can be measured"
            " in it any more. Reject it."
        )
    what = "Read the pH" if _is_dilution(row.batch) else "Titrate the free alkali"
    return f"No weighing counts it. {what}: that was not done since it arrived here."


def _name(row: Discrepancy) -> str:
    return f"Discrepancy {row.pk}, {row.kind.replace('_', ' ')}"


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
        "title": row.sent.get("title", ""),
        "said": what_of(row),
        "shown": row.sent.get("shown", []),
        "figures": kept_figures.sent_in(row),
        "observed_at": moment_text(row.observed_at),
        "entered_at": moment_text(row.entered_at),
        "entered_by": row.entered_by_id,
        "refused": row.refused,
        "stock": row.stock.code if row.stock else None,
        "short_mg": row.short_mg,
        "outcome": end.outcome if end else None,
        "reason": end.reason if end else None,
    }
