"""Slips that are stopped before they become soap: units, vessels, bottles."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from batches.models import Batch, BulkWeighing, Charge, FormulaLine
from batches.services import cooking, filling, planning
from producer.errors import Refusal
from producer.models import Instrument, RawLot
from producer.services import intake
from tests import make, uploads

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


def before_potash(crew: make.Crew) -> tuple[Batch, RawLot, int]:
    """Return a cook whose oils and water are in, its potash and the target for it."""
    batch = make.open_batch(crew, basis_mg=2 * KG)
    for name in ("sunflower oil", "coconut oil", "distilled water"):
        line = make.line_of(batch, name)
        target = target_of(batch, line)
        oil = make.stock_of(crew, line)
        make.charge(crew, batch, oil, target, line=line)
    line = make.line_of(batch, "potash flakes")
    lot = RawLot.objects.get(pk=make.stock_of(crew, line).pk)
    planning.choose_lots(by=crew.maker, batch=batch, choices={line.pk: lot.stock})
    return batch, lot, target_of(batch, line)


def target_of(batch: Batch, line: FormulaLine) -> int:
    found = next(one for one in planning.plan_of(batch).lines if one.line == line)
    assert found.target_mg is not None
    return found.target_mg


@pytest.mark.django_db
@pytest.mark.parametrize("portions", [1, 3])
def test_potash_two_percent_above_its_target_is_asked_about(
    crew: make.Crew, portions: int
) -> None:
    batch, lot, target = before_potash(crew)
    for _ in range(portions - 1):
        make.charge(crew, batch, lot.stock, target // portions, unusual="")
    weighed = (portions - 1) * (target // portions)
    most = int(target * Decimal("1.02")) - weighed
    with pytest.raises(Refusal, match="potash flakes still to be weighed"):
        make.charge(crew, batch, lot.stock, most + 1, unusual="")
    assert make.charge(crew, batch, lot.stock, most, unusual="")


@pytest.mark.django_db
def test_what_is_still_to_be_weighed_is_told_in_tenths_of_a_gram(
    crew: make.Crew,
) -> None:
    batch, lot, target = before_potash(crew)
    assert target % 100  # the exact target would be told in milligrams
    with pytest.raises(Refusal, match=r"far from the \d{3}\.\d g of potash") as stop:
        make.charge(crew, batch, lot.stock, 3 * target, unusual="")
    assert f"{round(target / 1000, 1):.1f} g" in stop.value.message


@pytest.mark.django_db
def test_no_weighing_is_above_what_its_scale_carries(crew: make.Crew) -> None:
    Instrument.objects.filter(pk=make.scale(crew.maker).pk).update(capacity=15_000)
    batch = make.open_batch(crew)
    lot = make.released_lot(crew, make.water(crew.maker), quantity_mg=500 * KG)
    most = 15 * KG - make.TARE_MG
    said = "The bench scale carries up to 15 kg"
    with pytest.raises(Refusal, match=said) as stop:
        make.charge(crew, batch, lot.stock, most + 1)
    assert stop.value.field == "gross_mg"
    row = make.charge(crew, batch, lot.stock, most)
    with pytest.raises(Refusal, match=said):
        cooking.amend_charge(
            by=crew.maker,
            charge=row,
            gross_mg=15 * KG + 1,
            tare_mg=make.TARE_MG,
            reason="misread",
        )
    with pytest.raises(Refusal, match=said):
        make.weigh_bulk(crew, batch, share="1.1")
    make.weigh_bulk(crew, batch, share="0.9")
    weighing = BulkWeighing.objects.get(batch=batch)
    with pytest.raises(Refusal, match=said):
        cooking.amend_bulk(
            by=crew.maker,
            weighing=weighing,
            gross_mg=15 * KG + 1,
            tare_mg=KG,
            reason="misread",
        )


@pytest.mark.django_db
def test_much_more_than_went_in_cannot_come_out(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    with pytest.raises(Refusal, match="cannot have come out") as stop:
        make.weigh_bulk(crew, batch, share="1.21")
    assert stop.value.field == "gross_mg"
    assert not BulkWeighing.objects.exists()
    make.weigh_bulk(crew, batch, share="1.2")
    with pytest.raises(Refusal, match="cannot have come out"):
        cooking.amend_bulk(
            by=crew.maker,
            weighing=BulkWeighing.objects.get(),
            gross_mg=3 * KG,
            tare_mg=0,
            reason="misread",
        )
    assert BulkWeighing.objects.count() == 1


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("characteristic", "value", "goes"),
    [
        ("temperature", "-20", True),
        ("temperature", "-20.1", False),
        ("temperature", "150", True),
        ("temperature", "158", False),
        ("ph", "1", True),
        ("ph", "0.9", False),
        ("ph", "14", True),
        ("ph", "92", False),
    ],
)
def test_a_reading_that_no_soap_gives_is_refused_with_what_to_check(
    crew: make.Crew, *, characteristic: str, value: str, goes: bool
) -> None:
    batch = make.open_batch(crew)
    lot = make.released_lot(crew, make.water(crew.maker))
    make.charge(crew, batch, lot.stock, 420_000)
    instruments = {"temperature": make.thermometer, "ph": make.meter}
    facts: dict[str, Any] = {
        "by": crew.maker,
        "value": Decimal(value),
        "method": "in solution" if characteristic == "ph" else "",
        "instrument": instruments[characteristic](crew.maker),
    }
    usual = {**facts, "value": Decimal(9)}
    if goes:
        assert cooking.record_reading(
            batch=batch, characteristic=characteristic, **facts
        )
    else:
        with pytest.raises(Refusal, match="Check the decimal mark") as stop:
            cooking.record_reading(batch=batch, characteristic=characteristic, **facts)
        assert stop.value.field == "value"
        row = cooking.record_reading(
            batch=batch, characteristic=characteristic, **usual
        )
        with pytest.raises(Refusal, match="Check the decimal mark"):
            cooking.amend_reading(reading=row, reason="misread", **facts)


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
            by=crew.maker, lot=lot, values=values, upload=uploads.pdf()
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
