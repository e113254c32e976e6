"""Corrections: which excess counts, how much of what, and when nothing."""

from __future__ import annotations

import datetime
from decimal import Decimal

import pytest

from batches.services import cooking
from producer.errors import Refusal
from producer.models import Instrument, RawLot
from quality.services.correction import LOOK_FIRST, NOT_REACTED
from quality.services.correction_doses import scale_for
from tests import make
from tests.quality.overdosed import (
    G,
    citric,
    doses,
    fine_scale,
    found_for,
    lacking,
    pot,
    titrate,
)

pytestmark = [pytest.mark.django_db, pytest.mark.any_engine]

NINE_TENTHS = Decimal("0.9")


def test_each_oil_of_the_pot_and_each_acid_gets_nine_tenths_of_its_dose(
    crew: make.Crew,
) -> None:
    fine_scale(crew)
    citric(crew)
    batch = pot(crew)
    found = found_for(batch)
    assert found.excess is not None
    excess = found.excess.value_g
    assert excess == pytest.approx(Decimal("13.5"), abs=Decimal("0.05"))
    dosed = doses(found)
    # by hand: E · 0.9 / what a gram takes up, down to a tenth of a gram
    for name, takes in {
        "citric acid": Decimal("0.876084"),
        "sunflower oil": Decimal("0.191"),
        "coconut oil": Decimal("0.2565"),
    }.items():
        dose = dosed.pop(name)
        assert dose is not None
        exact = excess * NINE_TENTHS / takes
        # sunflower and coconut on the bench scale, in steps of a gram
        step = Decimal("0.11") if takes > NINE_TENTHS / 2 else Decimal("1.01")
        assert exact - step < Decimal(dose) / 1000 <= exact
    assert dosed == {}


def test_the_share_scales_the_dose(crew: make.Crew) -> None:
    fine_scale(crew)
    batch = pot(crew)
    half, whole = (
        doses(found_for(batch, share=Decimal(share)))["sunflower oil"]
        for share in ("0.5", "1")
    )
    assert half is not None
    assert whole is not None
    assert abs(whole - 2 * half) <= 2 * G  # the bench scale shows whole grams


def test_where_alkali_is_lacking_only_potash_is_offered(crew: make.Crew) -> None:
    fine_scale(crew)
    citric(crew)
    found = found_for(lacking(crew))
    assert found.excess is not None
    assert found.why_not == ""
    dosed = doses(found)
    assert set(dosed) == {"potash flakes"}
    dose = dosed["potash flakes"]
    assert dose is not None
    exact = -found.excess.value_g * NINE_TENTHS / NINE_TENTHS  # 90 % potash
    assert Decimal(dose) / 1000 == pytest.approx(exact, abs=Decimal("0.11"))


def test_weighing_the_dose_in_brings_the_excess_to_a_tenth(crew: make.Crew) -> None:
    scale, acid = fine_scale(crew), citric(crew)
    batch = pot(crew)
    found = found_for(batch)
    assert found.excess is not None
    dose = doses(found)["citric acid"]
    assert dose is not None
    cooking.correct(
        by=crew.maker,
        batch=batch,
        source=acid.stock,
        scale=scale,
        gross_mg=dose,
        tare_mg=0,
        reason="too much alkali",
    )
    after = found_for(make.fresh(batch))
    assert after.excess is not None
    assert after.excess.value_g == pytest.approx(
        found.excess.value_g / 10, abs=Decimal("0.1")
    )
    assert "inside its own uncertainty" in after.why_not
    assert after.proposals == []


def test_a_kitchen_scale_is_told_to_be_too_coarse_for_a_small_dose(
    crew: make.Crew,
) -> None:
    citric(crew)
    batch = pot(crew)
    by_name = {one.lot.material.name: one for one in found_for(batch).proposals}
    assert by_name["citric acid"].dose_mg is None
    assert "Take a finer scale" in by_name["citric acid"].why_not
    assert by_name["sunflower oil"].dose_mg is not None  # 63 g it can weigh


def test_what_may_not_or_cannot_be_used_is_not_offered(crew: make.Crew) -> None:
    fine_scale(crew)
    batch = pot(crew)
    little = citric(crew, quantity_mg=2 * G)
    held = make.held_lot(crew, little.material)
    old = citric(crew)
    yesterday = make.TODAY - datetime.timedelta(days=1)
    RawLot.objects.filter(pk=old.pk).update(expires_on=yesterday, received_on=yesterday)
    olive = make._oil(crew.maker, "olive oil", 184, 196)
    foreign = make.released_lot(crew, olive)  # not in this pot
    by_lot = {one.lot.pk: one for one in found_for(batch).proposals}
    assert not {held.pk, old.pk, foreign.pk} & by_lot.keys()
    assert "Only 2 g of it is on hand" in by_lot[little.pk].why_not


