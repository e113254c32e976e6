"""A blend of liquids and a dilution of several pastes, from opening to release."""

from __future__ import annotations

import datetime
from decimal import Decimal

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from batches.models import Batch, FormulaVersion, Input
from batches.services import cooking, filling, formulas, planning, portions
from batches.services.cooking.how import How
from batches.services.outcome import soap_content_of
from batches.services.portions import portions_of
from batches.services.use_by import ends_of, first_end
from producer.errors import Refusal
from producer.services.checks import local_day
from quality.services import dosing
from tests import liquids, make
from tests.doors.pages import page_of

pytestmark = pytest.mark.django_db

G = 1_000


def weighed_exactly(crew: make.Crew, batch: Batch) -> Batch:
    """Take the readings, weigh out exactly what went in, and release."""
    make.complete(crew, batch, share="1")
    return make.signed(crew.reviewer, batch, "release")


def blend_of(crew: make.Crew, *sources: FormulaVersion, days: int) -> FormulaVersion:
    """Return a blend that is sold, of equal parts of what these formulas make."""
    share = make.KG // len(sources)
    version = formulas.write_formula(
        by=crew.maker,
        name="Blended wash",
        kind="blend",
        purpose="wash",
        wording=formulas.Wording(product_name="Blended wash", shelf_life_days=days),
        lines=[
            formulas.Line(source_formula=one.formula, per_kg_mg=share)
            for one in sources
        ],
    )
    make.set_limits(crew.reviewer, version)
    return version


def thinned(crew: make.Crew, version: FormulaVersion, water_mg: int) -> Batch:
    """Return a released dilution of 500 g of paste with so much water."""
    batch = make.open_batch(crew, version, basis_mg=500 * G)
    make.charge(crew, batch, make.released_paste(crew).stock, 500 * G)
    water = make.released_lot(crew, make.water(crew.maker))
    make.charge(crew, batch, water.stock, water_mg)
    return weighed_exactly(crew, batch)


def content(batch: Batch) -> Decimal:
    found = soap_content_of(batch).percent
    assert found is not None
    return found


def expected(batch: Batch) -> float:
    worked_out = dosing.product_of(batch).worked_out
    assert worked_out is not None
    return worked_out.value


def test_a_blend_of_two_dilutions_from_opening_to_release(crew: make.Crew) -> None:
    """Contents weigh by mass: (600·a + 400·b)/1000, reckoned here by hand."""
    strong_formula = make.liquid_version(crew, name="Strong wash", shelf_life_days=90)
    mild_formula = make.liquid_version(crew, name="Mild wash")
    strong = thinned(crew, strong_formula, 400 * G)
    mild = thinned(crew, mild_formula, 1_000 * G)
    assert content(strong) > content(mild) + 5
    batch = make.open_batch(
        crew, blend_of(crew, strong_formula, mild_formula, days=300), basis_mg=make.KG
    )
    assert [line.target_mg for line in planning.plan_of(batch).lines] == [500 * G] * 2
    make.charge(crew, batch, strong.stock, 600 * G)
    make.charge(crew, batch, mild.stock, 400 * G)
    blend = weighed_exactly(crew, batch)
    assert blend.status == "released"
    by_hand = (600 * content(strong) + 400 * content(mild)) / 1000
    assert float(content(blend)) == pytest.approx(float(by_hand), abs=1e-9)
    product = dosing.product_of(blend)
    assert product.worked_out is not None
    # With its ± each counts as worked out, a little lower: potash and oils just match.
    worked = [expected(one) for one in (strong, mild)]
    both = 0.6 * worked[0] + 0.4 * worked[1]
    assert product.worked_out.value == pytest.approx(both, abs=1e-6)
    assert product.worked_out.standard_uncertainty > 0
    # The shortest life within: 90 days from the making of the strong one.
    today = local_day(timezone.now())
    assert filling.use_by(blend) == today + datetime.timedelta(days=90)
    assert first_end(blend).code == strong.number
    assert make.filled(crew, blend, count=1).use_by == first_end(blend).day
    assert set(
        Input.objects.filter(batch=blend.pk).values_list("source_id", "mass_mg")
    ) == {(strong.pk, 600 * G), (mild.pk, 400 * G)}


def test_the_panel_of_a_blend_says_it_all(crew: make.Crew) -> None:
    version = make.liquid_version(crew, name="Strong wash", shelf_life_days=90)
    strong = thinned(crew, version, 400 * G)
    batch = make.open_batch(crew, blend_of(crew, version, days=300), basis_mg=make.KG)
    make.charge(crew, batch, strong.stock, 800 * G)
    blend = weighed_exactly(crew, batch)
    liquids.measured(crew, blend, "1.031")
    browser = Client()
    browser.force_login(crew.maker)
    page = page_of(browser.get(reverse("batches:batch", args=[blend.number])))
    words = page.words[page.words.index("The liquid") :]
    assert "% (k = 2" in words
    assert "Class of contents by Regulation (EC) 648/2004" in words
    assert "1.031 g/ml at 20 °C" in words
    assert "Hardness of the water not measured" in words
    assert f"90 days from making, {strong.number}" in words


def test_a_paste_has_no_such_panel(crew: make.Crew) -> None:
    paste = make.released_paste(crew)
    browser = Client()
    browser.force_login(crew.maker)
    address = reverse("batches:batch", args=[paste.number])
    assert "The liquid" not in page_of(browser.get(address)).words


