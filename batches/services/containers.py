"""Containers on the scale: what their weight says beside the book."""

from __future__ import annotations

import datetime
import uuid
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.utils import timezone

from batches.chemistry.ageing import Uptake, Verdict, usable_after, weigh_against_book
from batches.chemistry.errors import ChemistryError
from batches.models import ContainerWeighing
from batches.services import sources
from batches.services.cooking.plausible import check_load
from batches.services.cooking.rows import newest
from producer import journal
from producer.errors import Refusal
from producer.models import (
    Instrument,
    Material,
    RawLot,
    Right,
    Stock,
    StockMovement,
    User,
)
from producer.quantities import format_mass, format_number, grams, milligrams
from producer.services import intake
from producer.services.checks import need_reason, plausible_time, require

# What sets the book to a weighing of its own; from then on each draw adds its doubt.
FRESH_BOOK = (StockMovement.Kind.RECEIPT, StockMovement.Kind.ADJUSTMENT)


@transaction.atomic
def weigh_container(
    *,
    by: User,
    lot: RawLot,
    scale: Instrument,
    gross_mg: int,
    tare_mg: int,
    observed_at: datetime.datetime | None = None,
    submission: uuid.UUID | None = None,
) -> ContainerWeighing:
    """Record what the containers of a lot weigh, and what that says.

    All containers of the lot together, because the book knows the lot as a whole. The
    book stays as it is: a stock-take sets it, this only compares. Released potash that
    got heavier goes on hold; a reviewer lifts that.
    """
    require(by, Right.MAKER)
    observed_at = plausible_time(observed_at or timezone.now())
    check_load(scale, gross_mg)
    stock = Stock.objects.select_for_update().get(pk=lot.pk)
    row = _filled(
        ContainerWeighing(stock=stock, entered_by=by, observed_at=observed_at),
        lot=lot,
        scale=scale,
        masses=(gross_mg, tare_mg, stock.on_hand_mg),
        before=timezone.now(),
    )
    row.save(force_insert=True)
    held = _hold(by, lot, row)
    journal.write(
        by=by,
        act="container weighed",
        subject=lot,
        label=lot.code,
        after={**container_facts(row), **held},
        submission=submission,
    )
    return row


@transaction.atomic
def amend_container(
    *,
    by: User,
    weighing: ContainerWeighing,
    reason: str,
    gross_mg: int = 0,
    tare_mg: int = 0,
    void: bool = False,
    submission: uuid.UUID | None = None,
) -> ContainerWeighing:
    """Correct the weighing of a container, or take it back, by a new row.

    It stays beside the book as it was when the container was weighed. A hold that it
    brought stays until a reviewer lifts it.
    """
    require(by, Right.MAKER)
    # Two people who correct it at once wait here for each other.
    Stock.objects.select_for_update().get(pk=weighing.stock_id)
    newest(weighing, ContainerWeighing.objects.all())
    lot = RawLot.objects.select_related("stock", "material").get(pk=weighing.stock_id)
    row = ContainerWeighing(
        stock=weighing.stock,
        entered_by=by,
        observed_at=weighing.observed_at,
        supersedes=weighing,
        reason=need_reason(reason),
        is_void=void,
    )
    if void:
        row.scale, row.book_mg = weighing.scale, weighing.book_mg
        row.gross_mg = row.tare_mg = row.net_mg = 0
        row.full_clean()
    else:
        _filled(
            row,
            lot=lot,
            scale=weighing.scale,
            masses=(gross_mg, tare_mg, weighing.book_mg),
            before=weighing.entered_at,
        )
    row.save(force_insert=True)
    held = _hold(by, lot, row)
    journal.write(
        by=by,
        act="container weighing taken back" if void else "container weighing corrected",
        subject=lot,
        label=lot.code,
        before=container_facts(weighing),
        after={**container_facts(row), **held},
        reason=row.reason,
        submission=submission,
    )
    return row


def container_facts(row: ContainerWeighing) -> dict[str, Any]:
    """Return a container weighing as plain JSON values."""
    return {
        "gross_mg": row.gross_mg,
        "tare_mg": row.tare_mg,
        "net_mg": row.net_mg,
        "book_mg": row.book_mg,
        "is_void": row.is_void,
        "scale": row.scale.name,
        "sentence": row.sentence,
        "observed_at": row.observed_at.isoformat(),
    }


