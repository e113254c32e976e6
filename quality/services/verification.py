"""Does everything still add up? Each check walks its rows and yields its faults.

A fault is a sentence for people. The checks compare records that were written apart:
what one hand behind the program changes, another row still says otherwise. Nothing is
repaired here, and nothing is written.
"""

from __future__ import annotations

import dataclasses
import hashlib
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Any

from django.db.models import (
    BigIntegerField,
    CharField,
    Count,
    Exists,
    F,
    OuterRef,
    Q,
    QuerySet,
    Subquery,
    Sum,
    Value,
)
from django.db.models.functions import Coalesce

from batches.models import (
    Batch,
    BatchStatusChange,
    Bottle,
    BottleEvent,
    BulkWeighing,
    Charge,
    FillingLot,
    Input,
)
from producer import journal
from producer.models import (
    Attachment,
    JournalEntry,
    LotStatusChange,
    RawLot,
    Stock,
    StockMovement,
)
from producer.quantities import format_mass
from producer.services.attachments import path_of
from quality.models import Signature
from quality.services import signing

Kind = StockMovement.Kind
PIECE = 1 << 20  # bytes of a file read at a time


@dataclasses.dataclass(frozen=True, kw_only=True)
class Check:
    """A check by name: how many rows it walks, and the faults it finds in them."""

    name: str
    count: Callable[[], int]
    faults: Callable[[], Iterable[str]]


def attachment_faults() -> Iterator[str]:
    """Yield a fault for each upload that is missing or not the bytes it was."""
    for attachment in Attachment.objects.order_by("pk").iterator():
        path = path_of(attachment)
        try:
            found = _sha256(path)
        except OSError as error:
            yield (
                f"The file {attachment.original_name} ({attachment.path}) cannot be"
                f" read: {error.strerror}. Fetch it from a backup."
            )
            continue
        if found != attachment.sha256:
            yield (
                f"The file {attachment.original_name} ({attachment.path}) is not what"
                " was uploaded: its SHA-256 differs. Fetch it from a backup."
            )


def ledger_faults() -> Iterator[str]:
    """Yield a fault where stock on hand is not the sum of its movements.

    Every movement also carries the balance after it, so a row that was slipped in,
    taken out or changed shows at its place.
    """
    rows = StockMovement.objects.order_by("stock_id", "pk").values_list(
        "pk", "stock_id", "stock__code", "amount_mg", "balance_mg"
    )
    stock_id, balance = 0, 0
    for pk, of, code, amount, stated in rows.iterator():
        if of != stock_id:
            stock_id, balance = of, 0
        balance += amount
        if balance != stated:
            yield (
                f"Movement {pk} of {code} says {format_mass(stated)} was left, but its"
                f" movements up to there add up to {format_mass(balance)}."
            )
            balance = stated
    sums = _sum(
        StockMovement.objects.filter(stock=OuterRef("pk")), "stock", "amount_mg"
    )
    stocks = Stock.objects.annotate(moved=sums).exclude(on_hand_mg=F("moved"))
    for stock in stocks.order_by("pk").iterator():
        yield (
            f"{stock.code} says {format_mass(stock.on_hand_mg)} is on hand, but its"
            f" movements add up to {format_mass(stock.moved)}."
        )


def genealogy_faults() -> Iterator[str]:
    """Yield a fault where edges, charges and draws do not tell the same masses."""
    weighed = _sum(
        Charge.objects.current().filter(
            batch=OuterRef("batch_id"), source=OuterRef("source_id")
        ),
        "batch",
        "net_mg",
    )
    edges = (
        Input.objects.annotate(weighed=weighed)
        .exclude(mass_mg=F("weighed"))
        .order_by("batch_id", "source_id")
        .values_list("batch__stock__code", "source__code", "mass_mg", "weighed")
    )
    for number, code, mass, by_charges in edges.iterator():
        yield (
            f"The genealogy says batch {number} has {format_mass(mass)} of {code} in"
            f" it, but its charges add up to {format_mass(by_charges)}."
        )
    edge = Input.objects.filter(
        batch=OuterRef("batch_id"), source=OuterRef("source_id")
    )
    unknown = (
        Charge.objects.current()
        .exclude(Exists(edge))
        .order_by("pk")
        .values_list("batch__stock__code", "source__code", "net_mg")
    )
    for number, code, mass in unknown.iterator():
        yield (
            f"Batch {number} was charged with {format_mass(mass)} of {code}, which its"
            " genealogy does not know."
        )
    yield from _draw_faults()


def bulk_faults() -> Iterator[str]:
    """Yield a fault where a batch's stock was not made by its weighing."""
    made = _sum(
        StockMovement.objects.filter(
            stock=OuterRef("pk"), kind__in=[Kind.PRODUCTION, Kind.ADJUSTMENT]
        ),
        "stock",
        "amount_mg",
    )
    weighed = _sum(
        BulkWeighing.objects.current().filter(batch=OuterRef("pk")), "batch", "net_mg"
    )
    rows = (
        Batch.objects.annotate(made=made, weighed=weighed)
        .exclude(made=F("weighed"))
        .order_by("pk")
        .values_list("stock__code", "weighed", "made")
    )
    for number, by_weighing, by_ledger in rows.iterator():
        yield (
            f"Batch {number} was weighed at {format_mass(by_weighing)}, but the ledger"
            f" has {format_mass(by_ledger)} made."
        )


