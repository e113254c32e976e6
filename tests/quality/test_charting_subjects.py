"""Series of evaporation, of materials and of instruments, and the list of all."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from batches.models import Batch
from batches.services import losses, titrating
from producer.models import Material, RawLot, User
from producer.services import intake
from quality.models import InstrumentCheck, Judgement, Limit
from quality.services.charting import (
    Chartable,
    Kind,
    Limits,
    Point,
    Subject,
    listed,
    series_of,
)
from quality.services.charting.formulas import MISSING, WEIGHED
from quality.services.checking import Known, TwoBuffers, record_check
from quality.statistics.buffers import BufferSet
from tests import lab, make, uploads
from tests.quality.test_charting import with_ph

pytestmark = [pytest.mark.django_db, pytest.mark.any_engine]

# ------------------------------------------------------------------ evaporation


def evaporation(crew: make.Crew) -> list[Point]:
    formula = make.paste_version(crew).formula
    return series_of(formula, Chartable.EVAPORATION).points


def put_in(batch: Batch) -> int:
    return sum(row.net_mg for row in batch.charges.all())


def in_the_pot(crew: make.Crew) -> Batch:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    return batch


def lose(crew: make.Crew, batch: Batch, kind: str, mass_mg: int) -> None:
    losses.record_loss(by=crew.maker, batch=batch, kind=kind, mass_mg=mass_mg)


def test_evaporation_is_what_is_missing_and_was_not_seen_to_go(
    crew: make.Crew,
) -> None:
    batch = in_the_pot(crew)
    lose(crew, batch, "spill", 16_000)
    net = make.weigh_bulk(crew, batch, share="0.95")
    (point,) = evaporation(crew)
    missing = Decimal(put_in(batch) - net - 16_000) / put_in(batch) * 100
    assert point.value == missing.quantize(Decimal("0.001"))
    assert Decimal(3) < point.value < Decimal(5)
    assert point.method == MISSING


def test_evaporation_that_was_weighed_stands_for_itself_and_apart(
    crew: make.Crew,
) -> None:
    first = in_the_pot(crew)
    make.weigh_bulk(crew, first)
    second = in_the_pot(crew)
    lose(crew, second, "evaporation", 20_000)
    make.weigh_bulk(crew, second)
    formula = make.paste_version(crew).formula
    series = series_of(formula, Chartable.EVAPORATION)
    assert [point.label for point in series.points] == [second.number]
    expected = Decimal(20_000) / put_in(second) * 100
    assert series.points[0].value == expected.quantize(Decimal("0.001"))
    assert (series.method, series.left_out) == (WEIGHED, 1)
    assert series.unit == "% of what went in"


def test_soap_content_is_charted_as_it_was_signed(crew: make.Crew) -> None:
    batch = make.released_paste(crew)
    formula = batch.formula_version.formula
    signature = batch.signatures.get()
    limit = Limit.objects.create(
        formula_version=batch.formula_version,
        characteristic="soap_content",
        version=1,
        lower=Decimal(30),
        reason="as agreed",
        observed_at=timezone.now(),
        entered_by=crew.reviewer,
    )
    Judgement.objects.create(
        signature=signature,
        limit=limit,
        characteristic="soap_content",
        value=Decimal("41.5"),
        verdict="pass",
        sentence="enough",
    )
    series = series_of(formula, Chartable.SOAP_CONTENT)
    assert [point.value for point in series.points] == [Decimal("41.5")]
    assert series.limits.lower == 30


# ------------------------------------------------------------------ materials


def assay_lot(crew: make.Crew, percent: str, days_ago: int = 0) -> RawLot:
    day = make.TODAY - datetime.timedelta(days=days_ago)
    return make.released_lot(
        crew,
        make.potash(crew.maker),
        certificate={"assay_percent": Decimal(percent)},
        received_on=day,
    )


def shown(material: Material, characteristic: Chartable) -> list[tuple[str, Decimal]]:
    points = series_of(material, characteristic).points
    return [(point.label, point.value) for point in points]


def test_assays_stand_in_the_order_of_receipt_with_the_newest_certificate(
    crew: make.Crew,
) -> None:
    later = assay_lot(crew, "89", days_ago=1)
    earlier = assay_lot(crew, "90.5", days_ago=9)
    intake.record_certificate(
        by=crew.maker,
        lot=later,
        values=make.certificate_values(later.material, assay_percent=Decimal("88.5")),
        upload=uploads.pdf(body=b"another"),
        reason="sent again",
    )
    series = series_of(make.potash(crew.maker), Chartable.ASSAY)
    assert [(point.label, point.value) for point in series.points] == [
        (earlier.code, Decimal("90.5")),
        (later.code, Decimal("88.5")),
    ]
    assert series.points[1].origin == "certificate version 2"
    assert (series.points[0].page, series.points[0].argument) == (
        "producer:lot",
        earlier.code,
    )
    assert timezone.localtime(series.points[0].at).date() == earlier.received_on


def test_an_assay_by_another_basis_is_another_quantity(crew: make.Crew) -> None:
    make.released_lot(
        crew,
        make.potash(crew.maker),
        certificate={"assay_basis": "total_alkali"},
        received_on=make.TODAY - datetime.timedelta(days=5),
    )
    lot = assay_lot(crew, "88")
    series = series_of(make.potash(crew.maker), Chartable.ASSAY)
    assert [point.label for point in series.points] == [lot.code]
    assert (series.method, series.left_out) == ("hydroxide only", 1)


def test_a_rejected_lot_is_no_result(crew: make.Crew) -> None:
    lot = make.held_lot(crew, make.potash(crew.maker))
    values = make.certificate_values(lot.material)
    intake.record_certificate(
        by=crew.maker, lot=lot, values=values, upload=uploads.pdf()
    )
    assert len(shown(lot.material, Chartable.ASSAY)) == 1
    intake.decide_lot(by=crew.reviewer, lot=lot, new="rejected", reason="wet")
    assert shown(lot.material, Chartable.ASSAY) == []


def test_own_titrations_of_potash_are_a_chart_of_their_own(crew: make.Crew) -> None:
    lot = assay_lot(crew, "90")
    titration = lab.titration(crew, lot.stock)
    found = shown(lot.material, Chartable.HYDROXIDE)
    assert found == [(lot.code, titration.value)]
    assert shown(lot.material, Chartable.ASSAY) == [(lot.code, Decimal(90))]


def test_a_titration_with_one_sample_is_not_charted(crew: make.Crew) -> None:
    lot = assay_lot(crew, "90")
    lab.titration(crew, lot.stock, lab.POTASH_SAMPLE)
    assert shown(lot.material, Chartable.HYDROXIDE) == []


SAPONIFIED = [
    titrating.Replicate(sample_mg=2000, volume_ml=Decimal(volume))
    for volume in ("11.45", "11.5")
]


def test_a_saponification_value_of_our_own_stands_before_the_certificate(
    crew: make.Crew,
) -> None:
    oil = make.sunflower(crew.maker)
    stated = make.released_lot(crew, oil, certificate={})
    own = make.released_lot(crew, oil, certificate={})
    titration = lab.titration(
        crew,
        own.stock,
        *SAPONIFIED,
        kind="saponification_value",
        setup={"concentration": Decimal("0.5"), "blank_ml": Decimal(25)},
    )
    assert shown(oil, Chartable.SAPONIFICATION_VALUE) == [
        (stated.code, Decimal("190.5")),
        (own.code, titration.value),
    ]
    assert titration.value != Decimal("190.5")


def test_the_newest_limit_of_the_material_is_in_force(crew: make.Crew) -> None:
    lot = assay_lot(crew, "90")
    for version, lower in ((1, 80), (2, 85)):
        Limit.objects.create(
            material=lot.material,
            characteristic="assay",
            version=version,
            lower=Decimal(lower),
            reason="as agreed with the supplier",
            observed_at=timezone.now(),
            entered_by=crew.reviewer,
        )
    series = series_of(lot.material, Chartable.ASSAY)
    assert series.limits == Limits(
        lower=Decimal(85), words="limit version 2 of the material"
    )
    assert series_of(lot.material, Chartable.HYDROXIDE).limits == Limits()


@pytest.mark.parametrize("characteristic", [Chartable.PH, Chartable.ERROR])
def test_what_a_material_does_not_have_is_refused(
    crew: make.Crew, characteristic: Chartable
) -> None:
    with pytest.raises(ValueError, match="A material has no"):
        series_of(make.potash(crew.maker), characteristic)


# ------------------------------------------------------------------ instruments


def weighed(by: User, shown: str, reference: int = 500) -> InstrumentCheck:
    return record_check(
        by=by,
        instrument=make.scale(by),
        held=Known(
            against=f"{reference} g", reference=Decimal(reference), shown=Decimal(shown)
        ),
        tolerance=Decimal(2),
    )


def test_the_errors_of_a_scale_are_charted_in_grams_with_what_passes(
    crew: make.Crew,
) -> None:
    weighed(crew.maker, "501")
    check = weighed(crew.maker, "498")
    series = series_of(make.scale(crew.maker), Chartable.ERROR)
    assert [point.value for point in series.points] == [1, -2]
    assert series.limits.lower == -2
    assert series.limits.upper == 2
    assert series.unit == "g"
    assert series.points[1].origin == "passed" if check.passed else "failed"
    assert (series.points[1].page, series.points[1].anchor) == (
        "quality:instrument",
        f"check-{check.pk}",
    )


def test_an_error_at_another_load_is_another_quantity(crew: make.Crew) -> None:
    weighed(crew.maker, "501")
    weighed(crew.maker, "2003", 2000)
    series = series_of(make.scale(crew.maker), Chartable.ERROR)
    assert [point.value for point in series.points] == [3]
    assert (series.method, series.left_out) == ("held against 2000 g", 1)


def test_a_meter_has_an_error_in_each_buffer_and_a_slope(crew: make.Crew) -> None:
    meter = make.meter(crew.maker)
    record_check(
        by=crew.maker,
        instrument=meter,
        held=TwoBuffers(
            which=BufferSet.TECHNICAL,
            names=("10.01", "7.00"),  # in the other order, which changes nothing
            shown=(Decimal("9.99"), Decimal("7.03")),
            temperature=Decimal(25),
        ),
        tolerance=Decimal("0.1"),
    )
    values = {
        one: [point.value for point in series_of(meter, one).points]
        for one in Chartable
        if one.kind == Kind.INSTRUMENT
    }
    assert values == {
        Chartable.ERROR: [],
        Chartable.ERROR_ACID: [Decimal("0.03")],
        Chartable.ERROR_ALKALINE: [Decimal("-0.02")],
        Chartable.SLOPE: [Decimal("98.34")],  # (9.99 − 7.03)/(10.01 − 7.00)
    }
    slope = series_of(meter, Chartable.SLOPE)
    assert slope.limits.lower == 95
    assert slope.limits.upper == 105
    assert slope.unit == "%"


# ------------------------------------------------------------------ the list


def test_the_list_has_formulas_materials_and_instruments_with_counts(
    crew: make.Crew,
) -> None:
    with_ph(crew, "9.2")
    assay_lot(crew, "90")
    weighed(crew.maker, "501")
    found = {
        (subject.kind.value, subject.name): {
            one.series.characteristic: len(one.series.points) for one in charts
        }
        for subject, charts in listed()
    }
    assert found["formula", "Kitchen paste"] == {Chartable.PH: 1}
    assert found["material", "potash flakes"] == {Chartable.ASSAY: 1}
    assert found["instrument", "bench scale"] == {Chartable.ERROR: 1}


def test_the_list_says_how_firm_limits_are_and_what_stood_out_last(
    crew: make.Crew,
) -> None:
    wave = ("9.0", "9.2", "9.1", "9.3")
    for place in range(8):
        with_ph(crew, wave[place % 4])
    ((_, (provisional,)),) = [one for one in listed() if one[0].kind == Kind.FORMULA]
    assert provisional.standing == "provisional"
    assert provisional.newest is None
    for place in range(12):
        with_ph(crew, wave[place % 4])
    odd = with_ph(crew, "10.6")
    ((_, (firm,)),) = [one for one in listed() if one[0].kind == Kind.FORMULA]
    assert firm.standing == "firm"
    assert firm.newest_point is not None
    assert firm.newest_point.label == odd.number


def queries(what: Callable[[], object]) -> int:
    with CaptureQueriesContext(connection) as seen:
        what()
    return len(seen)


def test_twenty_lots_and_checks_take_no_more_queries_than_two(
    crew: make.Crew,
) -> None:
    material, scale = make.potash(crew.maker), make.scale(crew.maker)

    def everything() -> None:
        for one in Chartable:
            if one.kind == Kind.MATERIAL:
                series_of(material, one)
            if one.kind == Kind.INSTRUMENT:
                series_of(scale, one)
        listed()

    def more(count: int) -> None:
        for place in range(count):
            assay_lot(crew, f"{88 + place % 3}", days_ago=place)
            weighed(crew.maker, f"{500 + place % 2}")

    more(2)
    few = queries(everything)
    more(18)
    assert len(series_of(scale, Chartable.ERROR).points) == 20
    assert queries(everything) == few


def test_more_formulas_take_no_more_queries(crew: make.Crew) -> None:
    with_ph(crew, "9.2")
    few = queries(listed)
    for name in ("Second paste", "Third paste"):
        batch = make.open_batch(crew, make.paste_version(crew, name=name))
        line = make.line_of(batch, "distilled water")
        make.charge(crew, batch, make.stock_of(crew, line), 20_000, line=line)
        make.read_ph(crew, batch, "9.3")
    formulas = [one for one, _ in listed() if one.kind == Kind.FORMULA]
    assert len(formulas) == 3
    assert queries(listed) == few


def test_each_kind_has_its_addresses() -> None:
    pages: dict[Any, tuple[str, str]] = {
        kind: (
            Subject(kind=kind, pk=1, name="x").page,
            Subject(kind=kind, pk=1, name="x").print_page,
        )
        for kind in Kind
    }
    assert pages == {
        Kind.FORMULA: ("quality:chart", "quality:chart_pdf"),
        Kind.MATERIAL: ("quality:material_chart", "quality:material_chart_pdf"),
        Kind.INSTRUMENT: ("quality:instrument_chart", "quality:instrument_chart_pdf"),
    }
