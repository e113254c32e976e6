"""Excess alkali of a batch with its budget: what goes in and what is shared."""

from __future__ import annotations

import math
from decimal import Decimal

import pytest
from django.utils import timezone

from batches.models import Batch, Charge
from batches.services import cooking, formulas, planning
from batches.services.results import excess_alkali_of
from producer.models import Instrument, Material, Premises, RawLot
from producer.services import intake, registers
from quality.services.alkali import alkali_of, words
from quality.services.alkali.formula import balance_of
from quality.services.alkali.inputs import Knowledge, Known, Portion, Pot, Role, Scale
from quality.services.alkali.weighed import Weighed
from quality.statistics.budgets import Distribution, Line
from tests import make, uploads
from tests.database import without_triggers
from tests.quality.pots import balance, chosen, names, share_of

pytestmark = [pytest.mark.django_db, pytest.mark.any_engine]


# ------------------------------------------------------- before the cook


def test_without_lots_there_is_no_balance_and_it_says_what_to_choose(
    crew: make.Crew,
) -> None:
    batch = make.open_batch(crew)
    found = alkali_of(batch)
    assert found.weighed is None
    assert found.why_not == "Choose a lot first for: sunflower oil, coconut oil."
    assert found.level == ""
    assert words.verdict(found) == found.why_not
    without_potash = chosen(crew, batch, potash=None)
    assert "Choose the lot of potash flakes first" in alkali_of(without_potash).why_not


def test_the_plan_has_no_excess_and_an_uncertainty_from_its_lots(
    crew: make.Crew,
) -> None:
    batch = chosen(crew, make.open_batch(crew))
    found = balance(batch)
    assert found.planned
    assert not found.cooked
    assert found.budget.value == pytest.approx(0, abs=0.06)  # a tenth of a gram
    potash = planning.plan_of(batch).lines[-1].target_mg
    assert potash is not None
    # By hand: ranges 188–194 and 248–265 on 800 and 200 g, an assay to ± 0.5 %, and
    # two readings of a 1 g scale for each of the three masses.
    expected = math.sqrt(
        (0.8 * 6 / math.sqrt(12)) ** 2
        + (0.2 * 17 / math.sqrt(12)) ** 2
        + (potash / 1000 * 0.005 / math.sqrt(3)) ** 2
        + (0.9**2 + 0.191**2 + 0.2565**2) / 6
    )
    assert found.budget.standard_uncertainty == pytest.approx(expected, rel=1e-4)
    assert found.paste_mg == pytest.approx(1_420_000 + potash, abs=60)


def test_the_range_that_matters_most_is_named_with_what_to_do(crew: make.Crew) -> None:
    batch = chosen(crew, make.open_batch(crew))
    found = alkali_of(batch)
    assert found.weighed is not None
    lot = RawLot.objects.get(material__name="sunflower oil")
    assert found.weighed.advice == (
        f"the saponification value of sunflower oil {lot.code}, known only as a"
        " published range: ask for a certificate of the lot, or titrate it"
    )


def test_a_certificate_of_the_lot_lowers_both_risks(crew: make.Crew) -> None:
    vague = alkali_of(chosen(crew, make.open_batch(crew)))
    values = {"saponification_value": Decimal(191)}
    known = make.released_lot(
        crew, make.sunflower(crew.maker), certificate=values, supplier_lot="SL-2"
    )
    sharp = alkali_of(chosen(crew, make.open_batch(crew), sunflower=known))
    assert vague.weighed
    assert sharp.weighed
    assert sharp.weighed.risks.over < vague.weighed.risks.over
    assert sharp.weighed.risks.under < vague.weighed.risks.under
    assert share_of(sharp.weighed, "saponification value of coconut") > 0.5


@pytest.mark.parametrize(
    ("warn", "stop", "level", "opening"),
    [
        ("50", "50", "good", "The risk is low."),
        ("0.5", "50", "warn", "Think twice before cooking."),
        ("0.1", "0.5", "stop", "Do not cook."),
    ],
)
def test_the_premises_say_which_risk_warns_and_which_stops(
    crew: make.Crew, warn: str, stop: str, level: str, opening: str
) -> None:
    Premises.objects.update(
        risk_to_warn_percent=Decimal(warn), risk_to_stop_percent=Decimal(stop)
    )
    found = alkali_of(chosen(crew, make.open_batch(crew)))
    assert found.level == level
    sentence = words.verdict(found)
    assert sentence.startswith(opening)
    assert ("What would help most" in sentence) == (level != "good")
    assert "more than 0,25 % of" in words.verdict(found, mark=",")


def test_the_limits_of_the_premises_decide_what_is_too_much(crew: make.Crew) -> None:
    batch = chosen(crew, make.open_batch(crew))
    before = balance(batch).risks
    Premises.objects.update(free_alkali_limit_percent=Decimal("0.05"))
    after = balance(batch).risks
    assert after.over > before.over
    assert after.under == before.under


