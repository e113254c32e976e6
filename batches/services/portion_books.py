"""What is left of each portion of a bulk product, and what stands outside them.

A portion is a share of what is on hand, in a tub of its own. What is left of it is its
mass less what names it; what is left of all of them never exceeds what is on hand. So
whoever draws says from which portion, unless it follows, and takes no more than that
holds.
"""

from __future__ import annotations

import dataclasses
from collections import defaultdict
from collections.abc import Collection

from django.db import models

from batches.models import Batch, Charge, Portion, SprayMix
from batches.services import moves
from producer.errors import NotEnough, Refusal
from producer.models import Place, Stock
from producer.quantities import format_mass


@dataclasses.dataclass(frozen=True, kw_only=True)
class PortionNow:
    """A portion as it stands: its newest row, and what is left of it in mg."""

    portion: Portion
    code: str
    left_mg: int

    @property
    def number(self) -> int:
        """Its number within the batch."""
        return self.portion.number

    @property
    def place(self) -> Place | None:
        """Where it stands."""
        return self.portion.place

    @property
    def purpose(self) -> str:
        """What it is meant for."""
        return self.portion.purpose

    @property
    def drawn_mg(self) -> int:
        """What was taken out of it."""
        return self.portion.mass_mg - self.left_mg


@dataclasses.dataclass(frozen=True, kw_only=True)
class Taken:
    """A mass that a row took before it was corrected: from a portion, or from none."""

    portion: Portion | None
    mass_mg: int


def code_of(portion: Portion) -> str:
    """Return the code of a portion: that of its batch, and its number in it."""
    return f"{portion.batch.number}/{portion.number}"


def portions_of(batch: Batch) -> list[PortionNow]:
    """Return the portions of a batch by number, also those that are used up."""
    return of_batches([batch.pk])


def of_batches(batch_ids: Collection[int]) -> list[PortionNow]:
    """Return the portions of some batches, by batch and number; three queries."""
    rows = list(
        Portion.objects.current()
        .filter(batch__in=batch_ids)
        .select_related("batch__stock", "place", "entered_by__person")
        .order_by("batch_id", "number")
    )
    if not rows:
        return []
    drawn = _drawn({row.batch_id for row in rows})
    return [
        PortionNow(
            portion=row,
            code=code_of(row),
            # Nothing on hand is nothing in any tub: a disposal empties them all.
            left_mg=row.mass_mg - drawn[row.batch_id, row.number]
            if row.batch.stock.on_hand_mg
            else 0,
        )
        for row in rows
    ]


def now(portion: Portion) -> PortionNow | None:
    """Return how a portion stands, by whichever of its rows; None if taken back."""
    return next(
        (one for one in of_batches([portion.batch_id]) if one.number == portion.number),
        None,
    )


def _drawn(batch_ids: Collection[int]) -> dict[tuple[int, int], int]:
    """Return what was taken by batch and number: by charges, and by tanks of spray."""
    found: dict[tuple[int, int], int] = defaultdict(int)
    for rows, mass in (
        (Charge.objects.current(), "net_mg"),
        (SprayMix.objects.current(), "mass_mg"),
    ):
        sums = (
            rows.filter(portion__batch__in=batch_ids)
            .order_by()
            .values_list("portion__batch_id", "portion__number")
            .annotate(taken=models.Sum(mass))
        )
        for batch_id, number, taken in sums:
            found[batch_id, number] += taken
    return found


def outside_mg(batch: Batch, known: Collection[PortionNow]) -> int:
    """Return what is on hand of a batch outside its portions."""
    on_hand: int = Stock.objects.values_list("on_hand_mg", flat=True).get(pk=batch.pk)
    return on_hand - sum(one.left_mg for one in known)


def portion_for(
    source: Stock, portion: Portion | None, *, net_mg: int, was: Taken | None = None
) -> Portion | None:
    """Return the portion that a mass comes from, None if it comes from none.

    The one that is named; else none where so much stands outside the portions, else the
    only one with something in it. Where several have something, somebody must say
    which. ``was`` is what a row that is corrected took: it counts as there again.

    Locks the batch, so that nobody takes or sets aside the same grams meanwhile. Raises
    :class:`NotEnough` where the portion holds less.
    """
    if source.kind != Stock.Kind.BATCH:
        if portion is not None:
            raise Refusal(f"{source.code} has no portions.", field="portion")
        return None
    batch = moves.locked(source.batch)
    known = portions_of(batch)
    if portion is not None:
        return _named(source, portion, known, net_mg, was)
    back_mg = was.mass_mg if was is not None and was.portion is None else 0
    outside = outside_mg(batch, known) + back_mg
    filled = [one for one in known if one.left_mg > 0]
    if not filled or outside >= net_mg:
        return None
    if len(filled) == 1:
        return _named(source, filled[0].portion, known, net_mg, was)
    raise Refusal(
        f"{format_mass(max(outside, 0))} of {source.code} stands outside its portions;"
        f" in them are {_books(filled)}. Say which one it came from.",
        field="portion",
    )


def leave_alone(batch: Batch, amount_mg: int) -> None:
    """Refuse to take more of a batch, from no portion, than stands outside them.

    For what leaves the bulk and names no portion: a filling, a smaller yield. The
    caller holds the lock of the batch.
    """
    known = [one for one in portions_of(batch) if one.left_mg > 0]
    if not known or outside_mg(batch, known) >= amount_mg:
        return
    raise Refusal(
        f"{format_mass(max(outside_mg(batch, known), 0))} of {batch.number} stands"
        f" outside its portions, and {format_mass(amount_mg)} would be taken. Set aside"
        f" are {_books(known)}. Amend those it comes from first."
    )


def _named(
    source: Stock,
    portion: Portion,
    known: Collection[PortionNow],
    net_mg: int,
    was: Taken | None,
) -> Portion:
    if portion.batch_id != source.pk:
        raise Refusal(
            f"{code_of(portion)} is no portion of {source.code}. Choose one of its own,"
            " or the batch that it belongs to.",
            field="portion",
        )
    found = next((one for one in known if one.number == portion.number), None)
    if found is None:
        raise Refusal(
            f"{code_of(portion)} was taken back: what was in it stands with the rest"
            f" of {source.code} again. Choose again.",
            field="portion",
        )
    left_mg = found.left_mg + _back_in(portion, was)
    if net_mg > left_mg:
        raise NotEnough(
            f"{found.code} holds {format_mass(left_mg)}, so {format_mass(net_mg)}"
            " cannot be taken from it. Take the rest from elsewhere, as a charge of its"
            " own; if it was set aside wrongly, amend the portion.",
            field="portion",
        )
    return found.portion


def _back_in(portion: Portion, was: Taken | None) -> int:
    """Return what a correction puts back into this very portion."""
    if was is None or was.portion is None or was.portion.number != portion.number:
        return 0
    return was.mass_mg


def _books(filled: Collection[PortionNow]) -> str:
    return ", ".join(
        f"{one.code} ({format_mass(one.left_mg)}"
        f"{f', {one.place}' if one.place else ''})"
        for one in filled
    )