def filling_faults() -> Iterator[str]:
    """Yield a fault where bottles or masses of a filling lot do not agree."""
    drawn = _sum(
        StockMovement.objects.filter(
            stock=OuterRef("batch_id"), purpose=OuterRef("code"), kind=Kind.FILLING
        ),
        "stock",
        "amount_mg",
    )
    lots = FillingLot.objects.annotate(
        found=Count("bottles"),
        numbered=Count(
            "bottles", filter=Q(bottles__number__gte=1, bottles__number__lte=F("count"))
        ),
        drawn=drawn,
    )
    for lot in lots.order_by("pk").iterator():
        if not lot.found == lot.numbered == lot.count:
            yield (
                f"Filling lot {lot.code} has {lot.count} bottles by its record, but"
                f" {lot.found} exist, {lot.numbered} of them with a number it gave out."
            )
        if -lot.drawn != lot.filled_mg + lot.loss_mg:
            yield (
                f"Filling lot {lot.code} took"
                f" {format_mass(lot.filled_mg + lot.loss_mg)} by its record, but the"
                f" ledger has {format_mass(-lot.drawn)}."
            )


def status_faults() -> Iterator[str]:
    """Yield a fault where a state is not what the last recorded move led to."""
    for lot in _strays(
        RawLot.objects.select_related("stock"),
        LotStatusChange.objects.filter(lot=OuterRef("pk")),
        RawLot.Status.QUARANTINE,
    ):
        yield _stray(f"Raw lot {lot.code}", lot.status, lot.last)
    for batch in _strays(
        Batch.objects.select_related("stock"),
        BatchStatusChange.objects.filter(batch=OuterRef("pk")),
        "unknown",
    ):
        yield _stray(f"Batch {batch.number}", batch.status, batch.last)
    for bottle in _strays(
        Bottle.objects.all(),
        BottleEvent.objects.filter(bottle=OuterRef("pk")),
        "unknown",
    ):
        yield _stray(f"Bottle {bottle.code}", bottle.status, bottle.last)


def _count_states() -> int:
    return RawLot.objects.count() + Batch.objects.count() + Bottle.objects.count()


CHECKS = (
    Check(
        name="Journal, row by row",
        count=JournalEntry.objects.count,
        faults=journal.faults,
    ),
    Check(
        name="Signatures and what they signed",
        count=Signature.objects.count,
        faults=signing.faults,
    ),
    Check(
        name="Uploaded files",
        count=Attachment.objects.count,
        faults=attachment_faults,
    ),
    Check(
        name="Stock ledger",
        count=StockMovement.objects.count,
        faults=ledger_faults,
    ),
    Check(
        name="Charges and genealogy",
        count=Charge.objects.count,
        faults=genealogy_faults,
    ),
    Check(
        name="What batches made",
        count=Batch.objects.count,
        faults=bulk_faults,
    ),
    Check(
        name="Filling lots and bottles",
        count=FillingLot.objects.count,
        faults=filling_faults,
    ),
    Check(
        name="States and the moves that led to them",
        count=_count_states,
        faults=status_faults,
    ),
)


def _sha256(path: Path) -> str:
    digest = hashlib.sha256()
    with path.open("rb") as file:
        while piece := file.read(PIECE):
            digest.update(piece)
    return digest.hexdigest()


def _sum(rows: QuerySet[Any], group: str, field: str) -> Coalesce:
    """Return a subquery that adds up a field of the rows of one record, 0 if none.

    Subqueries, because two joined sums in one query would multiply each other.
    """
    total = rows.order_by().values(group).annotate(total=Sum(field)).values("total")
    return Coalesce(Subquery(total, output_field=BigIntegerField()), 0)


def _draw_faults() -> Iterator[str]:
    drawn = _sum(
        StockMovement.objects.filter(
            stock=OuterRef("pk"), kind__in=[Kind.DRAW, Kind.DRAW_BACK]
        ),
        "stock",
        "amount_mg",
    )
    charged = _sum(
        Charge.objects.current().filter(source=OuterRef("pk")), "source", "net_mg"
    )
    stocks = (
        Stock.objects.annotate(drawn=drawn, charged=charged)
        .exclude(drawn=-F("charged"))
        .order_by("pk")
    )
    for stock in stocks.iterator():
        yield (
            f"{format_mass(-stock.drawn)} was drawn from {stock.code} by the ledger,"
            f" but {format_mass(stock.charged)} by the charges."
        )


def _strays(
    records: QuerySet[Any], moves: QuerySet[Any], without: str
) -> Iterator[Any]:
    """Yield the records whose state is not ``last``; with no move, ``without``."""
    newest = Subquery(moves.order_by("-pk").values("new")[:1])
    last = Coalesce(newest, Value(without), output_field=CharField())
    strays = records.annotate(last=last).exclude(status=F("last"))
    yield from strays.order_by("pk").iterator()


def _stray(label: str, status: str, last: str) -> str:
    return (
        f"{label} is {status.replace('_', ' ')}, but its last recorded move led to"
        f" {last.replace('_', ' ')}."
    )
