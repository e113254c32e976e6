"""The recall list: on paper by holder, and as open data bottle by bottle."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from typing import Any

from batches import trace
from batches.documents.labels import bottle_address
from batches.lifecycle import BottleStatus
from batches.shares import Share
from producer import prints
from producer.codes import grouped
from producer.csv_lines import lines, safe_cell
from producer.models import Stock
from quality.models import Recall
from quality.services.recall_status import standing_of
from quality.services.recalling import Affected, affected_by, place_of

CSV_HEAD = (
    "bottle",
    "address",
    "filling lot",
    "number",
    "batch",
    "status",
    "holder",
    "telephone",
    "e-mail",
    "share of what went in (%)",
    "share is at least that",
)


def list_pdf(root: Stock, recall: Recall | None, *, printed_by: str) -> bytes:
    """Return the list of what is affected, by holder, to telephone from."""
    affected: Affected = affected_by(root)
    return prints.pdf(
        "quality/recall_list.html",
        {"root": root, "recall": recall, "affected": affected},
        printed_by=printed_by,
    )


def report_pdf(recall: Recall, *, printed_by: str) -> bytes:
    """Return how a recall stands, with names: for inside."""
    return prints.pdf(
        "quality/recall_report_print.html",
        {"recall": recall, "now": standing_of(recall)},
        printed_by=printed_by,
    )


def list_csv(root: Stock) -> Iterator[str]:
    """Return one line a bottle; memory stays bounded however many there are."""
    return lines(CSV_HEAD, _rows(root))


def _rows(root: Stock) -> Iterator[tuple[Any, ...]]:
    shares: dict[int, tuple[str, str]] = {}
    start, lot, shown_lot = bottle_address(""), "", ""
    cells: dict[tuple[str, str | None], tuple[str, ...]] = {}
    for bottle in trace.bottles_from(root.pk):
        code, filling_lot, number, batch_id, _, status, holder, _, _ = bottle
        if filling_lot != lot:  # the same on many lines, told once
            lot, cells = filling_lot, {}
            shown_lot = safe_cell(lot)
        told = cells.get((status, holder))
        if told is None:
            # Asked for after the bottles: what they are of is among the batches by now.
            shares = shares or _shares(root)
            told = (*_of_many(bottle), *shares.get(batch_id, NOT_IN_IT))
            cells[status, holder] = told
        shown = grouped(code)
        yield (shown, start + shown, shown_lot, number, *told)


def _of_many(bottle: trace.TracedBottle) -> tuple[str, ...]:
    """Return the cells that bottles of one lot in one place have in common."""
    is_out = bottle.status == BottleStatus.DISPATCHED
    return (
        safe_cell(bottle.batch),
        BottleStatus(bottle.status).label,
        safe_cell(place_of(bottle.status, bottle.holder or "")),
        safe_cell(bottle.phone or "") if is_out else "",
        safe_cell(bottle.email or "") if is_out else "",
    )


def _shares(root: Stock) -> dict[int, tuple[str, str]]:
    found = trace.shares_in(root.pk, trace.downstream_ids(root.pk))
    return {pk: _cells(share) for pk, share in found.items()}


def _cells(share: Share) -> tuple[str, str]:
    return f"{share.percent:.4f}", "yes" if share.is_least else "no"


# Of a batch that lost its last charge of it since its bottles were found.
NOT_IN_IT = _cells(Share(least=Fraction(0)))