def test_a_dilution_from_two_pastes_by_portion(crew: make.Crew) -> None:
    first, second = make.released_paste(crew), make.released_paste(crew)
    tub = liquids.set_aside(crew, first, 300 * G, purpose="the strong wash")
    jar = liquids.set_aside(crew, second, 250 * G)
    batch = make.open_batch(crew, make.liquid_version(crew), basis_mg=500 * G)
    for paste, portion, mg in ((first, tub, 300 * G), (second, jar, 200 * G)):
        how = How(portion=portion, passed_over=make.SCENE)
        make.charge(crew, batch, paste.stock, mg, how=how)
    water = planning.plan_of(batch).lines[1]
    assert water.target_mg == 750 * G  # by ratio: 1.5 to the 500 g that went in
    lot = make.released_lot(crew, make.water(crew.maker))
    make.charge(crew, batch, lot.stock, 750 * G)
    liquid = weighed_exactly(crew, batch)
    soap = (300 * content(first) + 200 * content(second)) / 1250
    assert float(content(liquid)) == pytest.approx(float(soap), abs=1e-9)
    assert [one.left_mg for one in portions_of(first)] == [0]
    assert [one.left_mg for one in portions_of(second)] == [50 * G]
    with pytest.raises(Refusal, match="was taken out of"):
        portions.amend_portion(by=crew.maker, portion=tub, void=True, reason="no")


def test_a_blend_refuses_a_failed_paste_without_the_decision(crew: make.Crew) -> None:
    bad = make.failed_paste(crew)
    tub = liquids.set_aside(crew, bad, 300 * G)
    plain = make.open_batch(crew, make.blend_version(crew))
    rework = make.open_batch(crew, make.blend_version(crew), is_rework=True)
    how = How(portion=tub)
    with pytest.raises(Refusal, match="rejected"):
        make.charge(crew, plain, bad.stock, 100 * G, how=how)
    with pytest.raises(Refusal, match="rejected"):
        make.charge(crew, rework, bad.stock, 100 * G, is_rework=True, how=how)
    make.sign(crew.reviewer, bad, "rework")
    with pytest.raises(Refusal, match="opened for rework"):
        make.charge(crew, plain, bad.stock, 100 * G, how=how)
    row = make.charge(crew, rework, bad.stock, 100 * G, is_rework=True, how=how)
    assert row.portion == tub


def test_an_expiry_within_ends_the_product_and_a_retest_does_not(
    crew: make.Crew,
) -> None:
    """Requirement C23, at any depth: water of the dilution, oil of its paste."""
    soon = make.TODAY + datetime.timedelta(days=20)
    later = make.TODAY + datetime.timedelta(days=40)
    oil = make.released_lot(crew, make.sunflower(crew.maker), expires_on=later)
    potash = make.released_lot(crew, make.potash(crew.maker), retest_on=soon)
    paste = make.open_batch(crew)
    make.charge_all(crew, paste, {"potash": potash.stock})
    assert paste.inputs.filter(source=oil.pk).exists()
    paste = weighed_exactly(crew, paste)
    assert first_end(paste).day == later
    assert first_end(paste).code == oil.code
    assert first_end(paste).words == "sunflower oil expires"
    water = make.released_lot(
        crew,
        make.water(crew.maker),
        expires_on=later - datetime.timedelta(days=1),
    )
    batch = make.open_batch(crew, make.liquid_version(crew), basis_mg=500 * G)
    make.charge(crew, batch, paste.stock, 500 * G)
    make.charge(crew, batch, water.stock, 750 * G)
    assert [end.code for end in ends_of(batch)] == [
        water.code,
        oil.code,
        paste.number,
    ]
    liquid = weighed_exactly(crew, batch)
    assert filling.use_by(liquid) == later - datetime.timedelta(days=1)
    made = local_day(timezone.now())
    assert {(end.code, end.day) for end in ends_of(liquid)} == {
        (water.code, later - datetime.timedelta(days=1)),
        (oil.code, later),
        (liquid.number, made + datetime.timedelta(days=180)),
        (paste.number, made + datetime.timedelta(days=365)),
    }


def test_a_charge_taken_back_ends_nothing(crew: make.Crew) -> None:
    paste = make.released_paste(crew)
    soon = make.TODAY + datetime.timedelta(days=20)
    short = make.released_lot(crew, make.water(crew.maker), expires_on=soon)
    good = make.released_lot(crew, make.water(crew.maker))
    batch = make.open_batch(crew, make.liquid_version(crew), basis_mg=500 * G)
    make.charge(crew, batch, paste.stock, 500 * G)
    wrong = make.charge(crew, batch, short.stock, 750 * G)
    assert short.code in {end.code for end in ends_of(batch)}
    cooking.amend_charge(by=crew.maker, charge=wrong, void=True, reason="wrong can")
    make.charge(crew, batch, good.stock, 750 * G)
    assert short.code not in {end.code for end in ends_of(batch)}


def test_where_a_liquid_is_made_hot_water_is_cautioned_about(crew: make.Crew) -> None:
    batch = make.open_batch(crew, make.liquid_version(crew), basis_mg=500 * G)
    make.go_through(crew, batch)
    browser = Client()
    browser.force_login(crew.maker)
    for name, arguments in (
        ("batches:batch", [batch.number]),
        ("batches:charge", [batch.number, 1]),
        ("batches:charge_begin", [batch.number, 2]),
        ("batches:pot", [batch.number]),
        ("quality:doses", [make.released_paste(crew).number]),
    ):
        page = page_of(browser.get(reverse(name, args=arguments)))
        assert "CAUTION Hot paste and boiling water" in page.words, name


def test_the_form_of_a_formula_says_ratio_or_target(crew: make.Crew) -> None:
    browser = Client()
    browser.force_login(crew.maker)
    words = page_of(browser.get(reverse("batches:formula_new"))).words
    assert "by ratio the water you write, or by target the water computed" in words
    assert "Empty: by ratio" in words
