"""The lye of a batch, as its page and the potash page tell it."""

from __future__ import annotations

from decimal import Decimal

import pytest
from django.test import Client
from django.urls import reverse

from batches.chemistry import heat
from batches.models import Batch, Formula, FormulaVersion
from batches.services import formulas, planning
from batches.services.lye import Lye, NoLye, lye_of
from producer.models import RawLot
from tests import lab, make
from tests.doors.pages import page_of

pytestmark = [pytest.mark.django_db, pytest.mark.any_engine]


def version_with(crew: make.Crew, water_mg: int, **wording: object) -> FormulaVersion:
    return formulas.write_formula(
        by=crew.maker,
        name=f"Paste with {water_mg} of water",
        kind="cook",
        purpose="paste",
        wording=formulas.Wording(
            product_name="Paste",
            shelf_life_days=365,
            **wording,  # type: ignore[arg-type]
        ),
        lines=make.paste_lines(crew.maker, water_mg=water_mg),
    )


def planned(crew: make.Crew, water_mg: int = 1_300_000, **wording: object) -> Batch:
    """Return a batch of a kilogram of oils with every lot chosen, nothing weighed."""
    batch = make.open_batch(crew, version_with(crew, water_mg, **wording))
    lines = batch.formula_version.lines.select_related("material")
    planning.choose_lots(
        by=crew.maker,
        batch=batch,
        choices={line.pk: make.stock_of(crew, line) for line in lines},
    )
    return batch


def of(batch: Batch) -> Lye:
    found = lye_of(batch, planning.plan_of(batch))
    assert isinstance(found, Lye)
    return found


def test_strength_and_heat_follow_from_the_plan(crew: make.Crew) -> None:
    batch = planned(crew)
    found = of(batch)
    need = planning.plan_of(batch).alkali_need_g
    assert need is not None
    # The potash of the builder is 90 % hydroxide, to a tenth of a gram.
    assert found.potash_mg == round(need / Decimal("0.9"), 1) * 1000
    share = found.potash_mg * 0.9 / (found.potash_mg + 1_300_000)
    assert float(found.strength_percent) == pytest.approx(share * 100)
    expected = heat.heating(
        potash_g=found.potash_mg / 1000, usable_fraction=0.9, water_g=1300
    )
    assert found.high_c is not None
    assert found.low_c is not None
    assert float(found.high_c) == pytest.approx(expected.high.temperature_c)
    assert float(found.low_c) == pytest.approx(expected.low.temperature_c)
    assert (found.dissolves, found.high_boils, found.is_hot) == (True, False, False)
    assert found.density is not None
    assert found.volume_ul == pytest.approx(
        (found.potash_mg + 1_300_000) / float(found.density), abs=600
    )


def test_the_usual_kitchen_lye_boils_and_says_what_would_help(crew: make.Crew) -> None:
    found = of(planned(crew, 420_000))
    assert found.high_boils
    assert found.high_c is None
    assert found.is_hot
    assert found.is_over_target
    assert found.more_water_mg is not None
    assert found.more_water_mg > 420_000
    assert found.more_water_mg % 1000 == 0
    # That much water, and it stays under the 70 °C of the formula.
    after = heat.heating(
        potash_g=found.potash_mg / 1000,
        usable_fraction=0.9,
        water_g=found.more_water_mg / 1000,
    )
    assert after.high.temperature_c == pytest.approx(70, abs=0.1)
    assert found.water_c is None


def test_a_little_too_hot_colder_water_helps(crew: make.Crew) -> None:
    found = of(planned(crew, 950_000))
    assert not found.high_boils
    assert found.is_over_target
    assert found.water_c is not None
    assert 0 < found.water_c < 20


def test_cool_enough_there_is_no_advice(crew: make.Crew) -> None:
    found = of(planned(crew))
    assert not found.is_over_target
    assert (found.more_water_mg, found.water_c) == (None, None)


def test_a_formula_that_allows_no_warmth_gets_no_advice(crew: make.Crew) -> None:
    found = of(planned(crew, temperature_limit=Decimal(20)))
    assert found.is_over_target
    assert (found.more_water_mg, found.water_c) == (None, None)


def test_a_formula_that_allows_boiling_still_warns(crew: make.Crew) -> None:
    found = of(planned(crew, 420_000, temperature_limit=Decimal(105)))
    assert found.is_over_target
    assert found.target_c == 95


def test_lye_stronger_than_the_data_gets_no_number_and_counts_as_hot(
    crew: make.Crew,
) -> None:
    found = of(planned(crew, 200_000))
    assert "strength of lye" in found.not_known
    assert (found.low_c, found.high_c, found.high_boils) == (None, None, False)
    assert found.is_hot
    assert found.volume_ul is not None  # density reaches further than heat


def test_lye_that_strong_does_not_all_dissolve(crew: make.Crew) -> None:
    assert of(planned(crew, 250_000)).dissolves
    assert not of(planned(crew, 150_000)).dissolves


