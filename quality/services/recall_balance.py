"""A recall reconciled: every bottle to its place, and every mass to the milligram.

Bottles are counted as filled, and by where each one is. Masses of a batch are those of
its own records (weighed yield, filling lots, edges of the genealogy) and are held
against what the ledger says is in stock; so what somebody lost shows as a difference.
A fixed number of queries, however much there is of anything.
"""

from __future__ import annotations

import dataclasses
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

from django.db.models import Count, Exists, F, OuterRef, QuerySet, Sum

from batches.lifecycle import BottleStatus
from batches.models import (
    Bottle,
    BulkWeighing,
    FillingLot,
    Input,
    Loss,
    SprayMix,
)
from producer.models import Stock, StockMovement
from producer.quantities import format_mass
from quality.models import Recall
from quality.services.recall_holders import Holder, holders_of, listed
from quality.services.recall_scope import Scope, scope_of

Kind = StockMovement.Kind
HERE: Final = (BottleStatus.FILLED, BottleStatus.ON_HOLD)


@dataclasses.dataclass(frozen=True, kw_only=True)
class BottleCount:
    """Affected bottles: as filled, and by where each one is now.

    ``out`` are with somebody, and of those ``said_used`` and ``said_held`` are what
    holders said. ``distributed`` left and were out when the recall was opened or
    since; ``back`` and ``destroyed_there`` are what became of some of them.
    """

    filled: int
    here: int
    retained: int
    returned: int
    recovered: int
    destroyed: int
    out: int
    said_used: int
    said_held: int
    unreachable: int
    distributed: int
    back: int
    destroyed_there: int

    @property
    def placed(self) -> int:
        """How many bottles the records know: the sum of all places."""
        kept = self.here + self.retained + self.returned
        return kept + self.recovered + self.destroyed + self.out

    @property
    def missing(self) -> int:
        """How many fewer are known than were filled; below zero if more are."""
        return self.filled - self.placed

    @property
    def unsaid(self) -> int:
        """How many are out of which no holder said anything."""
        return self.out - self.said_used - self.said_held

    @property
    def traced(self) -> int:
        """How many are in a place, or with somebody who can still be named (C32)."""
        return self.placed - self.unreachable

    @property
    def accounted(self) -> int:
        """How many are not out, or out and spoken for by their holder."""
        return self.placed - self.unsaid


@dataclasses.dataclass(frozen=True, kw_only=True)
class MassLine:
    """Where the mass of one lot or batch is, in milligrams.

    ``came_in`` is what was received, or weighed as made. ``adjusted`` is what counting
    added, below zero what it took; ``unexplained`` what fillings could not explain.
    """

    code: str
    is_lot: bool
    came_in: int
    into_batches: int
    in_bottles: int
    lost: int
    samples: int
    unexplained: int
    used_here: int
    disposed: int
    adjusted: int
    in_stock: int
    weighed_in: int
    lost_making: int

    @property
    def gone_otherwise(self) -> int:
        """What went neither into a batch nor a bottle: lost, used, thrown away."""
        gone = self.lost + self.samples + self.unexplained
        return gone + self.used_here + self.disposed

    @property
    def missing(self) -> int:
        """What does not close: came in, less all that is told of, less the stock."""
        gone = self.into_batches + self.in_bottles + self.gone_otherwise
        return self.came_in + self.adjusted - gone - self.in_stock

    @property
    def not_weighed_out(self) -> int:
        """What went into the pot and was neither recorded as lost nor weighed as made.

        Water that boiled off unweighed, and all of it while it is still in the pot.
        """
        return 0 if self.is_lot else self.weighed_in - self.lost_making - self.came_in


@dataclasses.dataclass(frozen=True, kw_only=True)
class Balance:
    """What is known of a recall now: holders, bottles, masses."""

    holders: Sequence[Holder]
    bottles: BottleCount
    masses: Sequence[MassLine]

    def open_ends(self, *, by_name: bool = True) -> list[str]:
        """Return what does not close, in sentences; empty where everything does.

        Without ``by_name`` a holder is called by a reference: that may be kept.
        """
        return [
            *bottles_open(self.bottles),
            *_of_holders(self.holders, by_name=by_name),
            *masses_open(self.masses),
        ]

    @property
    def was_tried(self) -> bool:
        """Say whether anybody was tried at all."""
        return any(one.attempts for one in self.holders)

    @property
    def total(self) -> Mapping[str, int]:
        """The masses of all batches together, without the lot it began with."""
        names = [one.name for one in dataclasses.fields(MassLine)][2:]
        own = [one for one in self.masses if not one.is_lot]
        return {name: sum(getattr(one, name) for one in own) for name in names}