def rapeseed_batch(crew: make.Crew, certificate: dict[str, Decimal] | None) -> Batch:
    """Return a kilogram of one oil, to a paste of 1.63 kg, of potash good to u = 0.5 %.

    Requirements, section 0 point 5; its other inputs are not stated and chosen here: a
    scale with steps of 1 g that may be wrong by ± 0.7 g. Not an outside value.
    """
    oil = registers.save(
        by=crew.maker,
        entry=Material(
            name="rapeseed oil",
            kind="oil",
            saponification_low=Decimal(182),
            saponification_high=Decimal(193),
        ),
    )
    make.scale(crew.maker)
    Instrument.objects.update(bias_half_width=Decimal("0.7"))
    make.released_lot(
        crew,
        make.potash(crew.maker),
        certificate={"assay_half_width": Decimal("0.866")},  # 0.5·√3
    )
    lot = make.released_lot(crew, oil, certificate=certificate)
    version = formulas.write_formula(
        by=crew.maker,
        name="Rapeseed paste",
        kind="cook",
        purpose="paste",
        wording=formulas.Wording(product_name="Paste", shelf_life_days=365),
        lines=[
            formulas.Line(material=oil, per_kg_mg=make.KG),
            formulas.Line(material=make.water(crew.maker), per_kg_mg=421_700),
            formulas.Line(material=make.potash(crew.maker)),
        ],
    )
    return chosen(crew, make.open_batch(crew, version), rapeseed=lot)


@pytest.mark.parametrize(
    ("certificate", "u_g", "over", "under"),
    [
        (None, 3.4, 0.11, 0.18),
        (
            {
                "saponification_value": Decimal("187.5"),
                "saponification_half_width": Decimal("1.73"),  # u = 1
            },
            1.5,
            0.004,
            0.024,
        ),
    ],
)
def test_a_published_range_alone_cannot_carry_a_paste_and_a_certificate_can(
    crew: make.Crew,
    certificate: dict[str, Decimal] | None,
    u_g: float,
    over: float,
    under: float,
) -> None:
    found = alkali_of(rapeseed_batch(crew, certificate))
    assert found.weighed is not None
    assert round(found.weighed.budget.standard_uncertainty, 1) == u_g
    assert found.weighed.paste_mg == pytest.approx(1_630_000, abs=100)
    assert found.weighed.risks.over == pytest.approx(over, rel=0.06)
    assert found.weighed.risks.under == pytest.approx(under, rel=0.06)
    assert found.level == ("warn" if certificate is None else "good")


# ------------------------------------------------------- what is shared


