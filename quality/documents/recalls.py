"""The recall list: on paper by holder, and as open data bottle by bottle."""

from __future__ import annotations

import csv
from collections.abc import Iterator

from batches import trace
from batches.documents.labels import bottle_address
from batches.models import Bottle
from producer import prints
from producer.codes import grouped
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
)


def list_pdf(root: Stock, recall: Recall | None, *, printed_by: str) -> bytes:
    """Return the list of what is affected, by holder, to telephone from."""
    affected: Affected = affected_by(root)
    return prints.pdf(
        "quality/recall_list.html",
        {"root": root, "recall": recall, "affected": affected},
        printed_by=printed_by,
    )


class _Line:
    """A file that hands back what is written to it, for streaming a CSV."""

    def write(self, text: str) -> str:
        """Return the line."""
        return text


def list_csv(root: Stock) -> Iterator[str]:
    """Yield one line a bottle; memory stays bounded however many there are."""
    writer = csv.writer(_Line())
    yield writer.writerow(CSV_HEAD)
    bottles = trace.bottles_of(trace.track(root).batch_ids)
    for bottle in bottles.iterator(chunk_size=2000):
        yield writer.writerow([safe_cell(value) for value in _row(bottle)])


def _row(bottle: Bottle) -> tuple[str, ...]:
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
    )


def safe_cell(value: str) -> str:
    """Keep a spreadsheet from taking a name for a formula."""
    return f"'{value}" if value.startswith(("=", "+", "-", "@", "\t", "\r")) else value
