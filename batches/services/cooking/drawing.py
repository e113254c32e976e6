"""What a charge takes from its stock and container, and adds to the genealogy."""

from __future__ import annotations

from django.db import models

from batches.models import Batch, Charge, Input
from batches.services import hold_points
from batches.services.cooking.how import How
from producer.errors import Refusal
from producer.models import Container, Instrument, Stock, StockMovement, User
from producer.quantities import format_mass
from producer.services import stock as ledger
from producer.services.container_books import book_of, containers_of, outside_mg


def container_for(
    source: Stock, container: Container | None, *, net_mg: int
) -> Container | None:
    """Return the container of a lot that a mass comes from, None if from none.

    The one that is named; else none where enough of the lot is outside its containers,
    else the only one with something in it. Where several have something, somebody must
    say which.
    """
    if container is not None:
        if container.lot_id != source.pk:
            raise Refusal(
                f"{container.code} is no container of {source.code}. Choose one of its"
                " own, or the lot that it belongs to.",
                field="container",
            )
        return container
    if source.kind != Stock.Kind.LOT:
        return None
    known = containers_of(source.lot)
    if not known or outside_mg(source, known) >= net_mg > 0:
        return None
    filled = [one for one in known if one.book_mg > 0]
    if len(filled) <= 1:
        return filled[0] if filled else None
    books = ", ".join(f"{one.code} ({format_mass(one.book_mg)})" for one in filled)
    raise Refusal(
        f"{source.code} stands in several containers: {books}. Say which one it came"
        " from.",
        field="container",
    )


def check_difference(source: Stock, how: How) -> None:
    """Refuse a weighing by difference that does not say what stood on the scale."""
    if how.by_difference and how.container is None and how.vessel is None:
        raise Refusal(
            "Weighed by difference, what stood on the scale must be known: choose the"
            f" container, or the vessel it was poured from. {source.code} has no"
            " container registered yet; its page does that.",
            field="container",
        )


def put_in(by: User, row: Charge) -> None:
    """Draw a charge from its stock, save it and add it to the genealogy."""
    _draw(by, row, row.net_mg)
    row.save(force_insert=True)
    _add_to_edge(row.batch, row.source, row.net_mg)


def replace(by: User, old: Charge, new: Charge) -> None:
    """Let the stock follow a correction, save it and mend the genealogy."""
    if (new.source_id, new.container_id) == (old.source_id, old.container_id):
        _draw(by, new, new.net_mg - old.net_mg)
    else:
        # In one order for everybody: two people who swap two lots at once would wait
        # for each other.
        both = Stock.objects.filter(pk__in=[old.source_id, new.source_id])
        list(both.select_for_update().order_by("pk"))
        _draw(by, old, -old.net_mg, reason=new.reason)
        _draw(by, new, new.net_mg)
    new.save(force_insert=True)
    _add_to_edge(new.batch, old.source, -old.net_mg)
    _add_to_edge(new.batch, new.source, new.net_mg)


def _draw(by: User, row: Charge, amount_mg: int, *, reason: str = "") -> None:
    if not amount_mg:
        return
    if amount_mg > 0 and row.container is not None:
        _last_of_it(by, row, row.container, amount_mg)
    ledger.move(
        by=by,
        stock=row.source,
        kind=StockMovement.Kind.DRAW if amount_mg > 0 else StockMovement.Kind.DRAW_BACK,
        amount_mg=-amount_mg,
        observed_at=row.observed_at,
        purpose=row.batch.number,
        reason=reason or (row.reason if row.supersedes_id else ""),
        container=row.container,
    )


def _last_of_it(by: User, row: Charge, container: Container, amount_mg: int) -> None:
    """Let the last of a container be a little more than its book, if that is doubt.

    Up to U of a difference of two readings of that scale is no more than the scale
    cannot tell; the book is set to it first, so that nothing goes below zero. What is
    more the ledger refuses.
    """
    over = amount_mg - book_of(container)
    if 0 < over <= doubt_mg(row.scale):
        ledger.move(
            by=by,
            stock=row.source,
            kind=StockMovement.Kind.ADJUSTMENT,
            amount_mg=over,
            observed_at=row.observed_at,
            purpose=row.batch.number,
            reason=(
                f"the last of {container.code} weighed {format_mass(over)} more than"
                f" its book, which the scale cannot tell (U = "
                f"{format_mass(doubt_mg(row.scale))}, k = 2)"
            ),
            container=container,
        )


def doubt_mg(scale: Instrument) -> int:
    """Return U (k = 2) of a net mass: two readings of one scale, GUM 5.1.2."""
    return hold_points.expanded_uncertainty_mg(scale)


def _add_to_edge(batch: Batch, source: Stock, mass_mg: int) -> None:
    if not mass_mg:
        return
    Input.objects.get_or_create(batch=batch, source=source, defaults={"mass_mg": 0})
    Input.objects.filter(batch=batch, source=source).update(
        mass_mg=models.F("mass_mg") + mass_mg
    )
