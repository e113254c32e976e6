"""What a charge takes from its stock and container, and adds to the genealogy."""

from __future__ import annotations

from collections.abc import Iterable

from django.db import models

from batches.models import Batch, Charge, Input
from batches.services import hold_points
from batches.services.cooking.how import How
from producer import moved
from producer.errors import Refusal
from producer.models import (
    Container,
    Instrument,
    JournalEntry,
    Stock,
    StockMovement,
    User,
)
from producer.quantities import format_mass
from producer.services import stock as ledger
from producer.services.container_books import book_of, containers_of, outside_mg

# In the reason of what a correction adds to a book, or takes out of it again; together
# with a batch as purpose it is how such a movement is found.
BY_A_CORRECTION = "as a correction says"


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


def replace(by: User, old: Charge, new: Charge, *, certain: bool = False) -> None:
    """Let the stock follow a correction, save it and mend the genealogy.

    ``certain``: it was that lot whatever its book says, which is set right first where
    it has too little; else that is refused. What was added to the book of the old lot
    for this charge is taken out of it again.
    """
    if (new.source_id, new.container_id) == (old.source_id, old.container_id):
        _draw(by, new, new.net_mg - old.net_mg)
        _undo_set_right(by, old, new, given_back_mg=old.net_mg - new.net_mg)
    else:
        lock_stocks([old.source_id, new.source_id])
        _draw(by, old, -old.net_mg, reason=new.reason)
        _undo_set_right(by, old, new, given_back_mg=old.net_mg)
        if certain:
            _set_right(by, new)
        _draw(by, new, new.net_mg)
    new.save(force_insert=True)
    _add_to_edge(new.batch, old.source, -old.net_mg)
    _add_to_edge(new.batch, new.source, new.net_mg)


def lock_stocks(ids: Iterable[int]) -> None:
    """Lock stocks until the transaction ends, in one order for everybody.

    Two people who swap two lots at once would wait for each other, else.
    """
    rows = Stock.objects.filter(pk__in=set(ids))
    list(rows.select_for_update().order_by("pk"))


def lacking_mg(row: Charge) -> int:
    """Return what the book of its container, or of its lot, lacks for a charge.

    0 where that is no more than the scale cannot tell: the last of a container.
    ``row`` is not saved yet.
    """
    if row.container is not None:
        over = row.net_mg - book_of(row.container)
        return over if over > doubt_mg(row.scale) else 0
    on_hand = Stock.objects.values_list("on_hand_mg", flat=True).get(pk=row.source_id)
    return max(row.net_mg - on_hand, 0)


def _set_right(by: User, row: Charge) -> None:
    """Raise the book of a lot by what it lacks for a charge that was of it for certain.

    Something else was written down wrongly of that lot, so the ledger says what it
    lacked, for which batch and why, and nothing goes below zero.
    """
    lacking = lacking_mg(row)
    if not lacking:
        return
    book = row.container.code if row.container else row.source.code
    ledger.move(
        by=by,
        stock=row.source,
        kind=StockMovement.Kind.ADJUSTMENT,
        amount_mg=lacking,
        observed_at=row.observed_at,
        purpose=row.batch.number,
        reason=(
            f"{format_mass(row.net_mg)} of it went into {row.batch.number},"
            f" {BY_A_CORRECTION}, {format_mass(lacking)} more than the book of {book}:"
            f" {row.reason}"
        ),
        container=row.container,
    )


def _undo_set_right(by: User, old: Charge, new: Charge, *, given_back_mg: int) -> None:
    """Take out of a book again what was added to it for a charge that left it.

    At most what was given back in this act, so it is there. The book is then as it was
    before the correction that had raised it.
    """
    if given_back_mg <= 0:
        return
    place = (old.source_id, old.container_id)
    added_mg = sum(
        one.amount_mg
        for one in set_right_for(old)
        if (one.stock_id, one.container_id) == place
    )
    back = min(added_mg, given_back_mg)
    if back <= 0:
        return
    ledger.move(
        by=by,
        stock=old.source,
        kind=StockMovement.Kind.ADJUSTMENT,
        amount_mg=-back,
        observed_at=old.observed_at,
        purpose=old.batch.number,
        reason=(
            f"{format_mass(given_back_mg)} of it did not go into {old.batch.number},"
            f" {BY_A_CORRECTION}, so {format_mass(back)} that had been added to the"
            f" book for it are taken out again: {new.reason}"
        ),
        container=old.container,
    )


def set_right_for(row: Charge) -> list[StockMovement]:
    """Return what was added to books for a charge, and taken out of them again.

    By the acts that wrote it and what it corrected: the journal keeps their rows.
    """
    of_batch = StockMovement.objects.filter(
        kind=StockMovement.Kind.ADJUSTMENT,
        purpose=row.batch.number,
        reason__contains=BY_A_CORRECTION,
    )
    known = {one.pk: one for one in of_batch}
    if not known:
        return []
    chain = {one.pk for one in chain_of(row)}
    charges, movements = Charge._meta.db_table, StockMovement._meta.db_table
    acts = JournalEntry.objects.filter(
        subject_kind="batch",
        subject_id=str(row.batch_id),
        after__contains=f'"{movements}":',
    )
    return [
        known[pk]
        for after in acts.order_by("sequence").values_list("after", flat=True)
        if not chain.isdisjoint(moved.keys_written(after, charges))
        for pk in sorted(moved.keys_written(after, movements) & known.keys())
    ]


def chain_of(row: Charge) -> list[Charge]:
    """Return a charge and all that it corrected, the first one first."""
    chain = [row]
    while chain[0].supersedes_id is not None:
        chain.insert(0, Charge.objects.get(pk=chain[0].supersedes_id))
    return chain


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