def test_an_excess_inside_its_uncertainty_is_measured_first(crew: make.Crew) -> None:
    found = found_for(pot(crew, extra_mg=0))
    assert found.excess is not None
    assert not found.excess.is_known
    assert "Measure first" in found.why_not
    assert found.proposals == []


def test_a_titration_counts_before_the_weighings(crew: make.Crew) -> None:
    fine_scale(crew)
    batch = pot(crew)
    titrate(crew, batch, "9.0", "9.1", "9.0")  # 0.5 % by 5.61 V c / m
    found = found_for(batch)
    assert found.excess is not None
    assert found.excess.origin == "titration"
    paste_g = Decimal(1662)
    assert found.excess.value_g == pytest.approx(
        paste_g * Decimal("0.00507"), rel=Decimal("0.01")
    )


def test_no_free_alkali_by_titration_leaves_lacking_potash_to_the_weighings(
    crew: make.Crew,
) -> None:
    batch = lacking(crew)
    titrate(crew, batch, "0.02", "0.03", "0.02")
    found = found_for(batch)
    assert found.excess is not None
    assert found.excess.origin == "weighings"
    assert found.excess.value_g < 0


def test_free_alkali_beside_lacking_potash_means_cook_on(crew: make.Crew) -> None:
    batch = lacking(crew)
    titrate(crew, batch, "9.0", "9.1", "9.0")
    found = found_for(batch)
    assert found.why_not == NOT_REACTED
    assert found.proposals == []


@pytest.mark.parametrize("volume", ["30.0", "5.0"])  # 28 g and 4.7 g; weighed 13.5
@pytest.mark.parametrize("clarity", ["cloudy", "oil_drops", None])
def test_a_titration_off_the_weighings_gets_no_dose_while_not_all_has_reacted(
    crew: make.Crew, clarity: str | None, volume: str
) -> None:
    fine_scale(crew)
    batch = pot(crew, clarity=clarity)
    titrate(crew, batch, volume, volume, volume)
    found = found_for(batch)
    assert found.excess is not None
    assert found.excess.is_known
    assert found.why_not == NOT_REACTED
    assert "not all has reacted, or a mass or figure is wrong" in found.why_not
    assert found.proposals == []


@pytest.mark.parametrize("volume", ["30.0", "5.0"])
def test_a_clear_portion_and_a_titration_correct_a_wrong_certificate(
    crew: make.Crew, volume: str
) -> None:
    fine_scale(crew)
    citric(crew)
    batch = pot(crew)
    titrate(crew, batch, volume, volume, volume)
    found = found_for(batch)
    assert found.why_not == ""
    assert found.excess is not None
    assert found.excess.origin == "titration"
    assert doses(found)["citric acid"]
    assert any("a mass or a figure is wrong" in words for words in found.advice)


def test_a_titration_that_agrees_with_the_weighings_is_not_questioned(
    crew: make.Crew,
) -> None:
    fine_scale(crew)
    batch = pot(crew)
    titrate(crew, batch, "14.4", "14.5", "14.4")  # 13.5 g in 1662 g
    assert found_for(batch).advice == []


@pytest.mark.parametrize(
    ("clarity", "said"), [("cloudy", "showed cloudy"), (None, "No portion was looked")]
)
def test_too_much_by_the_weighings_alone_waits_for_a_clear_portion(
    crew: make.Crew, clarity: str | None, said: str
) -> None:
    found = found_for(pot(crew, clarity=clarity))
    assert said in found.why_not
    assert found.proposals == []


@pytest.mark.parametrize(
    ("clarity", "said"),
    [("clear", "no oil that potash could take up"), (None, "No portion was looked")],
)
def test_potash_is_dosed_only_where_oil_was_seen(
    crew: make.Crew, clarity: str | None, said: str
) -> None:
    found = found_for(lacking(crew, clarity=clarity))
    assert said in found.why_not
    assert found.proposals == []


def test_a_portion_from_before_the_last_charge_does_not_count(crew: make.Crew) -> None:
    batch = pot(crew)
    line = make.line_of(batch, "potash flakes")
    make.charge(crew, batch, make.stock_of(crew, line), 5 * G, line=line)
    assert found_for(batch).why_not == LOOK_FIRST