def two_weighings(crew: make.Crew, *lots: RawLot) -> Weighed:
    """Weigh sunflower oil from these lots, half and half; the rest as planned."""
    batch = chosen(crew, make.open_batch(crew))
    for lot in lots:
        make.charge(crew, batch, lot.stock, 800_000 // len(lots))
    return balance(make.fresh(batch))


def test_one_lot_weighed_twice_is_one_figure_and_errs_the_same_way(
    crew: make.Crew,
) -> None:
    lot = make.released_lot(crew, make.sunflower(crew.maker))
    twice = two_weighings(crew, lot, lot)
    lines = [one for one in twice.budget.lines if "saponification" in one.quantity.name]
    sunflower = next(one for one in lines if lot.code in one.quantity.name)
    # 0.4 and 0.4 kg of one value add up linearly; apart they would give 0.57 of it.
    assert sunflower.contribution == pytest.approx(-0.8 * 6 / math.sqrt(12))
    assert len(lines) == 2
    assert [name for name in names(twice) if name.endswith("weighing 2")]


def test_two_lots_with_certificates_are_two_figures(crew: make.Crew) -> None:
    values = {
        "saponification_value": Decimal(191),
        "saponification_half_width": Decimal(3),
    }
    one, other = (
        make.released_lot(
            crew, make.sunflower(crew.maker), certificate=values, supplier_lot=name
        )
        for name in ("SL-8", "SL-9")
    )
    parts = [
        line.contribution
        for line in two_weighings(crew, one, other).budget.lines
        if line.quantity.name.startswith("saponification value of sunflower")
    ]
    assert parts == pytest.approx([-0.4 * 3 / math.sqrt(3)] * 2)


def test_two_lots_known_by_one_published_range_share_it(crew: make.Crew) -> None:
    one, other = (
        make.released_lot(crew, make.sunflower(crew.maker), supplier_lot=name)
        for name in ("SL-8", "SL-9")
    )
    lines = [
        line
        for line in two_weighings(crew, one, other).budget.lines
        if line.quantity.name.startswith("saponification value of sunflower")
    ]
    assert [line.quantity.name for line in lines] == [
        f"saponification value of sunflower oil {one.code}, {other.code}"
    ]
    assert lines[0].contribution == pytest.approx(-0.8 * 6 / math.sqrt(12))


def biases(found: Weighed) -> list[Line]:
    return [one for one in found.budget.lines if "± of the scale" in one.quantity.name]


def test_the_bias_of_a_scale_counts_for_each_mass_where_it_would_cancel(
    crew: make.Crew,
) -> None:
    scale = make.scale(crew.maker)
    Instrument.objects.filter(pk=scale.pk).update(bias_half_width=Decimal(2))
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    found = biases(balance(make.fresh(batch)))
    # With one sign, potash for it and both oils against it: 0.9 − 0.191 − 0.2565.
    # Each on its own: √(0.9² + 0.191² + 0.2565²), which is more.
    slopes = sorted(line.sensitivity for line in found)
    assert slopes == pytest.approx([-0.2565, -0.191, 0.9])
    together = math.hypot(*(line.contribution for line in found))
    assert together == pytest.approx(math.hypot(*slopes) * 2 / math.sqrt(3))
    assert together > 0.4525 * 2 / math.sqrt(3)


def of_scale(role: Role, code: str, value: float, *, off_g: float = 1) -> Portion:
    """Return a portion whose figure is exact, weighed on a scale that may be off."""
    return Portion(
        role=role,
        name=role.value,
        code=code,
        mass_mg=200_000,
        scale=Scale(name=f"± {off_g} g", step_g=0, half_width_g=off_g),
        known=Known(
            value=value,
            standard_uncertainty=0,
            distribution=Distribution.NORMAL,
            origin="exact",
            knowledge=Knowledge.STOICHIOMETRY,
            key=code,
        ),
        planned=False,
    )


def pot(*portions: Portion) -> Pot:
    return Pot(portions=list(portions), other_mg=0, paste_mg=1, cooked=True)


OILS = [of_scale(Role.OIL, code, 191.0) for code in "ABC"]


def test_one_scale_for_potash_and_three_oils_moves_the_balance_by_half_a_gram() -> None:
    """As an auditor reckoned: with one sign 0.19 g, each mass for itself 0.55 g."""
    _, found = balance_of(pot(of_scale(Role.POTASH, "K", 0.9), *OILS))
    assert found.standard_uncertainty == pytest.approx(
        math.sqrt((0.9**2 + 3 * 0.191**2) / 3)
    )
    assert round(found.standard_uncertainty, 2) == 0.55


def test_the_bias_of_a_scale_is_one_input_where_its_sign_adds_up() -> None:
    exact = of_scale(Role.POTASH, "K", 0.9, off_g=0)
    formula, found = balance_of(pot(exact, *OILS))
    assert found.standard_uncertainty == pytest.approx(3 * 0.191 / math.sqrt(3))
    assert sum("± of the scale" in one.name for one in formula.quantities) == 1


def test_a_scale_without_a_bias_adds_only_its_steps(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    found = balance(make.fresh(batch))
    assert not any("±" in name for name in names(found))
    masses = [one for one in found.budget.lines if one.quantity.name.startswith("mass")]
    assert len(masses) == 3
    for line in masses:
        assert line.quantity.standard_uncertainty == pytest.approx(1 / math.sqrt(6))


def test_the_scale_used_last_is_taken_for_what_is_still_to_be_weighed(
    crew: make.Crew,
) -> None:
    fine = registers.save(
        by=crew.maker,
        entry=Instrument(kind="scale", name="fine scale", resolution=Decimal("0.1")),
    )
    batch = chosen(crew, make.open_batch(crew))
    make.scale(crew.maker)
    coarse = {one.quantity.origin for one in balance(batch).budget.lines}
    assert any("steps of 1 g" in origin for origin in coarse)
    line = make.line_of(batch, "distilled water")
    make.go_through(crew, batch)
    cooking.charge(
        by=crew.maker,
        batch=batch,
        line=line,
        source=make.stock_of(crew, line),
        scale=fine,
        gross_mg=420_000,
        tare_mg=0,
        unusual=make.SCENE,  # the fine scale was not checked
    )
    after = {one.quantity.origin for one in balance(make.fresh(batch)).budget.lines}
    assert not any("steps of 1 g" in origin for origin in after)


# ------------------------------------------------------- weighed and cooked


def test_what_was_weighed_counts_and_not_what_was_planned(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    row = batch.charges.get(line__material__kind="potash")
    make.charge(crew, batch, row.source, 10_000, line=row.line)
    batch = make.fresh(batch)
    found = balance(batch)
    exact = excess_alkali_of(batch)
    assert exact is not None
    assert found.budget.value == pytest.approx(float(exact), abs=1e-9)
    assert exact == pytest.approx(Decimal(9), abs=Decimal("0.1"))
    assert not found.planned
    assert found.charge is None
    assert found.risks.over > 0.9
    assert words.excess_in_words(found.budget).endswith("g left over")


def test_part_of_the_potash_counts_with_the_rest_as_planned(crew: make.Crew) -> None:
    batch = chosen(crew, make.open_batch(crew))
    for line in planning.plan_of(batch).lines[:-1]:
        assert line.source is not None
        assert line.target_mg is not None
        make.charge(crew, batch, line.source, line.target_mg, line=line.line)
    potash = planning.plan_of(batch).lines[-1]
    assert potash.source is not None
    make.charge(crew, batch, potash.source, 100_000, line=potash.line)
    batch = make.fresh(batch)
    found = balance(batch)
    assert found.planned
    assert found.budget.value == pytest.approx(0, abs=0.06)
    assert found.charge is None  # some of it is in, so nothing can be left out
    assert share_of(found, "usable share") > 0
    assert len([one for one in names(found) if one.startswith("usable")]) == 1
    # a last gram: as weighed it is lacking, if it is weighed exactly it is not
    rest = potash.to_weigh_mg or 0
    make.charge(crew, batch, potash.source, rest - 101_000, line=potash.line)
    batch = make.fresh(batch)
    assert balance(batch).budget.value == pytest.approx(-0.9, abs=0.06)
    assert balance(batch, to_the_full=True).budget.value == pytest.approx(0, abs=0.06)


def test_after_the_cook_the_paste_is_what_came_out(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    before = balance(make.fresh(batch))
    net = make.weigh_bulk(crew, batch, share="0.9")
    after = balance(make.fresh(batch))
    assert after.cooked
    assert after.paste_mg == net
    assert after.budget.standard_uncertainty == before.budget.standard_uncertainty
    assert after.risks.over > before.risks.over  # the same grams in less paste


def test_a_later_certificate_changes_no_balance(crew: make.Crew) -> None:
    batch = make.cooked_batch(crew)
    before = balance(batch).budget
    lot = RawLot.objects.get(material__name="sunflower oil")
    intake.record_certificate(
        by=crew.maker,
        lot=lot,
        values=make.certificate_values(lot.material),
        upload=uploads.pdf(),
    )
    assert balance(make.fresh(batch)).budget == before


def test_a_charge_from_before_uncertainties_takes_that_of_its_lot(
    crew: make.Crew,
) -> None:
    batch = make.cooked_batch(crew)
    before = balance(batch)
    with without_triggers():  # as rows from before the field are
        Charge.objects.update(figure_uncertainty=None, figure_distribution="")
    after = balance(make.fresh(batch))
    assert after.budget.standard_uncertainty == pytest.approx(
        before.budget.standard_uncertainty, rel=1e-5
    )
    assert all(
        "known of the lot today" in one.quantity.origin
        for one in after.budget.lines
        if not one.quantity.name.startswith("mass")
    )


def test_acid_takes_up_what_its_figure_says(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    before, exact = balance(make.fresh(batch)).budget.value, excess_alkali_of(batch)
    material = registers.save(
        by=crew.maker,
        entry=Material(name="citric acid", kind="addition", acid="citric_anhydrous"),
    )
    lot = make.released_lot(crew, material)
    water = make.line_of(batch, "distilled water")
    row = Charge(
        batch=batch,
        line=water,
        source=lot.stock,
        scale=make.scale(crew.maker),
        gross_mg=2000,
        tare_mg=0,
        net_mg=2000,
        figure=Decimal("0.876"),
        figure_uncertainty=Decimal("0.002"),
        figure_distribution="rectangular",
        figure_origin="stoichiometry",
        entered_by=crew.maker,
        observed_at=timezone.now(),
    )
    row.save()
    after = balance(make.fresh(batch))
    assert before - after.budget.value == pytest.approx(2 * 0.876)
    assert exact is not None
    assert excess_alkali_of(batch) == exact - 2 * Decimal("0.876")
    assert "KOH taken up of citric acid" in "; ".join(names(after))


def test_a_rework_has_no_balance_and_says_why(crew: make.Crew) -> None:
    failed = make.failed_paste(crew, "rework")
    batch = make.open_batch(crew, is_rework=True)
    make.charge(crew, batch, failed.stock, 100_000, is_rework=True)
    found = alkali_of(make.fresh(batch))
    assert found.weighed is None
    assert "how much alkali or oil it brings along is not known" in found.why_not


def test_a_dilution_has_no_balance(crew: make.Crew) -> None:
    found = alkali_of(make.released_liquid(crew))
    assert found.weighed is None
    assert found.why_not.startswith("Only a cook")