def balance_of(recall: Recall) -> Balance:
    """Reconcile a recall as the records are now."""
    scope = scope_of(recall)
    holders = holders_of(recall, scope)
    return Balance(
        holders=holders,
        bottles=bottles_of(scope, holders),
        masses=masses_of(scope.mass_ids),
    )


def plain(balance: Balance) -> dict[str, Any]:
    """Return a balance as JSON to be kept: references for names, whole milligrams."""
    return {
        "holders": [
            {
                "consignee": one.consignee_id,
                "out": one.out,
                "back": one.back,
                "destroyed": one.destroyed,
                "said_used": one.said_used,
                "said_held": one.said_held,
                "tried": len(one.attempts),
                "reached": one.is_reached,
            }
            for one in listed(balance.holders)
        ],
        "bottles": dataclasses.asdict(balance.bottles),
        "masses": [dataclasses.asdict(one) for one in balance.masses],
        "open_ends": balance.open_ends(by_name=False),
    }


def bottles_of(scope: Scope, holders: Sequence[Holder] = ()) -> BottleCount:
    """Return the bottles of a scope by place; what was said, by the holders."""
    rows = Bottle.objects.filter(scope.bottles()).order_by()
    at = defaultdict(int, rows.values_list("status").annotate(Count("pk")))
    lots = FillingLot.objects.filter(scope.filling_lots())
    filled = lots.aggregate(n=Sum("count"))["n"]
    known = listed(holders)
    return BottleCount(
        filled=int(filled or 0),
        here=sum(at[status.value] for status in HERE),
        retained=at[BottleStatus.RETAINED.value],
        returned=at[BottleStatus.RETURNED.value],
        recovered=at[BottleStatus.RECOVERED.value],
        destroyed=at[BottleStatus.DESTROYED.value],
        out=at[BottleStatus.DISPATCHED.value],
        said_used=sum(one.said_used for one in known),
        said_held=sum(one.said_held for one in known),
        unreachable=sum(one.out for one in known if one.erased_at is not None),
        distributed=sum(one.had for one in known),
        back=sum(one.back for one in known),
        destroyed_there=sum(one.destroyed for one in known),
    )


def masses_of(ids: Sequence[int]) -> list[MassLine]:
    """Return where the mass of each of these stocks is, raw lots first."""
    moved = _movements(ids)
    fillings = _fillings(ids)
    drawn = _sums(Input.objects.filter(source_id__in=ids), "source_id", "mass_mg")
    weighed_in = _sums(Input.objects.filter(batch_id__in=ids), "batch_id", "mass_mg")
    made = _of_batches(BulkWeighing.objects.current(), ids, "net_mg")
    lost = _of_batches(Loss.objects.current(), ids, "mass_mg")
    lines = []
    stocks = Stock.objects.filter(pk__in=ids).order_by("kind", "pk")
    for stock in sorted(stocks, key=lambda one: (one.kind != Stock.Kind.LOT, one.pk)):
        is_lot = stock.kind == Stock.Kind.LOT
        own, filling = moved[stock.pk], fillings[stock.pk]
        lines.append(
            MassLine(
                code=stock.code,
                is_lot=is_lot,
                came_in=own["received"] if is_lot else made[stock.pk],
                into_batches=drawn[stock.pk],
                in_bottles=filling["filled"],
                lost=filling["lost"],
                samples=filling["samples"],
                unexplained=filling["unexplained"],
                used_here=-own["used_here"],
                disposed=-own["disposed"],
                adjusted=own["adjusted"] if is_lot else 0,
                in_stock=stock.on_hand_mg,
                weighed_in=weighed_in[stock.pk],
                lost_making=lost[stock.pk],
            )
        )
    return lines