def test_the_dose_is_weighed_on_the_coarsest_scale_that_is_good_enough(
    crew: make.Crew,
) -> None:
    fine_scale(crew, name="fine", resolution=Decimal("0.001"), capacity=Decimal(50))
    small = fine_scale(crew, name="small", resolution=Decimal("0.1"), capacity=2000)
    citric(crew)
    batch = pot(crew)
    by_name = {one.lot.material.name: one for one in found_for(batch).proposals}
    acid, oil = by_name["citric acid"], by_name["sunflower oil"]
    # 13.8 g and a beaker are too much for 50 g, and too little for steps of 1 g
    assert acid.scale == small
    assert acid.dose_mg is not None
    assert acid.dose_mg % 100 == 0
    assert oil.scale == make.scale(crew.maker)
    Instrument.objects.exclude(name="fine").update(in_use=False)
    strong = {one.lot.material.name: one for one in found_for(batch).proposals}
    assert strong["sunflower oil"].dose_mg is None
    assert "No scale in use carries 63" in strong["sunflower oil"].why_not
    Instrument.objects.update(in_use=False)
    none = found_for(batch).proposals
    assert all("There is no scale in use" in one.why_not for one in none)


@pytest.mark.parametrize(
    ("dose", "capacity", "carries"),
    [("10", "120", True), ("10", "119.9", False), ("200", "500", True)],
)
def test_a_scale_carries_twice_the_dose_and_a_beaker(
    *, dose: str, capacity: str, carries: bool
) -> None:
    scale = Instrument(
        kind="scale",
        name="small",
        resolution=Decimal("0.01"),
        bias_half_width=Decimal(0),
        capacity=Decimal(capacity),
    )
    if carries:
        assert scale_for(Decimal(dose), [scale]) is scale
    else:
        with pytest.raises(Refusal, match="No scale in use carries 10"):
            scale_for(Decimal(dose), [scale])


def test_after_a_dose_by_titration_the_weighings_propose_no_other(
    crew: make.Crew,
) -> None:
    fine_scale(crew)
    acid = citric(crew)
    batch = pot(crew, extra_mg=0)
    titrate(crew, batch, "9.0", "9.1", "9.0")
    cooking.correct(
        by=crew.maker,
        batch=batch,
        source=acid.stock,
        scale=make.scale(crew.maker),
        gross_mg=9 * G,
        tare_mg=0,
        reason="too much alkali",
    )
    found = found_for(batch)
    assert found.excess is not None
    assert found.excess.is_known  # by the weighings potash is lacking now
    assert found.proposals == []
    assert "Titrate it again" in found.why_not


def test_after_two_corrections_it_says_stop(crew: make.Crew) -> None:
    batch = pot(crew)
    oil = RawLot.objects.get(material__name="sunflower oil")
    for _ in range(2):
        assert not any("stop" in words for words in found_for(batch).advice)
        cooking.correct(
            by=crew.maker,
            batch=batch,
            source=oil.stock,
            scale=make.scale(crew.maker),
            gross_mg=20 * G,
            tare_mg=0,
            reason="too much alkali",
        )
    assert any("stop" in words for words in found_for(batch).advice)


def test_a_wide_excess_warns_of_the_soap_that_acid_could_split(crew: make.Crew) -> None:
    fine_scale(crew)
    citric(crew)
    found = found_for(pot(crew, extra_mg=5 * G))
    assert found.excess is not None
    acid = next(one for one in found.proposals if one.lot.material.acid)
    overshoot = found.excess.value_g * NINE_TENTHS - (
        found.excess.value_g - found.excess.expanded_uncertainty_g
    )
    assert overshoot > 0
    # about 5.3 g of soap, with a fifth of coconut oil, for each gram of KOH
    assert acid.soap_split_g == pytest.approx(
        overshoot * Decimal("5.3"), rel=Decimal("0.05")
    )
    oil = next(one for one in found.proposals if not one.lot.material.acid)
    assert oil.soap_split_g == 0


@pytest.mark.parametrize("state", ["planned", "incomplete", "weighed", "finished"])
def test_where_nothing_can_go_in_it_says_why(crew: make.Crew, state: str) -> None:
    said = {
        "planned": "Nothing is in the pot yet",
        "incomplete": "first: until then",
        "weighed": "has been weighed already",
        "finished": "nothing can be weighed in any more",
    }[state]
    batch = make.open_batch(crew)
    if state == "incomplete":
        oil = make.released_lot(crew, make.sunflower(crew.maker))
        make.charge(crew, batch, oil.stock, 800 * G)
    elif state != "planned":
        make.charge_all(crew, batch)
        make.weigh_bulk(crew, batch)
        if state == "finished":
            cooking.finish(by=crew.maker, batch=batch)
    found = found_for(make.fresh(batch))
    assert said in found.closed
    assert found.proposals == []
