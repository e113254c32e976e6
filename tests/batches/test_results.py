"""Theoretical and actual yield, to the milligram, from what stands now."""

from __future__ import annotations

from decimal import Decimal

import pytest

from batches.models import BulkWeighing, Charge
from batches.services import cooking
from batches.services.results import yield_of
from tests import make


@pytest.mark.django_db
def test_before_anything_is_weighed_there_is_no_yield(crew: make.Crew) -> None:
    result = yield_of(make.open_batch(crew))
    assert result.theoretical_mg == 0
    assert result.actual_mg is None
    assert result.variance_percent is None


@pytest.mark.django_db
def test_theoretical_yield_is_all_that_went_in(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    # 800 + 200 g of oil, 420 g of water, 203.7 g / 0.9 of potash; the oils' values
    # are the middles of their ranges: 191 and 256.5 mg/g
    potash = round(Decimal("0.8") * 191 + Decimal("0.2") * Decimal("256.5"), 3) / (
        Decimal("0.9")
    )
    expected = 1_420_000 + round(potash * 1000)
    assert yield_of(batch).theoretical_mg == expected
    net = make.weigh_bulk(crew, batch, share="0.9")
    result = yield_of(batch)
    assert result.actual_mg == net
    assert result.variance_percent is not None
    assert round(result.variance_percent, 3) == Decimal(-10)


@pytest.mark.django_db
def test_a_corrected_row_counts_and_the_one_it_corrects_does_not(
    crew: make.Crew,
) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    make.weigh_bulk(crew, batch)
    before = yield_of(batch)
    charge = Charge.objects.current().filter(batch=batch).latest("pk")
    cooking.amend_charge(
        by=crew.maker,
        charge=charge,
        gross_mg=charge.gross_mg + 7,
        tare_mg=charge.tare_mg,
        reason="misread",
    )
    weighing = BulkWeighing.objects.get()
    cooking.amend_bulk(
        by=crew.maker,
        weighing=weighing,
        gross_mg=weighing.gross_mg - 5,
        tare_mg=weighing.tare_mg,
        reason="misread",
    )
    after = yield_of(batch)
    assert after.theoretical_mg == before.theoretical_mg + 7
    assert before.actual_mg is not None
    assert after.actual_mg == before.actual_mg - 5


@pytest.mark.django_db
def test_what_was_drawn_from_a_batch_does_not_change_its_yield(crew: make.Crew) -> None:
    paste = make.released_paste(crew)
    before = yield_of(paste)
    make.diluted_batch(crew, paste=paste)
    paste.stock.refresh_from_db()
    assert before.actual_mg is not None
    assert paste.stock.on_hand_mg == before.actual_mg - 500_000
    assert yield_of(paste) == before
