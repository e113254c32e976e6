"""A dilution that aims at a soap content takes its water from the very paste."""

from __future__ import annotations

import json
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.test import Client
from django.urls import reverse

from batches.models import Batch, FormulaVersion
from batches.services import diluting, formulas, planning
from batches.services.outcome import SoapContent, soap_content_of
from batches.services.planning import PlanLine
from producer.errors import Refusal
from producer.models import JournalEntry
from tests import make
from tests.doors.pages import page_of

pytestmark = pytest.mark.django_db


def aiming(
    crew: make.Crew, target: str = "18", *, additions_mg: int = 0
) -> FormulaVersion:
    """Return a dilution to so many percent of soap."""
    if not additions_mg:
        return make.liquid_version(crew, soap_content_target=Decimal(target))
    lines = [
        formulas.Line(
            source_formula=make.paste_version(crew).formula, per_kg_mg=make.KG
        ),
        formulas.Line(material=make.water(crew.maker), per_kg_mg=make.KG),
        formulas.Line(material=make.coconut(crew.maker), per_kg_mg=additions_mg),
    ]
    return formulas.write_formula(
        by=crew.maker,
        name="With something in it",
        kind="dilution",
        purpose="wash",
        wording=formulas.Wording(
            product_name="L", shelf_life_days=9, soap_content_target=Decimal(target)
        ),
        lines=lines,
    )


def chosen(crew: make.Crew, version: FormulaVersion, paste: Batch | None) -> Batch:
    """Return a dilution of a kilogram, with its paste chosen if there is one."""
    batch = make.open_batch(crew, version)
    if paste is not None:
        line = make.line_of(batch, "Kitchen paste")
        planning.choose_lots(by=crew.maker, batch=batch, choices={line.pk: paste.stock})
    return batch


def water_of(batch: Batch) -> PlanLine:
    return next(
        line for line in planning.plan_of(batch).lines if line.name == "distilled water"
    )


def test_the_water_brings_the_very_paste_to_the_content(crew: make.Crew) -> None:
    paste = make.released_paste(crew)
    batch = chosen(crew, aiming(crew), paste)
    content = soap_content_of(paste).percent
    assert content is not None
    water = water_of(batch)
    assert water.target_mg is not None
    total = make.KG + water.target_mg
    assert float(content * make.KG / total) == pytest.approx(18, abs=1e-4)
    assert paste.number in water.origin
    assert "For 18 % of soap" in water.origin