def _hold(by: User, lot: RawLot, row: ContainerWeighing) -> dict[str, str]:
    """Put potash that is to be held on hold, if it was released."""
    if not row.sentence.startswith(sources.HOLD_WORDS):
        return {}
    return intake.hold_if_released(by, lot, row.sentence)


def _filled(
    row: ContainerWeighing,
    *,
    lot: RawLot,
    scale: Instrument,
    masses: tuple[int, int, int],
    before: datetime.datetime,
) -> ContainerWeighing:
    if scale.kind != Instrument.Kind.SCALE:
        raise Refusal("Choose the scale it was weighed on.", field="scale")
    row.scale = scale
    row.gross_mg, row.tare_mg, row.book_mg = masses
    row.net_mg = row.gross_mg - row.tare_mg
    row.full_clean()
    doubt = expanded_uncertainty(lot, scale, before=before)
    try:
        uptake = weigh_against_book(
            net_g=grams(row.net_mg),
            book_g=grams(row.book_mg),
            expanded_uncertainty_g=doubt,
        )
    except ChemistryError as error:
        raise Refusal(str(error)) from error
    row.sentence = _sentence(lot, uptake, doubt)
    return row


def expanded_uncertainty(
    lot: RawLot, scale: Instrument, *, before: datetime.datetime
) -> Decimal:
    """Return U (k = 2), in grams, of the difference between scale and book.

    The net mass is two readings of the scale, and so is every draw since the book was
    last set by a delivery or a stock-take; all are taken as made on a scale like this
    one and independent, GUM 5.1.2.
    """
    moves = lot.stock.movements.filter(entered_at__lte=before)
    last = moves.filter(kind__in=FRESH_BOOK).order_by("-pk").first()
    draws = moves.filter(pk__gt=last.pk).count() if last else 0
    return 2 * scale.standard_uncertainty() * Decimal(2 * (1 + draws)).sqrt()


def _sentence(lot: RawLot, uptake: Uptake, doubt: Decimal) -> str:
    net, book = (
        format_mass(milligrams(mass)) for mass in (uptake.net_g, uptake.book_g)
    )
    difference = format_mass(milligrams(abs(uptake.gain_g)))
    share = format_number(abs(uptake.percent), places=2)
    scale = f"U = {format_number(doubt, places=1)} g, k = 2"
    seen = f"{net} on the scale, {book} in the book"
    if lot.material.kind != Material.Kind.POTASH and not uptake.clear:
        return f"Agrees: {seen} ({scale})."
    if uptake.verdict is Verdict.AGREES:
        return f"Agrees: {seen} ({scale})."
    if uptake.verdict is Verdict.UNLOGGED_LOSS:
        return (
            f"Unlogged loss: {seen}, {difference} less ({share} %; {scale}). Something"
            " was used or lost and not written down, or the tare is wrong. Look for the"
            " missing charge, or do a stock-take."
        )
    more = f"{seen}, {difference} more ({share} %; {scale})."
    if lot.material.kind != Material.Kind.POTASH:
        return (
            f"More than the book: {more} Check gross and tare, and whether a charge was"
            " written down that was not taken."
        )
    parts = [
        f"{sources.HOLD_WORDS}: {more}",
        "Potash takes water and carbon dioxide from the air.",
        _bounds(lot, uptake),
    ]
    if not uptake.clear:
        parts.append(
            "The scale alone could make this difference: weigh again on a finer one,"
            " and take this weighing back if that agrees."
        )
    return " ".join(part for part in parts if part)


def _bounds(lot: RawLot, uptake: Uptake) -> str:
    try:
        figure = sources.potash_as_known(lot)
    except Refusal:  # no certificate and no titration yet: nothing to bound
        return "What of it is usable is not known: it has no assay."
    least, most = (
        format_number(share * 100, places=1)
        for share in usable_after(
            usable_fraction=min(figure.value, Decimal(1)), uptake=uptake
        )
    )
    was = format_number(figure.value * 100, places=1)
    return (
        f"Usable is now between {least} %, if all that came is carbon dioxide, and"
        f" {most} %, if all is water; before it was {was} %."
    )
