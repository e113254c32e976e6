"""Small books drawn at random, written as events and read back into the same graph."""

from __future__ import annotations

import datetime
import random
from typing import Any

import pytest
from django.utils import timezone

from batches import trace
from batches.lifecycle import BOTTLE_MOVES, BottleStatus, moves_from
from batches.models import (
    Bottle,
    BottleEvent,
    BulkWeighing,
    Charge,
    DestructionTakenBack,
    Discrepancy,
    DiscrepancyEnd,
    Dispatch,
    DispatchTakenBack,
    FillingLot,
)
from batches.services.destroyed_back import where_to
from batches.services.places import HERE
from producer.models import Consignee, Place, Stock
from quality.epcis.reading import read
from quality.services import tracking_events
from tests import make
from tests.batches.test_trace import connect, stocks
from tests.quality import tracked

pytestmark = pytest.mark.django_db

NAMES = tracked.NAMES
BOOKS, LOTS, BATCHES, ACTS = 12, 4, 7, 25


class Drawn:
    """A book drawn at random and written into the tables, past the services."""

    def __init__(self, crew: make.Crew, seed: int) -> None:
        self.rng = random.Random(seed)  # noqa: S311 - a book, not a secret
        self.crew = crew
        self.scale = make.scale(crew.maker)
        self.at = timezone.now() - datetime.timedelta(days=9)
        self.shops = [make.consignee(crew.maker, f"Shop {n}") for n in range(2)]
        self.places = [Place.objects.create(name=f"Shelf {n}") for n in range(2)]
        self.lots, self.batches = stocks(crew, lots=LOTS, batches=BATCHES)
        self.edges: dict[tuple[int, int], int] = {}
        for place, batch in enumerate(self.batches):
            self.fill_pot(batch, self.batches[:place])
        connect([(*edge, mass_mg) for edge, mass_mg in self.edges.items()])
        for batch in self.rng.sample(self.batches, 3):
            self.fill_bottles(batch)
        for _ in range(ACTS):
            self.rng.choice([self.move, self.move, self.send, self.undo])()

    def hand(self) -> dict[str, Any]:
        self.at += datetime.timedelta(minutes=self.rng.choice([0, 7, 300]))
        return {"observed_at": self.at, "entered_by": self.crew.maker}

    def fill_pot(self, batch: int, made: list[int]) -> None:
        sources = self.rng.sample([*self.lots, *made], min(3, LOTS + len(made)))
        for source in sources:
            for _ in range(self.rng.choice([1, 1, 2])):
                self.charge(batch, source)
            if self.rng.random() < 1 / 3:
                self.keep(batch, source)
        if self.rng.random() < 3 / 4:
            weighing = self.weigh(BulkWeighing, batch=batch, batch_id=batch)
            if self.rng.random() < 1 / 3:
                self.weigh(BulkWeighing, weighing, batch_id=batch)

    def weigh(self, model: Any, before: Any = None, **facts: Any) -> Any:
        facts.pop("batch", None)
        net = self.rng.randint(1, 3_000_000_000)
        more = {"supersedes": before, "reason": "slip"} if before else {}
        return model.objects.create(
            scale=self.scale,
            gross_mg=net + 5,
            tare_mg=5,
            net_mg=net,
            **facts,
            **more,
            **self.hand(),
        )

    def charge(self, batch: int, source: int) -> None:
        self.edges.setdefault((source, batch), 0)
        row = self.weigh(Charge, batch_id=batch, source_id=source)
        while self.rng.random() < 1 / 3:  # corrected, perhaps again
            other = self.rng.choice([source, *self.lots])
            self.edges.setdefault((other, batch), 0)
            row = self.weigh(Charge, row, batch_id=batch, source_id=other)
        if self.rng.random() < 1 / 5:
            Charge.objects.create(
                batch_id=batch,
                source_id=row.source_id,
                scale=self.scale,
                gross_mg=0,
                tare_mg=0,
                net_mg=0,
                is_void=True,
                supersedes=row,
                reason="never was",
                **self.hand(),
            )
            return
        self.edges[row.source_id, batch] += row.net_mg

    def keep(self, batch: int, source: int) -> None:
        row = Discrepancy.objects.create(
            batch_id=batch,
            stock_id=source,
            kind="charge",
            sent={},
            refused="late",
            **self.hand(),
        )
        outcome = self.rng.choice(["", "explained", "entered"])
        if outcome:
            DiscrepancyEnd.objects.create(
                discrepancy=row, outcome=outcome, reason="so", **self.hand()
            )

    def fill_bottles(self, batch: int) -> None:
        count = self.rng.randint(1, 5)
        lot = FillingLot.objects.create(
            code=f"F{batch}",
            batch_id=batch,
            nominal_ul=500_000,
            density="1.02",
            count=count,
            filled_mg=count * 510_000,
            loss_mg=self.rng.choice([0, 17]),
            use_by=make.TODAY,
            **self.hand(),
        )
        place = self.rng.choice([None, *self.places])
        rows = Bottle.objects.bulk_create(
            Bottle(
                filling_lot=lot, number=n + 1, code=f"{batch:010}{n:02}", place=place
            )
            for n in range(count)
        )
        self.events(rows, "", BottleStatus.FILLED, place=place)

    def events(self, bottles: list[Bottle], old: str, new: str, **more: Any) -> None:
        hand = self.hand()
        for bottle in bottles:
            BottleEvent.objects.create(bottle=bottle, old=old, new=new, **more, **hand)

    def some(self, *statuses: str) -> list[Bottle]:
        rows = Bottle.objects.filter(status__in=statuses).order_by("pk")
        found = list(rows)
        return self.rng.sample(found, self.rng.randint(1, len(found))) if found else []

    def become(self, bottles: list[Bottle], **changes: Any) -> None:
        Bottle.objects.filter(pk__in=[one.pk for one in bottles]).update(**changes)

    def move(self) -> None:
        old = self.rng.choice(list(BottleStatus))
        ends = [m.end for m in moves_from(BOTTLE_MOVES, old)]
        ends = [end for end in ends if end != BottleStatus.DISPATCHED]
        place = self.rng.choice([None, *self.places])
        if old in HERE and place:
            ends.append(old)  # to another shelf
        bottles = self.some(old)
        if not ends or not bottles:
            return
        new = self.rng.choice(ends)
        if new == BottleStatus.DESTROYED:
            place = None  # it stands nowhere
        changes: dict[str, Any] = {"status": new}
        if place:
            changes["place"] = place
        if new == BottleStatus.FILLED:
            changes["consignee"] = None
        self.become(bottles, **changes)
        self.events(bottles, old, new, place=place, reason="so")

    def send(self) -> None:
        bottles = self.some(BottleStatus.FILLED)
        if not bottles:
            return
        shop: Consignee = self.rng.choice(self.shops)
        row = Dispatch.objects.create(
            code=f"D{self.batches[0]}-{Dispatch.objects.count()}",
            consignee=shop,
            **self.hand(),
        )
        self.become(bottles, status="dispatched", consignee=shop)
        self.events(bottles, "filled", "dispatched", dispatch=row)

    def undo(self) -> None:
        """Take the newest dispatch back if none of it moved, and a destruction."""
        row = Dispatch.objects.filter(taken_back=None).order_by("pk").last()
        sent = Bottle.objects.filter(events__dispatch=row) if row else None
        if row and sent and {self.newest(one).dispatch for one in sent} == {row}:
            DispatchTakenBack.objects.create(dispatch=row, reason="no", **self.hand())
            self.become(list(sent), status="filled", consignee=None)
            self.events(list(sent), "dispatched", "filled", reason="no")
        for bottle in self.some(BottleStatus.DESTROYED)[:1]:
            gone = self.newest(bottle)
            DestructionTakenBack.objects.create(event=gone, reason="no", **self.hand())
            new = where_to(gone)
            self.become([bottle], status=new)
            self.events([bottle], "destroyed", new, reason="no")

    def newest(self, bottle: Bottle) -> BottleEvent:
        return bottle.events.latest("pk")


