"""What the picture of the flow is drawn from: one query for each kind of row."""

from __future__ import annotations

import dataclasses
import enum
from collections import defaultdict
from collections.abc import Iterable

from django.db import models

from batches import trace
from batches.flow import Kind, Node
from batches.flow_folding import HOLDERS
from batches.lifecycle import BottleStatus
from batches.models import (
    Batch,
    Bottle,
    BulkWeighing,
    FillingBalance,
    FillingLot,
    Input,
    Loss,
    SprayMix,
)
from producer.models import Consignee, RawLot, Stock, StockMovement

LOSS_WORDS = {
    Loss.Kind.EVAPORATION: "evaporated",
    Loss.Kind.SPILL: "spilled",
    Loss.Kind.RETAINED: "stayed on pot and tools",
    Loss.Kind.SAMPLE: "taken as a sample",
}
BOTTLE_WORDS = {
    BottleStatus.FILLED: "on the premises",
    BottleStatus.ON_HOLD: "on hold",
    BottleStatus.RETAINED: "kept as samples",
    BottleStatus.RETURNED: "came back",
    BottleStatus.RECOVERED: "recovered",
    BottleStatus.DESTROYED: "destroyed",
}


class Way(enum.StrEnum):
    """Which way to look: back to what is in it, on to where it went, or both."""

    BACK = "back"
    ON = "on"
    BOTH = "both"


@dataclasses.dataclass(frozen=True)
class Bottles:
    """Bottles of one filling lot, of one status and in one place."""

    status: str
    consignee_id: int | None
    consignee: str | None
    consignee_kind: str | None
    place: str | None
    count: int

    def where(self) -> Node:
        """Return the node of where they are."""
        if self.status == BottleStatus.DISPATCHED and self.consignee_id:
            return Node(
                key=f"c{self.consignee_id}",
                kind=Kind.OUT,
                words=self.consignee or "",
                number=self.consignee_id,
                more=Consignee.Kind(self.consignee_kind or "").label,
                group=HOLDERS,
            )
        words = BOTTLE_WORDS[BottleStatus(self.status)]
        if self.status == BottleStatus.DESTROYED:
            return Node(key=f"at:{words}", kind=Kind.LOSS, words=words)
        if self.place and self.status == BottleStatus.FILLED:
            words = self.place
        elif self.place:
            words = f"{words}, {self.place}"
        return Node(key=f"at:{self.status}:{words}", kind=Kind.STOCK, words=words)


class Rows:
    """All that the picture is drawn from."""

    def __init__(self, root: Stock, way: Way, only: FillingLot | None) -> None:
        self.root, self.only = root, only
        back = trace.trace(root) if way is not Way.ON else None
        on = trace.track(root) if way is not Way.BACK else None
        found = [one for one in (back, on) if one is not None]
        self.lots = {lot.pk: lot for one in found for lot in one.lots}
        self.batches = {batch.pk: batch for one in found for batch in one.batches}
        self.before = set(back.batch_ids if back else ()) - {root.pk}
        self.shares = trace.shares(on) if on else {}
        unbooked = {edge for one in found for edge in one.edges if not edge[2]}
        self._edges(unbooked)
        self._masses()
        self._fillings()

    def _edges(self, unbooked: Iterable[tuple[int, int, int]]) -> None:
        ids = self.lots.keys() | self.batches.keys()
        drawn = (
            Input.objects.filter(mass_mg__gt=0)
            .filter(models.Q(batch__in=self.batches) | models.Q(source__in=ids))
            .order_by("batch_id", "source_id")
            .values_list("source_id", "batch_id", "mass_mg")
        )
        self.edges = [*drawn, *sorted(unbooked)]
        self.in_mg: dict[int, int] = defaultdict(int)
        self.draws: dict[int, list[tuple[int, int]]] = defaultdict(list)
        for source, batch, mass_mg in self.edges:
            self.in_mg[batch] += mass_mg
            self.draws[source].append((batch, mass_mg))
        beside = {s for s, b, _ in self.edges if b in self.batches} - ids
        lots = RawLot.objects.listed().filter(pk__in=beside)
        others = Batch.objects.listed().filter(pk__in=beside)
        self.beside_lots = {lot.pk: lot for lot in lots.order_by("pk")}
        self.beside_batches = {batch.pk: batch for batch in others.order_by("pk")}

    def _masses(self) -> None:
        made = BulkWeighing.objects.current().filter(batch__in=self.batches)
        self.made = dict(made.values_list("batch_id", "net_mg"))
        self.lost: dict[int, dict[str, int]] = defaultdict(dict)
        losses = (
            Loss.objects.current()
            .filter(batch__in=self.batches)
            .order_by("batch_id", "kind")
            .values_list("batch_id", "kind")
            .annotate(models.Sum("mass_mg"))
        )
        for batch_id, kind, mass_mg in losses:
            self.lost[batch_id][LOSS_WORDS[Loss.Kind(kind)]] = mass_mg
        used = SprayMix.objects.current().filter(source__in=self.batches)
        sums = used.order_by().values_list("source").annotate(models.Sum("mass_mg"))
        self.used = dict(sums)
        kinds = (StockMovement.Kind.RECEIPT, StockMovement.Kind.DISPOSAL)
        moved = (
            StockMovement.objects.filter(
                stock__in=[self.root.pk, *self.batches], kind__in=kinds
            )
            .order_by()
            .values_list("stock", "kind")
            .annotate(models.Sum("amount_mg"))
        )
        self.moved = {(pk, kind): abs(mass_mg) for pk, kind, mass_mg in moved}

    def _fillings(self) -> None:
        lots = FillingLot.objects.filter(batch__in=self.batches)
        self.fillings: dict[int, list[FillingLot]] = defaultdict(list)
        for lot in lots.select_related("balance").order_by("pk"):
            self.fillings[lot.batch_id].append(lot)
        self.drawn = [
            lot
            for of_batch in self.fillings.values()
            for lot in of_batch
            if self.is_drawn(lot)
        ]
        bottles = (
            Bottle.objects.filter(filling_lot__in=[lot.pk for lot in self.drawn])
            .order_by("filling_lot_id", "status", "consignee__name", "place__name")
            .values_list(
                "filling_lot_id",
                "status",
                "consignee_id",
                "consignee__name",
                "consignee__kind",
                "place__name",
            )
            .annotate(count=models.Count("pk"))
        )
        self.bottles: dict[int, list[Bottles]] = defaultdict(list)
        for lot_id, *row in bottles:
            self.bottles[lot_id].append(Bottles(*row))

    def is_drawn(self, lot: FillingLot) -> bool:
        """Say whether a filling lot is in the picture with its bottles."""
        if self.only is not None:
            return lot.pk == self.only.pk
        return lot.batch_id not in self.before


def taken_mg(lot: FillingLot) -> int:
    """Return what a filling took from its batch: bottled, lost, sampled, unexplained.

    What was weighed as left over beyond the book is none of it.
    """
    more = max(unexplained_mg(lot), 0)
    return lot.filled_mg + lot.loss_mg + sample_mg(lot) + more


def sample_mg(lot: FillingLot) -> int:
    """Return what was taken as samples at a filling."""
    balance = _balance_of(lot)
    return balance.sample_mg if balance else 0


def unexplained_mg(lot: FillingLot) -> int:
    """Return what a filling left unexplained, below nought where more was found."""
    balance = _balance_of(lot)
    return balance.unexplained_mg if balance else 0


def _balance_of(lot: FillingLot) -> FillingBalance | None:
    return getattr(lot, "balance", None)  # none before it was asked for
