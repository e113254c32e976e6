"""A charge that was of another raw lot than was written down.

A number is misread, and found out days or months later. What was weighed went in all
the same, so this corrects history and draws nothing: a lot that may not be drawn from
now, or whose book has too little left, is taken if somebody says that it was that lot
for certain; what follows is as if it had been written down so at first.

No loop can arise from it, at any time: nothing is ever in a raw lot, so no way through
the genealogy leads into one. That is why a batch is not put in the place of a lot, nor
a lot in the place of a batch, once the batch that it went into is signed.
"""

from __future__ import annotations

import dataclasses
import datetime
from collections.abc import Iterable, Iterator, Sequence

from django.db import models

from batches.models import Charge, FormulaLine
from batches.services import planning, sources
from batches.services.cooking import drawing, weighed_since
from batches.services.figures import Figure, figure_of
from producer.errors import NotEnough, Refusal
from producer.models import RawLot, Stock, StockMovement
from producer.quantities import format_mass
from producer.services.checks import local_day

# What the origin of a figure ends with that nobody had entered when it was weighed in.
LATER_WORDS = "; entered later"


def offered(charge: Charge) -> models.QuerySet[Stock]:
    """Return the raw lots that a charge can have been of, its own too, in turn.

    Those of its material that had come by then, whatever became of them since: the
    true lot may be used up, held or past its date by now.
    """
    if charge.source.kind != Stock.Kind.LOT:
        return Stock.objects.none()
    return (
        Stock.objects.filter(
            lot__material=charge.source.lot.material_id,
            lot__received_on__lte=local_day(charge.observed_at),
        )
        .select_related("lot__material", "lot__supplier")
        .order_by("lot__received_on", "pk")
    )


def may_take_its_place(charge: Charge, source: Stock) -> None:
    """Refuse what is no raw lot, in place of what is none, after the signature."""
    if Stock.Kind.BATCH in {charge.source.kind, source.kind}:
        raise Refusal(
            "After the signature a charge is corrected to another raw lot only: the"
            " batch may have gone into others by now, and a batch must never be in"
            " itself. Take this charge back instead, and say in the reason what went"
            " in; the batch is then held, and a reviewer rejects it or reworks it.",
            field="source",
        )


def must_fit(
    *, line: FormulaLine | None, source: Stock, observed_on: datetime.date
) -> None:
    """Refuse a raw lot that it cannot have been: of another material, or not there yet.

    The lot is locked until the transaction ends, so that a recall which opens at the
    same moment either finds the batch or waits.
    """
    lot = (
        RawLot.objects.select_for_update(of=("self",))
        .select_related("stock", "material")
        .get(pk=source.pk)
    )
    if line is None:
        sources.must_correct(lot)
    else:
        sources.must_be_asked_for(line=line, lot=lot)
    if lot.received_on > observed_on:
        raise Refusal(
            f"{lot.code} came on {lot.received_on:%d %b %Y}, after this was weighed in"
            f" on {observed_on:%d %b %Y}. It was another lot.",
            field="source",
        )


def first_of(charge: Charge) -> Charge:
    """Return the first row of the chain of corrections that a charge ends."""
    return drawing.chain_of(charge)[0]


def figure_then(charge: Charge, source: Stock) -> Figure | None:
    """Return what a raw lot gives to the computation, as known when it was weighed in.

    Where nothing of it had been entered by then, what was entered first counts more
    than nothing; the origin says so.
    """
    lot = planning.lot_of(source)
    try:
        return figure_of(lot, at=first_of(charge).entered_at)
    except Refusal:
        found = figure_of(lot)
    if found is None:
        return None
    return dataclasses.replace(found, origin=found.origin + LATER_WORDS)


def in_the_way(row: Charge) -> list[str]:
    """Return why the lot of a corrected charge could not be drawn from, as sentences.

    Its state as it is now, its dates on the day of the charge, what its book lacks, and
    what was weighed or counted of either lot after it and speaks against it.
    ``row`` is not saved yet; its lot is locked.
    """
    drawing.lock_stocks([row.source_id, *_former_source(row)])
    return [
        *dates_and_state(row.source.lot, row),
        *_short(row),
        *weighed_since.speaks_against(row),
    ]


def dates_and_state(lot: RawLot, row: Charge) -> Iterator[str]:
    """Yield what of a lot forbade to draw from it, for the charge ``row``."""
    lot = RawLot.objects.select_related("stock").get(pk=lot.pk)
    if lot.status != RawLot.Status.RELEASED:
        yield (
            f"{lot.code} is {lot.get_status_display()}, not released: what it is in"
            " is not released either while that stands."
        )
    yield from past_its_date(lot, local_day(row.observed_at))


def past_its_date(lot: RawLot, on: datetime.date) -> Iterator[str]:
    """Yield that a lot was past its expiry or retest date on the day of a charge."""
    if lot.expires_on is not None and lot.is_expired(on):
        yield (
            f"{lot.code} had expired on {lot.expires_on:%d %b %Y} when it was weighed"
            f" in on {on:%d %b %Y}."
        )
    if lot.retest_on is not None and lot.is_retest_due(on):
        yield (
            f"{lot.code} was due for retest on {lot.retest_on:%d %b %Y} when it was"
            f" weighed in on {on:%d %b %Y}."
        )


def moved_in(rows: Sequence[Charge], standing: Iterable[Charge]) -> Iterator[Charge]:
    """Yield the standing charges of a raw lot that a correction put in the batch.

    ``rows`` are all charges of the batch, the superseded too.
    """
    known = {row.pk: row for row in rows}
    for row in standing:
        former = row
        while former.supersedes_id is not None:
            former = known[former.supersedes_id]
        if row.source_id != former.source_id and row.source.kind == Stock.Kind.LOT:
            yield row


def stop_unless_certain(row: Charge, found: list[str], *, certain: bool) -> None:
    """Refuse a lot that something stands in the way of, unless it was that lot."""
    if not found or certain:
        return
    kind = NotEnough if drawing.lacking_mg(row) else Refusal
    raise kind(
        f"{' '.join(found)} If it was this lot all the same, say so below; else choose"
        " the lot that it was.",
        field="source",
    )


def counted_since(row: Charge) -> list[str]:
    """Return the codes of the two lots of which a count was taken after the charge.

    A count took the wrong number into the book then: it is off by that mass now.
    ``row`` is the corrected charge, saved.
    """
    first = first_of(row)
    rows = StockMovement.objects.filter(
        stock__in=[row.source_id, *_former_source(row)],
        kind=StockMovement.Kind.ADJUSTMENT,
        entered_at__gt=first.entered_at,
        entered_at__lt=row.entered_at,
    ).exclude(purpose=row.batch.number)
    return sorted(set(rows.values_list("stock__code", flat=True)))


def _short(row: Charge) -> Iterator[str]:
    lacking = drawing.lacking_mg(row)
    if lacking:
        book = row.container.code if row.container else row.source.code
        yield (
            f"By its book {book} holds {format_mass(row.net_mg - lacking)}, and"
            f" {format_mass(row.net_mg)} of it were weighed in: {format_mass(lacking)}"
            f" are added to the book in the same act, and {row.source.code} is to be"
            " counted."
        )


def _former_source(row: Charge) -> list[int]:
    if row.supersedes_id is None:
        return []
    former = Charge.objects.filter(pk=row.supersedes_id)
    return list(former.values_list("source_id", flat=True))
