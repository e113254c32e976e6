"""Containers on the scale: what their weight says beside the book."""

from __future__ import annotations

import datetime
import uuid
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.utils import timezone

from batches.chemistry.ageing import weigh_against_book
from batches.chemistry.errors import ChemistryError
from batches.models import ContainerWeighing
from batches.services import sources
from batches.services.container_words import first_words, sentence
from batches.services.cooking.plausible import check_in_use, check_load
from batches.services.cooking.rows import newest
from producer import journal
from producer.errors import Refusal
from producer.models import (
    Container,
    Instrument,
    RawLot,
    Right,
    StockMovement,
    User,
)
from producer.quantities import grams
from producer.services import intake
from producer.services.checks import need_reason, plausible_time, require
from producer.services.container_books import book_of
from producer.services.lot_holds import locked

# What sets the book to a weighing of its own; from then on each draw adds its doubt.
FRESH_BOOK = (StockMovement.Kind.RECEIPT, StockMovement.Kind.ADJUSTMENT)


@transaction.atomic
def weigh_container(
    *,
    by: User,
    lot: RawLot,
    scale: Instrument,
    gross_mg: int,
    tare_mg: int | None = None,
    container: Container | None = None,
    opening: bool = False,
    observed_at: datetime.datetime | None = None,
    submission: uuid.UUID | None = None,
) -> ContainerWeighing:
    """Record what one container of a lot weighs, and what that says beside its book.

    Without ``container`` all of the lot together. The book stays as it is: a
    stock-take sets it, this only compares. Released potash that got heavier goes on
    hold, the whole lot of it; a reviewer lifts that. A tare that is not given is the
    one of the register; not known there either, only the difference against the first
    weighing of the container counts. ``opening``: it is opened now.
    """
    require(by, Right.MAKER)
    observed_at = plausible_time(observed_at or timezone.now())
    check_load(scale, gross_mg)
    stock = locked([lot])[lot.pk]
    if container is not None and container.lot_id != lot.pk:
        raise Refusal(f"{container.code} is not of {lot.code}.", field="container")
    book = stock.on_hand_mg if container is None else book_of(container)
    row = _filled(
        ContainerWeighing(
            stock=stock, container=container, entered_by=by, observed_at=observed_at
        ),
        lot=lot,
        scale=scale,
        masses=(gross_mg, tare_mg, book),
        before=timezone.now(),
    )
    row.save(force_insert=True)
    if container is not None and opening and container.opened_at is None:
        container.opened_at = observed_at
        container.save(update_fields=["opened_at"])
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


def said_of(
    *,
    by: User,
    lot: RawLot,
    container: Container,
    scale: Instrument,
    gross_mg: int,
    observed_at: datetime.datetime,
) -> str:
    """Return what a container with this gross mass would say beside its book.

    Nothing is recorded: it is asked when the container is weighed to be drawn from.
    """
    row = ContainerWeighing(
        stock=lot.stock, container=container, entered_by=by, observed_at=observed_at
    )
    masses = (gross_mg, None, book_of(container))
    _filled(row, lot=lot, scale=scale, masses=masses, before=timezone.now())
    return row.sentence


@transaction.atomic
def amend_container(
    *,
    by: User,
    weighing: ContainerWeighing,
    reason: str,
    gross_mg: int = 0,
    tare_mg: int | None = None,
    void: bool = False,
    submission: uuid.UUID | None = None,
) -> ContainerWeighing:
    """Correct the weighing of a container, or take it back, by a new row.

    It stays beside the book as it was when the container was weighed, and so do later
    weighings that were held against it. A hold that it brought stays until a reviewer
    lifts it.
    """
    require(by, Right.MAKER)
    # Two people who correct it at once wait here for each other.
    locked([RawLot(pk=weighing.stock_id)])
    newest(weighing, ContainerWeighing.objects.all())
    lot = RawLot.objects.select_related("stock", "material").get(pk=weighing.stock_id)
    row = ContainerWeighing(
        stock=weighing.stock,
        container=weighing.container,
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
        "container": row.container.code if row.container else None,
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
    masses: tuple[int, int | None, int],
    before: datetime.datetime,
) -> ContainerWeighing:
    if scale.kind != Instrument.Kind.SCALE:
        raise Refusal("Choose the scale it was weighed on.", field="scale")
    if row.supersedes_id is None:
        check_in_use(scale, field="scale")
    row.scale = scale
    row.gross_mg, tare_mg, row.book_mg = masses
    first = None
    if tare_mg is None:
        tare_mg, first = _tare(row)
    row.tare_mg = row.gross_mg - row.book_mg if tare_mg is None else tare_mg
    row.net_mg = row.gross_mg - row.tare_mg
    _has_a_book(row)
    row.full_clean()
    if tare_mg is None:
        row.sentence = first_words(row)
        return row
    doubt = expanded_uncertainty(
        lot,
        scale,
        before=before,
        container=row.container,
        since=first.entered_at if first else None,
    )
    try:
        uptake = weigh_against_book(
            net_g=grams(row.net_mg),
            book_g=grams(row.book_mg),
            expanded_uncertainty_g=doubt,
        )
    except ChemistryError as error:
        raise Refusal(str(error)) from error
    row.sentence = sentence(lot, uptake, doubt)
    return row


def _tare(row: ContainerWeighing) -> tuple[int | None, ContainerWeighing | None]:
    """Return the tare of the container of a weighing, and whence if by difference.

    Both None for its first weighing, if its register knows no tare.
    """
    if row.container is None:
        raise Refusal(
            "Write the tare: all the empty containers with their lids.", field="tare_mg"
        )
    if row.container.tare_mg is not None:
        return row.container.tare_mg, None
    before = ContainerWeighing.objects.current().filter(
        container=row.container, observed_at__lte=row.observed_at
    )
    if row.supersedes_id is not None:
        before = before.exclude(pk=row.supersedes_id).filter(pk__lt=row.supersedes_id)
    first = before.order_by("observed_at", "pk").first()
    return (None, None) if first is None else (first.tare_mg, first)


def _has_a_book(row: ContainerWeighing) -> None:
    if row.container is not None and row.book_mg <= 0:
        raise Refusal(
            f"By the book {row.container.code} is used up, so there is nothing to"
            " compare with. Do a stock-take first.",
            field="container",
        )
    if row.tare_mg < 0:
        raise Refusal(
            "This container weighs less than the book says is in it. Do a stock-take"
            " first; and write its tare once it is known.",
            field="gross_mg",
        )


def expanded_uncertainty(
    lot: RawLot,
    scale: Instrument,
    *,
    before: datetime.datetime,
    container: Container | None = None,
    since: datetime.datetime | None = None,
) -> Decimal:
    """Return U (k = 2), in grams, of the difference between scale and book.

    The net mass is two readings of the scale, and so is every draw since the book was
    last set by a delivery or a stock-take; all are taken as made on a scale like this
    one and independent, GUM 5.1.2. Of a container its own draws count, from when it
    was registered; from ``since`` on, if it is held against a weighing of then.
    """
    moves = lot.stock.movements.filter(entered_at__lte=before)
    if container is not None:
        moves = moves.filter(container=container)
    last = moves.filter(kind__in=FRESH_BOOK).order_by("-pk").first()
    draws = moves.filter(pk__gt=last.pk) if last else moves
    if last is None and container is None:
        draws = moves.none()
    if since is not None:
        draws = draws.filter(entered_at__gt=since)
    return 2 * scale.standard_uncertainty() * Decimal(2 * (1 + draws.count())).sqrt()
