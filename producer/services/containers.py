"""The tins and cans of a raw lot: registered, moved, weighed empty."""

from __future__ import annotations

import dataclasses
import uuid
from collections.abc import Sequence
from typing import Any

from django.db import transaction

from producer import journal
from producer.errors import Refusal
from producer.models import Container, RawLot, Right, Stock, User
from producer.quantities import format_mass
from producer.services.checks import need_reason, require
from producer.services.container_books import containers_of, outside_mg

__all__ = [
    "MOST_AT_ONCE",
    "Filling",
    "alike",
    "change",
    "containers_facts",
    "containers_of",
    "is_untouched",
    "outside_words",
    "put_in_containers",
    "register",
]

MOST_AT_ONCE = 60  # of one lot in one go; more is a slip of the finger
LITTLE = 10  # a part so many times smaller than what is there is asked about: ours


@dataclasses.dataclass(frozen=True, kw_only=True)
class Filling:
    """What is in one container, in milligrams; its tare if somebody knows it."""

    net_mg: int
    tare_mg: int | None = None
    place: str = ""


def alike(
    *, count: int, each_mg: int, tare_mg: int | None = None, place: str = ""
) -> list[Filling]:
    """Return so many containers of the same."""
    return [Filling(net_mg=each_mg, tare_mg=tare_mg, place=place)] * count


@transaction.atomic
def register(
    *,
    by: User,
    lot: RawLot,
    fillings: Sequence[Filling],
    is_little: bool = False,
    submission: uuid.UUID | None = None,
) -> list[Container]:
    """Write down in how many containers a lot sits, and how much is in each.

    Together they hold no more than what is on hand and in no container yet. What is
    left stays known as outside the containers. Their numbers go on from the last one.
    Far less than what is in none is mostly a slip of the unit: it is refused unless
    somebody says with ``is_little`` that it is right.
    """
    require(by, Right.MAKER)
    if not fillings:
        raise Refusal("Write at least one container.", field="count")
    stock = Stock.objects.select_for_update().get(pk=lot.pk)
    outside = outside_mg(stock, containers_of(lot))
    made = put_in_containers(lot=lot, stock=stock, fillings=fillings)
    if not is_little:
        _no_slip_of_unit(stock, outside, fillings)
    journal.write(
        by=by,
        act="containers registered",
        subject=lot,
        label=lot.code,
        after=containers_facts(made),
        submission=submission,
    )
    return made


def put_in_containers(
    *, lot: RawLot, stock: Stock, fillings: Sequence[Filling]
) -> list[Container]:
    """Create the containers; the caller holds the stock and writes the journal."""
    if len(fillings) > MOST_AT_ONCE:
        raise Refusal(
            f"Register at most {MOST_AT_ONCE} containers in one go.", field="count"
        )
    if not fillings:
        return []
    there = containers_of(lot)
    outside, together = outside_mg(stock, there), sum(one.net_mg for one in fillings)
    if together > outside:
        raise Refusal(
            f"These containers hold {format_mass(together)} together, but only"
            f" {format_mass(max(outside, 0))} of {stock.code} is in no container yet."
            " Look again what is in each; or count the lot first.",
            field="each_mg",
        )
    made = []
    for number, one in enumerate(
        fillings, start=max((row.number for row in there), default=0) + 1
    ):
        row = Container(
            lot=lot,
            number=number,
            tare_mg=one.tare_mg,
            filled_mg=one.net_mg,
            place=one.place.strip(),
        )
        row.full_clean()
        row.save(force_insert=True)
        made.append(row)
    return made


@transaction.atomic
def change(
    *,
    by: User,
    container: Container,
    place: str,
    tare_mg: int | None,
    filled_mg: int | None = None,
    reason: str = "",
    submission: uuid.UUID | None = None,
) -> Container:
    """Write down where a container is kept now, and what it weighs empty.

    Weighings that were recorded keep the tare they were recorded with. ``filled_mg``
    corrects what it was registered with, for a ``reason``, as long as nothing was
    drawn, weighed or counted of it; None leaves that alone.
    """
    require(by, Right.MAKER)
    stock = Stock.objects.select_for_update().get(pk=container.lot_id)
    row = (
        Container.objects.select_for_update(of=("self",))
        .select_related("lot__stock")
        .get(pk=container.pk)
    )
    before = _changeable(row)
    row.place, row.tare_mg = place.strip(), tare_mg
    if filled_mg is not None and filled_mg != row.filled_mg:
        before |= {"filled_mg": row.filled_mg}
        reason = _may_refill(row, stock, filled_mg, reason)
        row.filled_mg = filled_mg
    after = _changeable(row)
    if "filled_mg" in before:
        after |= {"filled_mg": row.filled_mg}
    if before == after:
        raise Refusal("Nothing was changed.", field="place")
    row.full_clean()
    row.save(update_fields=["place", "tare_mg", "filled_mg"])
    journal.write(
        by=by,
        act="container changed",
        subject=row.lot,
        label=row.lot.code,
        before={"container": row.code, **before},
        after={"container": row.code, **after},
        reason=reason.strip(),
        submission=submission,
    )
    return row


def is_untouched(container: Container) -> bool:
    """Say whether no movement, weighing or count names a container yet."""
    return not any(
        one.related_model._default_manager.filter(
            **{one.field.name: container}
        ).exists()
        for one in Container._meta.related_objects
    )


def outside_words(lot: RawLot) -> str:
    """Say how much of a lot is in none of its containers; nothing if there is none.

    Begins with a blank, to follow another sentence.
    """
    there = containers_of(lot)
    if not there:
        return ""
    outside = outside_mg(Stock.objects.get(pk=lot.pk), there)
    if not outside:
        return ""
    return f" {format_mass(outside)} of {lot.code} is in no container."


def containers_facts(rows: Sequence[Container]) -> dict[str, Any]:
    """Return containers as plain JSON values, by their code."""
    return {row.code: {"filled_mg": row.filled_mg, **_changeable(row)} for row in rows}


def _changeable(row: Container) -> dict[str, Any]:
    return {"place": row.place, "tare_mg": row.tare_mg}


def _no_slip_of_unit(stock: Stock, outside: int, fillings: Sequence[Filling]) -> None:
    together = sum(one.net_mg for one in fillings)
    if together * LITTLE < outside:
        raise Refusal(
            f"These containers hold {format_mass(together)} together,"
            f" {format_mass(fillings[0].net_mg)} in the first, and"
            f" {format_mass(outside)} of {stock.code} is in no container yet. Look at"
            " the unit: g or kg? If it is right, say so here and send it again.",
            field="is_little",
        )


def _may_refill(row: Container, stock: Stock, filled_mg: int, reason: str) -> str:
    """Refuse another mass where something depends on the old one; return why it is."""
    reason = need_reason(reason)
    if not is_untouched(row):
        raise Refusal(
            f"Something was drawn, weighed or counted of {row.code} already. Count it"
            " instead: that sets the book to what is there.",
            field="filled_mg",
        )
    free = outside_mg(stock, containers_of(row.lot)) + row.filled_mg
    if filled_mg > free:
        raise Refusal(
            f"{format_mass(filled_mg)} is more than {format_mass(max(free, 0))}, which"
            f" is all of {stock.code} that is in no other container. Look again what"
            " is in it; or count the lot first.",
            field="filled_mg",
        )
    return reason
