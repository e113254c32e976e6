"""Slips that are stopped before they become soap: units, vessels, bottles."""

from __future__ import annotations

from decimal import Decimal

import pytest

from batches.models import Charge
from batches.services import cooking, filling, planning
from producer.errors import Refusal
from producer.services import intake
from tests import make

KG = 1_000_000


@pytest.mark.django_db
@pytest.mark.parametrize("slip_mg", [208, 20_000 * KG // 100, 1_700_000])
def test_scenario_04_wrong_unit_is_stopped_and_goes_through_with_a_reason(
    crew: make.Crew, slip_mg: int
) -> None:
    """The line asks for 1 kg: 208 mg, 200 kg and 1.7 kg are all slips."""
    batch = make.open_batch(crew, basis_mg=1 * KG)
    line = make.line_of(batch, "sunflower oil")
    lot = make.released_lot(crew, line.material, quantity_mg=500 * KG)  # type: ignore[arg-type]
    with pytest.raises(Refusal, match=r"far from the .* still to be weighed") as stop:
        make.charge(crew, batch, lot.stock, slip_mg, line=line, unusual="")
    assert stop.value.field == "unusual"
    assert not Charge.objects.exists()
    lot.stock.refresh_from_db()
    assert lot.stock.on_hand_mg == 500 * KG
    row = make.charge(
        crew, batch, lot.stock, slip_mg, line=line, unusual="a trial in a cup"
    )
    assert row.reason == "a trial in a cup"


@pytest.mark.django_db
def test_what_the_formula_asks_for_needs_no_reason(crew: make.Crew) -> None:
    batch = make.open_batch(crew, basis_mg=1 * KG)
    line = make.line_of(batch, "sunflower oil")
    lot = make.released_lot(crew, line.material)  # type: ignore[arg-type]
    target = next(
        one.target_mg for one in planning.plan_of(batch).lines if one.line == line
    )
    assert target is not None
    half = target // 2
    for part in (half, target - half):  # in two portions
        assert make.charge(crew, batch, lot.stock, part, line=line, unusual="")


@pytest.mark.django_db
def test_nothing_goes_in_after_the_yield_was_weighed(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    make.weigh_bulk(crew, batch)
    lot = make.released_lot(crew, make.water(crew.maker))
    with pytest.raises(Refusal, match="has been weighed already"):
        make.charge(crew, batch, lot.stock, 1000)


@pytest.mark.django_db
@pytest.mark.parametrize("typed", ["0.9", "9", "39.9"])
def test_an_assay_that_no_potash_has_is_asked_about(
    crew: make.Crew, typed: str
) -> None:
    lot = make.held_lot(crew, make.potash(crew.maker))
    values = make.certificate_values(lot.material, assay_percent=Decimal(typed))
    with pytest.raises(Refusal, match="no potash for soap"):
        intake.record_certificate(
            by=crew.maker, lot=lot, values=values, upload=make.pdf()
        )


@pytest.mark.django_db
def test_a_new_certificate_version_puts_a_released_lot_on_hold(
    crew: make.Crew,
) -> None:
    lot = make.released_lot(crew, make.potash(crew.maker))
    intake.record_certificate(
        by=crew.maker,
        lot=lot,
        values=make.certificate_values(lot.material, assay_percent=Decimal(87)),
        upload=None,
        reason="the supplier corrected it",
    )
    lot.refresh_from_db()
    assert lot.status == "on_hold"
    assert lot.status_changes.latest("pk").new == "on_hold"
    batch = make.open_batch(crew)
    with pytest.raises(Refusal, match="not released"):
        make.charge(crew, batch, lot.stock, 1000)


@pytest.mark.django_db
def test_a_bottle_of_a_quarter_millilitre_is_a_slip_of_the_unit(
    crew: make.Crew,
) -> None:
    batch = make.released_liquid(crew)
    with pytest.raises(Refusal, match="slip of the unit"):
        filling.fill(
            by=crew.maker,
            batch=batch,
            nominal_ul=250,
            density=Decimal("1.01"),
            count=4,
        )


@pytest.mark.django_db
def test_the_liquid_lives_no_longer_than_the_paste_in_it(crew: make.Crew) -> None:
    paste = make.released_paste(crew)
    version = make.liquid_version(crew, shelf_life_days=5000)
    liquid = make.released_liquid(crew, version, paste=paste)
    assert filling.use_by(liquid) == filling.use_by(paste)


@pytest.mark.django_db
def test_a_charge_cannot_be_taken_back_once_the_batch_is_finished(
    crew: make.Crew,
) -> None:
    batch = make.cooked_batch(crew)
    row = Charge.objects.filter(batch=batch).earliest("pk")
    with pytest.raises(Refusal, match="is finished"):
        cooking.amend_charge(by=crew.maker, charge=row, void=True, reason="a slip")