def text_of(scope: tracking_events.Scope) -> str:
    return "".join(tracking_events.document(scope))


@pytest.mark.parametrize("seed", range(BOOKS))
def test_a_small_book_comes_back_as_the_same_graph(crew: make.Crew, seed: int) -> None:
    Drawn(crew, seed)
    graph = read(text_of(tracking_events.Scope()))
    assert graph.edges == {**tracked.edges_of(), **tracked.fillings_of()}
    assert graph.bottles == tracked.bottles_of()
    assert graph.made == tracked.made_of()


@pytest.mark.parametrize("seed", range(BOOKS))
def test_each_lot_and_batch_of_it_comes_back_as_its_trace(
    crew: make.Crew, seed: int
) -> None:
    Drawn(crew, seed)
    names = tracked.stock_names()
    for root in Stock.objects.all():
        back, on = trace.trace(root), trace.track(root)
        if not back.edges and not on.edges:
            continue
        graph = read(text_of(tracking_events.of_stock(root)))
        for source, into, mass_mg in (*back.edges, *on.edges):
            assert graph.edges[names[source], names[into]] == mass_mg
        assert graph.back(names[root.pk]) == {
            names[pk] for pk in trace.upstream_ids(root.pk)
        }
        assert graph.bottles == tracked.bottles_of(on.batch_ids)


def test_control_the_books_hold_all_that_is_hard(crew: make.Crew) -> None:
    for seed in range(3):
        Drawn(crew, seed)
        _rename(seed)
    assert Charge.objects.filter(is_void=True).exists()
    assert Charge.objects.filter(supersedes__supersedes__isnull=False).exists()
    assert BulkWeighing.objects.filter(supersedes__isnull=False).exists()
    assert {None, "explained", "entered"} == set(
        Discrepancy.objects.values_list("end__outcome", flat=True)
    )
    assert DispatchTakenBack.objects.exists()
    assert DestructionTakenBack.objects.exists()
    states = set(BottleEvent.objects.values_list("new", flat=True))
    assert states == {state.value for state in BottleStatus}


def _rename(seed: int) -> None:
    """Give the codes free again for the next book."""
    for row in Stock.objects.exclude(code__startswith="old"):
        Stock.objects.filter(pk=row.pk).update(code=f"old{seed}-{row.code}")
    for place in Place.objects.exclude(name__startswith="old"):
        Place.objects.filter(pk=place.pk).update(name=f"old{seed}-{place.name}")
    for shop in Consignee.objects.exclude(name__startswith="old"):
        Consignee.objects.filter(pk=shop.pk).update(name=f"old{seed}-{shop.name}")
