"""Lots before their stocks, for everybody: nobody waits for one who waits for him."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any

import pytest

from batches.models import Charge
from batches.services import containers, sources
from producer.models import RawLot, Stock
from producer.services import counting, stock
from producer.services.counting import Counted
from tests import make
from tests.database import PATIENCE, together

PAUSE = 1.0  # seconds: an act that nothing keeps waiting has its locks by then
MORE = make.KG * 2


def adjust(crew: make.Crew, lot: RawLot) -> Any:
    return stock.adjust(by=crew.maker, lot=lot, counted_mg=MORE, reason="heavier")


def take_stock(crew: make.Crew, lot: RawLot) -> Any:
    counts = [Counted(lot=lot, counted_mg=MORE, reason="heavier")]
    return counting.take_stock(by=crew.maker, counts=counts)


def weigh(crew: make.Crew, lot: RawLot) -> Any:
    return containers.weigh_container(
        by=crew.maker,
        lot=lot,
        scale=make.scale(crew.maker),
        gross_mg=MORE,
        tare_mg=350_000,
    )


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("act", [adjust, take_stock, weigh])
def test_potash_that_is_found_heavier_while_it_is_weighed_in_waits_for_the_charge(
    crew: make.Crew,
    monkeypatch: pytest.MonkeyPatch,
    act: Callable[[make.Crew, RawLot], Any],
) -> None:
    lot = make.released_lot(crew, make.potash(crew.maker), quantity_mg=make.KG)
    batch = make.open_batch(crew)
    for line in batch.formula_version.lines.all():
        if line.material is not None and line.material.kind != "potash":
            net_mg = make.KG * (line.per_kg_mg or 0) // make.KG
            make.charge(crew, batch, make.stock_of(crew, line), net_mg, line=line)
            batch = make.fresh(batch)
    make.scale(crew.maker)
    checked = threading.Event()
    check_source = sources.check_source

    def slowly(**facts: Any) -> None:
        check_source(**facts)  # the lot is locked, its stock is not yet
        checked.set()
        threading.Event().wait(PAUSE)

    monkeypatch.setattr(sources, "check_source", slowly)

    def meanwhile() -> Any:
        checked.wait(PATIENCE)
        return act(crew, lot)

    came = together(lambda: make.charge(crew, batch, lot.stock, 216_000), meanwhile)
    assert [one for one in came if isinstance(one, Exception)] == []
    assert Charge.objects.filter(source=lot.stock).count() == 1
    assert RawLot.objects.get(pk=lot.pk).status == "on_hold"
    assert Stock.objects.get(pk=lot.pk).on_hand_mg > 0