def test_what_is_weighed_counts_and_not_the_plan(crew: make.Crew) -> None:
    batch = planned(crew)
    lines = batch.formula_version.lines.select_related("material")
    for line in lines:
        assert line.material is not None
        stock = make.stock_of(crew, line)
        net = {"oil": 500_000, "water": 2_000_000, "potash": 300_000}
        make.charge(crew, batch, stock, net[line.material.kind], line=line)
    found = of(make.fresh(batch))
    assert (found.potash_mg, found.water_mg) == (300_000, 2_000_000)
    assert float(found.strength_percent) == pytest.approx(270 / 2300 * 100)


def test_half_weighed_potash_is_counted_with_the_half_to_come(
    crew: make.Crew,
) -> None:
    batch = planned(crew)
    whole = of(batch)
    line = make.line_of(batch, "potash flakes")
    masses = {
        "sunflower oil": 800_000,
        "coconut oil": 200_000,
        "distilled water": 420_000,
    }
    for oil, mass in masses.items():
        oil_line = make.line_of(batch, oil)
        make.charge(crew, batch, make.stock_of(crew, oil_line), mass, line=oil_line)
    make.charge(crew, batch, make.stock_of(crew, line), 100_000, line=line)
    assert of(make.fresh(batch)) == whole


def test_before_the_lots_are_chosen_nothing_is_known(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    found = lye_of(batch, planning.plan_of(batch))
    assert isinstance(found, NoLye)
    assert "every oil and the potash" in found.why


def test_a_plan_too_small_to_weigh_has_no_lye(crew: make.Crew) -> None:
    batch = make.open_batch(crew, basis_mg=100)
    lines = batch.formula_version.lines.select_related("material")
    planning.choose_lots(
        by=crew.maker,
        batch=batch,
        choices={line.pk: make.stock_of(crew, line) for line in lines},
    )
    found = lye_of(batch, planning.plan_of(batch))
    assert isinstance(found, NoLye)
    assert "too little" in found.why


def test_after_a_certificate_of_mere_carbonate_nothing_is_known(
    crew: make.Crew,
) -> None:
    batch = planned(crew)
    lot = RawLot.objects.get(material=make.potash(crew.maker))
    lab.impossible_certificate(
        crew,
        lot,
        assay_percent=Decimal(50),
        assay_basis="total_alkali",
        carbonate_percent=Decimal(70),
    )
    found = lye_of(batch, planning.plan_of(batch))
    assert isinstance(found, NoLye)


def test_what_takes_no_potash_has_no_lye(crew: make.Crew) -> None:
    batch = make.diluted_batch(crew)
    assert batch.kind == Formula.Kind.DILUTION
    assert lye_of(batch, planning.plan_of(batch)) is None


# ------------------------------------------------------------------ on the pages


def words_at(client: Client, name: str, *arguments: object) -> str:
    return page_of(client.get(reverse(name, args=arguments))).words


@pytest.fixture
def browser(crew: make.Crew) -> Client:
    client = Client()
    client.force_login(crew.maker)
    return client


def test_the_batch_page_warns_in_plain_words(browser: Client, crew: make.Crew) -> None:
    batch = planned(crew, 420_000)
    words = words_at(browser, "batches:batch", batch.number)
    assert "DANGER The lye will boil" in words
    assert "Potash into cold water" in words
    assert "it boils" in words
    assert "not even ice-cold water is enough" in words


def test_the_potash_page_warns_and_the_oil_page_does_not(
    browser: Client, crew: make.Crew
) -> None:
    batch = planned(crew, 420_000)
    potash = make.line_of(batch, "potash flakes").position
    oil = make.line_of(batch, "sunflower oil").position
    assert "The lye will boil" in words_at(
        browser, "batches:charge", batch.number, potash
    )
    assert "The lye" not in words_at(browser, "batches:charge", batch.number, oil)


def test_cool_lye_is_shown_with_both_figures(browser: Client, crew: make.Crew) -> None:
    batch = planned(crew)
    found = of(batch)
    words = words_at(browser, "batches:batch", batch.number)
    assert "The lye will boil" not in words
    assert f"{found.low_c:.0f} to {found.high_c:.0f} °C" in words
    assert "yes, and stays clear at 20 °C" in words


def test_close_to_boiling_is_a_danger_too(browser: Client, crew: make.Crew) -> None:
    batch = planned(crew, 730_000)
    assert "The lye gets close to boiling" in words_at(
        browser, "batches:batch", batch.number
    )


def test_beyond_the_data_it_is_taken_to_boil(browser: Client, crew: make.Crew) -> None:
    batch = planned(crew, 150_000)
    words = words_at(browser, "batches:batch", batch.number)
    assert "take it that it boils" in words
    assert "not all of it" in words
    assert "not computed" in words


def test_once_the_paste_is_weighed_the_lye_is_history(
    browser: Client, crew: make.Crew
) -> None:
    batch = make.cooked_batch(crew)
    assert "Strength" not in words_at(browser, "batches:batch", batch.number)