def _movements(ids: Sequence[int]) -> Mapping[int, Mapping[str, int]]:
    """Return what the ledger alone knows: received, used here, thrown away, counted."""
    for_mix = Exists(SprayMix.objects.filter(code=OuterRef("purpose")))
    names = {
        Kind.RECEIPT: "received",
        Kind.OWN_USE: "used_here",
        Kind.DRAW_BACK: "used_here",  # what a corrected mix gave back
        Kind.DISPOSAL: "disposed",
        Kind.ADJUSTMENT: "adjusted",
    }
    found: dict[int, dict[str, int]] = defaultdict(lambda: defaultdict(int))
    rows = (
        StockMovement.objects.filter(stock_id__in=ids, kind__in=list(names))
        .annotate(of_mix=for_mix)
        .order_by()
        .values_list("stock_id", "kind", "of_mix")
        .annotate(total=Sum("amount_mg"))
    )
    for stock_id, kind, of_mix, total in rows:
        if kind != Kind.DRAW_BACK or of_mix:
            found[stock_id][names[Kind(kind)]] += int(total)
    return found


def _fillings(ids: Sequence[int]) -> Mapping[int, Mapping[str, int]]:
    names = ("filled", "lost", "samples", "unexplained")
    found: dict[int, dict[str, int]] = defaultdict(lambda: dict.fromkeys(names, 0))
    rows = (
        FillingLot.objects.filter(batch_id__in=ids)
        .order_by()
        .values_list("batch_id")
        .annotate(
            Sum("filled_mg"),
            Sum("loss_mg"),
            Sum("balance__sample_mg"),
            Sum("balance__unexplained_mg"),
        )
    )
    for pk, *sums in rows:
        found[pk] = {
            name: int(value or 0) for name, value in zip(names, sums, strict=True)
        }
    return found


def _of_batches(
    rows: QuerySet[Any], ids: Sequence[int], field: str
) -> Mapping[int, int]:
    return _sums(rows.filter(batch_id__in=ids), "batch_id", field)


def _sums(rows: QuerySet[Any], key: str, field: str) -> Mapping[int, int]:
    pairs = rows.order_by().values_list(key).annotate(total=Sum(F(field)))
    return defaultdict(int, {pk: int(total) for pk, total in pairs})


def bottles_open(count: BottleCount) -> Iterator[str]:
    """Yield what does not close of the bottles."""
    if count.missing > 0:
        yield (
            f"{count.filled} bottles were filled and {count.placed} are on record:"
            f" {count.missing} are missing. Run “verify”, and look for them."
        )
    if count.missing < 0:
        yield (
            f"{count.filled} bottles were filled and {count.placed} are on record:"
            f" {-count.missing} too many. Run “verify”."
        )


def _of_holders(holders: Sequence[Holder], *, by_name: bool) -> Iterator[str]:
    for one in holders:
        name = one.name if by_name else one.reference
        if one.is_listed and one.erased_at is not None and one.out:
            yield (
                f"{name}: contact data were erased, and {one.out} bottles are out."
                " Nobody can be called; post a notice."
            )
        told = one.telling
        if told is None or not one.is_listed:
            continue
        had = one.out + one.gone_since_told
        if one.said > had:
            yield (
                f"{name} spoke of {one.said} bottles, and by the records they had"
                f" {had} then. Somebody else’s may be among them: ask for the numbers."
            )
        elif one.unsaid:
            yield (
                f"{name}: {one.unsaid} of {one.out} bottles still out are not spoken"
                " for. Ask where they are."
            )


def masses_open(masses: Sequence[MassLine]) -> Iterator[str]:
    """Yield what does not close of the masses."""
    for one in masses:
        if one.missing:
            more = "missing" if one.missing > 0 else "too much"
            yield (
                f"{one.code}: {format_mass(abs(one.missing))} {more}; its records and"
                " its stock do not tell the same. Run “verify”."
            )
        if one.unexplained:
            less = "missing" if one.unexplained > 0 else "more than the book had"
            yield (
                f"{one.code}: {format_mass(abs(one.unexplained))} {less} after filling;"
                " the reasons stand at the filling lots."
            )