def test_once_the_paste_is_weighed_its_mass_counts(crew: make.Crew) -> None:
    paste = make.released_paste(crew)
    batch = chosen(crew, aiming(crew), paste)
    planned = water_of(batch).target_mg
    make.charge(crew, batch, paste.stock, make.KG // 2)
    weighed = water_of(batch).target_mg
    assert planned is not None
    assert weighed is not None
    assert abs(2 * weighed - planned) <= 1


def test_the_finished_liquid_holds_what_it_was_aimed_at(crew: make.Crew) -> None:
    liquid = make.diluted_batch(crew, aiming(crew), share="1")
    content = soap_content_of(liquid).percent
    assert content is not None
    assert float(content) == pytest.approx(18, abs=0.01)


def test_what_else_goes_in_thins_too(crew: make.Crew) -> None:
    paste = make.released_paste(crew)
    plain = water_of(chosen(crew, aiming(crew), paste)).target_mg
    other = water_of(chosen(crew, aiming(crew, additions_mg=20_000), paste)).target_mg
    assert plain is not None
    assert other is not None
    assert plain - other == 20_000


def test_without_a_paste_there_is_no_mass(crew: make.Crew) -> None:
    water = water_of(chosen(crew, aiming(crew), None))
    assert (water.target_mg, water.to_weigh_mg) == (None, None)
    assert water.origin == "Computed when the paste is chosen."


def test_an_unknown_content_gives_no_mass_rather_than_a_wrong_one(
    crew: make.Crew, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(
        diluting,
        "soap_content_of",
        lambda _: SoapContent(percent=None, sentence="Nobody weighed it."),
    )
    water = water_of(chosen(crew, aiming(crew), make.released_paste(crew)))
    assert water.target_mg is None
    assert "is not known. Nobody weighed it." in water.origin


def test_a_target_above_the_paste_is_said_to_be_one(crew: make.Crew) -> None:
    paste = make.released_paste(crew)
    aim = diluting.water_for(
        target_percent=Decimal(80), pastes=[(paste.stock, make.KG)], others_mg=0
    )
    assert aim.water_mg is None
    assert f"{paste.number} holds" in aim.words
    assert "Take a richer paste" in aim.words


def test_additions_that_thin_too_much_are_said_to(crew: make.Crew) -> None:
    paste = make.released_paste(crew)
    batch = chosen(crew, aiming(crew, "50", additions_mg=500_000), paste)
    assert water_of(batch).target_mg is None
    assert "thins the soap more than 50 %" in water_of(batch).origin


def test_a_version_without_a_target_takes_its_fixed_water(crew: make.Crew) -> None:
    batch = chosen(crew, make.liquid_version(crew), make.released_paste(crew))
    water = water_of(batch)
    assert (water.target_mg, water.origin) == (1_500_000, "")


@pytest.mark.parametrize("target", ["0", "60", "-5"])
def test_a_content_no_liquid_has_is_refused(crew: make.Crew, target: str) -> None:
    with pytest.raises(ValidationError, match="between 0 and 60"):
        aiming(crew, target)


def test_only_a_dilution_aims_at_a_content(crew: make.Crew) -> None:
    with pytest.raises(Refusal, match="Only a dilution") as refused:
        formulas.write_formula(
            by=crew.maker,
            name="Odd paste",
            kind="cook",
            purpose="paste",
            wording=formulas.Wording(
                product_name="P", shelf_life_days=9, soap_content_target=Decimal(18)
            ),
            lines=make.paste_lines(crew.maker),
        )
    assert refused.value.field == "soap_content_target"


def test_there_is_one_water_to_compute(crew: make.Crew) -> None:
    water = formulas.Line(material=make.water(crew.maker), per_kg_mg=make.KG)
    paste = formulas.Line(
        source_formula=make.paste_version(crew).formula, per_kg_mg=make.KG
    )
    with pytest.raises(Refusal, match="one line for water"):
        formulas.write_formula(
            by=crew.maker,
            name="Two waters",
            kind="dilution",
            purpose="wash",
            wording=formulas.Wording(
                product_name="L", shelf_life_days=9, soap_content_target=Decimal(18)
            ),
            lines=[paste, water, water],
        )


def test_the_pages_say_what_the_water_is_computed_from(crew: make.Crew) -> None:
    browser = Client()
    browser.force_login(crew.maker)
    batch = chosen(crew, aiming(crew), None)
    address = reverse("batches:batch", args=[batch.number])
    words = page_of(browser.get(address)).words
    assert "Computed when the paste is chosen." in words
    assert "not computed yet" in words
    formula = reverse("batches:formula", args=[batch.formula_version.formula_id])
    words = page_of(browser.get(formula)).words
    assert "18 % of soap; the water is computed" in words
    assert "computed from the paste" in words


def test_the_form_of_a_version_takes_and_keeps_the_content(crew: make.Crew) -> None:
    browser = Client()
    browser.force_login(crew.maker)
    version = aiming(crew)
    address = reverse("batches:formula_version", args=[version.formula_id])
    page = page_of(browser.get(address))
    form = {
        one["name"]: one.get("value", "")
        for one in page.attributes("input")
        if "name" in one
    }
    assert Decimal(form["soap_content_target"]) == 18
    paste, water = version.lines.all()
    form |= {
        "soap_content_target": "17,5",
        "reason": "thinner",
        "ingredient_1": f"f{paste.source_formula_id}",
        "per_kg_1": "1 kg",
        "ingredient_2": f"m{water.material_id}",
        "per_kg_2": "1 kg",
    }
    assert browser.post(address, form).status_code == 302
    newest = formulas.newest_version(version.formula)
    assert newest.soap_content_target == Decimal("17.5")
    after = json.loads(JournalEntry.objects.latest("pk").after)
    assert after["soap_content_target"] == "17.5"
