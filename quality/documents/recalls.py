"""The recall list: on paper by holder, and as open data bottle by bottle."""

from __future__ import annotations

from collections.abc import Iterator

from batches import trace
from batches.documents.labels import bottle_address
from batches.models import Bottle
from batches.shares import Share
from producer import prints
from producer.codes import grouped
from producer.csv_lines import lines, safe_cell
from producer.models import Stock
from quality.models import Recall
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


def list_csv(root: Stock) -> Iterator[str]:
    """Return one line a bottle; memory stays bounded however many there are."""
    found = trace.track(root)
    shares = trace.shares(found)
    bottles = trace.bottles_of(found.batch_ids).iterator(chunk_size=2000)
    rows = (_row(row, shares[row.filling_lot.batch_id]) for row in bottles)
    return lines(CSV_HEAD, ([safe_cell(one) for one in row] for row in rows))


def _row(bottle: Bottle, share: Share) -> tuple[str, ...]:
    lot = bottle.filling_lot
    holder = bottle.consignee if bottle.status == "dispatched" else None
    return (
        grouped(bottle.code),
        bottle_address(bottle.code),
        lot.code,
        str(bottle.number),
        lot.batch.number,
        bottle.get_status_display(),
        place_of(bottle.status, holder.name if holder else ""),
        holder.phone if holder else "",
        holder.email if holder else "",
        f"{share.percent:.4f}",
        "yes" if share.is_least else "no",
    )
