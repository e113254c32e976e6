"""Thinning and doses on the page, with ± and the question of the label."""

from __future__ import annotations

import dataclasses
from decimal import Decimal

import pytest
from django.test import Client
from django.urls import reverse

from batches.chemistry.errors import ChemistryError
from batches.models import Batch
from batches.services import planning
from batches.services.outcome import outcome_of
from producer.models import Instrument, Premises
from quality.services import dosing
from quality.statistics.budgets import Quantity
from tests import make
from tests.database import row_counts
from tests.doors.pages import Page, field_value, page_of

pytestmark = [pytest.mark.django_db, pytest.mark.any_engine]


@pytest.fixture
def browser(crew: make.Crew) -> Client:
    client = Client()
    client.force_login(crew.maker)
    return client


def product(percent: str = "40", u: str = "0.5", lowest: str = "40") -> dosing.Product:
    return dosing.Product(
        percent=Decimal(percent),
        lowest=Decimal(lowest),
        content=Quantity(
            name="soap", value=float(percent), standard_uncertainty=float(u)
        ),
        worked_out=None,
        molar_mass=Decimal("320.56"),
        notes=[],
    )


def asked(browser: Client, batch: Batch, **query: str) -> Page:
    response = browser.get(reverse("quality:doses", args=[batch.number]), query)
    assert response.status_code == 200
    return page_of(response)


# ------------------------------------------------------------------ services


def test_a_ratio_thins_content_and_uncertainty_alike() -> None:
    made = dosing.dilution(
        product(), paste_mg=make.KG, parts=Decimal("1.5"), target=None
    )
    assert made.water_mg == 1_500_000
    assert made.content.budget.value == pytest.approx(16)
    assert made.content.budget.standard_uncertainty == pytest.approx(0.2)
    assert made.content.band == "15 % or over but less than 30 %"
    assert made.content.question == ""


def test_a_target_near_an_edge_asks() -> None:
    made = dosing.dilution(
        product(), paste_mg=make.KG, parts=None, target=Decimal("15.2")
    )
    assert made.content.budget.value == pytest.approx(15.2)
    assert made.content.band == "15 % or over but less than 30 %"
    assert "“5 % or over but less than 15 %” or" in made.content.question


def test_what_may_have_been_lost_as_product_asks_too() -> None:
    sure, doubtful = (
        dosing.dilution(
            product(u="0.01", lowest=lowest),
            paste_mg=make.KG,
            parts=None,
            target=Decimal("15.2"),
        ).content.question
        for lowest in ("40", "39")
    )
    assert (sure, bool(doubtful)) == ("", True)


def test_a_content_above_that_of_the_paste_is_boiled_up_to() -> None:
    made = dosing.dilution(
        product(lowest="38"), paste_mg=make.KG, parts=None, target=Decimal(50)
    )
    assert made.water_mg == -200_000
    assert made.to_weigh_mg == 200_000
    assert made.content.budget.value == pytest.approx(50)
    assert made.content.budget.standard_uncertainty == pytest.approx(0.625)


def test_no_boiling_goes_beyond_what_does_not_boil_off() -> None:
    made = dataclasses.replace(product(), highest=Decimal("80.5"))
    kept = dosing.dilution(made, paste_mg=make.KG, parts=None, target=Decimal("80.5"))
    assert kept.water_mg < 0
    with pytest.raises(ChemistryError, match=r"without any water it holds 80\.5 %"):
        dosing.dilution(made, paste_mg=make.KG, parts=None, target=Decimal("80.6"))


def test_the_bound_of_boiling_is_soap_in_all_that_stays(crew: make.Crew) -> None:
    paste = make.cooked_batch(crew)
    made = outcome_of(paste).made
    assert made is not None
    found = dosing.product_of(paste)
    assert found.highest == pytest.approx(made.soap * 100 / (made.total - made.water))
    assert 88 < found.highest < 92  # a tenth of it is glycerol


def test_a_planned_dilution_is_reckoned_from_the_paste_that_was_chosen(
    browser: Client, crew: make.Crew
) -> None:
    paste = make.released_paste(crew)
    liquid = make.open_batch(crew, make.liquid_version(crew))
    assert "Choose the paste" in asked(browser, liquid).words
    line = liquid.formula_version.lines.get(source_formula__isnull=False)
    planning.choose_lots(by=crew.maker, batch=liquid, choices={line.pk: paste.stock})
    thick = dosing.product_of(paste)
    assert dosing.product_to_thin(liquid).percent == thick.percent
    page = asked(browser, liquid, of="dilution", paste_mg="1 kg", parts="1,5")
    assert f"Soap in the paste {paste.number}" in page.words
    assert f"computed for the paste {paste.number}" in page.words
    assert "Water to weigh 1.5 kg" in page.words
    with pytest.raises(dosing.NotKnownError):  # it has no class of its own yet
        dosing.product_of(liquid)


def test_once_weighed_a_dilution_is_reckoned_from_itself(crew: make.Crew) -> None:
    liquid = make.diluted_batch(crew)
    assert dosing.product_to_thin(liquid) == dosing.product_of(liquid)


def test_what_may_not_have_been_water_stands_beside_the_95_percent(
    browser: Client, crew: make.Crew
) -> None:
    paste = make.cooked_batch(crew)
    lowest = dosing.product_of(paste).lowest
    page = asked(browser, paste, of="dilution", paste_mg="1 kg", parts="1")
    assert f"if none of it was, it may be down to {lowest / 2:.1f} %" in page.words
    words = page_of(browser.get(reverse("batches:batch", args=[paste.number]))).words
    assert f"if none of it was, it may be down to {lowest:.1f} %" in words
    assert (
        "If all that is missing was water, here and in every paste that went into it,"
        " the true value" in words
    )


def test_a_density_no_liquid_soap_has_is_refused_with_its_bounds(
    browser: Client, crew: make.Crew
) -> None:
    page = asked(
        browser,
        make.cooked_batch(crew),
        of="wash",
        base="25",
        litres="15",
        density="5",
        unit="mmol/l",
    )
    assert "5 is not between 0.8 and 1.3" in page.words
    assert "Not computed yet" in page.words


def test_a_coarse_scale_makes_a_small_dilution_uncertain() -> None:
    scale = Instrument(
        kind="scale",
        name="coarse",
        resolution=Decimal(5),
        bias_half_width=Decimal(3),
    )
    made = dosing.dilution(
        product(u="0"),
        paste_mg=100_000,
        parts=Decimal(1),
        target=None,
        scale=scale,
    )
    # S = 40·(p+b)/(p+w+2b): an offset of the scale cancels at 1 to 1; each rounding
    # of u = 5/√6 g counts 40·100/200² = 0.1 % per gram.
    assert made.content.budget.standard_uncertainty == pytest.approx(
        0.1 * 5 / 6**0.5 * 2**0.5, rel=1e-3
    )


@pytest.mark.parametrize(
    "facts",
    [
        {"paste_mg": 0, "parts": Decimal(1), "target": None},
        {"paste_mg": 1, "parts": Decimal(0), "target": None},
        {"paste_mg": 1, "parts": None, "target": Decimal(0)},
        {"paste_mg": 1, "parts": None, "target": Decimal(101)},
    ],
)
def test_what_water_cannot_do_is_refused(facts: dict[str, object]) -> None:
    with pytest.raises(ChemistryError):
        dosing.dilution(product(), **facts)  # type: ignore[arg-type]


def test_own_water_is_a_fourth_dose() -> None:
    loads = dosing.wash(
        product(),
        base=Decimal(20),
        litres=Decimal(15),
        density=Decimal(1),
        hardness=Decimal(14),
        unit="°dH",
    )
    assert [load.name for load in loads] == ["soft", "medium", "hard", "yours, medium"]
    doses = [load.product_ml for load in loads]
    assert all(dose is not None for dose in doses)
    assert doses[0] < doses[3] < doses[1] < doses[2]  # type: ignore[operator]
    assert loads[1].product_ml == loads[1].dose.product_g


def test_a_batch_gives_its_content_and_the_soap_of_its_oils(crew: make.Crew) -> None:
    paste = make.cooked_batch(crew)
    liquid = make.diluted_batch(crew)
    thick, thin = dosing.product_of(paste), dosing.product_of(liquid)
    assert thin.percent < thick.percent / 2
    assert thick.content.standard_uncertainty > 0
    # 80 % sunflower (191) and 20 % coconut (256.5): lighter than pure oleate
    assert 295 < thick.molar_mass < 305
    assert abs(thick.molar_mass - thin.molar_mass) < Decimal("0.01")


def test_a_batch_that_was_not_weighed_cannot_be_dosed(crew: make.Crew) -> None:
    with pytest.raises(dosing.NotKnownError, match="Nothing has been weighed in"):
        dosing.product_of(make.open_batch(crew))


# ------------------------------------------------------------------ pages


def test_water_content_and_class_stand_on_the_page(
    browser: Client, crew: make.Crew
) -> None:
    paste = make.cooked_batch(crew)
    before = row_counts()
    page = asked(browser, paste, of="dilution", paste_mg="1 kg", parts="1,5")
    assert "Water to weigh 1.5 kg" in page.words
    assert "Soap content, ± with k = 2" in page.words
    assert "soap 15 % or over but less than 30 %" in page.words
    assert "Where the ± comes from" in page.words
    assert row_counts() == before


def test_the_page_says_when_water_has_to_go(browser: Client, crew: make.Crew) -> None:
    liquid = make.diluted_batch(crew)
    page = asked(browser, liquid, of="dilution", paste_mg="1 kg", target="35")
    assert "Water to boil off" in page.words
    assert "Paste and water splash and burn" in page.words


@pytest.mark.parametrize(
    ("query", "says"),
    [
        ({"of": "dilution", "paste_mg": "1 kg", "target": "0"}, "Water cannot turn"),
        ({"of": "dilution", "paste_mg": "1 kg", "target": "101"}, "Evaporation"),
        ({"of": "dilution", "paste_mg": "1 kg"}, "one of them"),
        (
            {"of": "dilution", "paste_mg": "1 kg", "target": "9", "parts": "2"},
            "one of them",
        ),
        ({"of": "dilution", "paste_mg": "0", "parts": "2"}, "Write its mass"),
        ({"of": "dilution", "paste_mg": "a pot", "parts": "2"}, "not"),
        (
            {"of": "spray", "litres": "0", "rate": "8", "hardness": "1"},
            "This is needed",
        ),
        (
            {
                "of": "spray",
                "litres": "10",
                "rate": "80",
                "hardness": "1",
                "unit": "°dH",
            },
            "More harms plants",
        ),
        (
            {
                "of": "spray",
                "litres": "10",
                "rate": "8",
                "hardness": "250",
                "unit": "mmol/l",
            },
            "Check the unit",
        ),
        (
            {
                "of": "spray",
                "litres": "10",
                "rate": "8",
                "hardness": "2",
                "unit": "degrees",
            },
            "Select a valid choice",
        ),
        (
            {"of": "wash", "base": "-5", "litres": "15", "unit": "mmol/l"},
            "needs some soap",
        ),
    ],
)
def test_what_cannot_be_computed_is_said_in_a_sentence(
    browser: Client, crew: make.Crew, query: dict[str, str], says: str
) -> None:
    page = asked(browser, make.cooked_batch(crew), **query)
    assert "Not computed yet" in page.words
    assert says in page.words


@pytest.mark.parametrize(
    "query",
    [
        {"of": "dilution", "paste_mg": "999999999 kg", "parts": "0.0000000001"},
        {"of": "dilution", "paste_mg": "1 mg", "target": "0.00000000001"},
        {
            "of": "spray",
            "litres": "99999999999999",
            "rate": "0.0000001",
            "hardness": "0",
            "unit": "gpg",
        },
        {
            "of": "wash",
            "base": "999999999999999",
            "litres": "0.00001",
            "density": "0.8",
            "hardness": "20",
            "unit": "mmol/l",
        },
        {"of": "nothing"},
        {"of": "dilution", "paste_mg": "\x01", "parts": "²", "scale": "x"},
    ],
)
def test_absurd_numbers_do_not_break_the_page(
    browser: Client, crew: make.Crew, query: dict[str, str]
) -> None:
    asked(browser, make.cooked_batch(crew), **query)


def test_a_tank_of_spray_comes_with_its_caution(
    browser: Client, crew: make.Crew
) -> None:
    paste = make.cooked_batch(crew)
    page = asked(
        browser,
        paste,
        of="spray",
        litres="10",
        rate="8",
        hardness="14",
        unit="°dH",
    )
    assert "Soap that works 80.0 g" in page.words
    assert "Soap lost to hardness, at most 15.0 g" in page.words
    assert "at your own risk" in page.words
    assert "try one leaf" in page.words
    assert "for own use on the premises only" in page.words


def test_the_authority_is_named_where_one_gave_a_number(
    browser: Client, crew: make.Crew
) -> None:
    version = make.spray_version(
        crew, authority_reference="PPP 77", authority_checked_on=make.TODAY
    )
    words = asked(browser, make.diluted_batch(crew, version)).words
    assert "Authority's number of this formula: PPP 77" in words
    assert "for own use on the premises only" not in words


def test_doses_for_three_waters_and_ones_own(
    browser: Client, crew: make.Crew, premises: Premises
) -> None:
    Premises.objects.update(water_hardness=Decimal("3.1"))
    liquid = make.diluted_batch(crew)
    page = asked(browser, liquid)
    assert Decimal(field_value(page, "hardness")) == Decimal("3.1")
    page = asked(
        browser,
        liquid,
        of="wash",
        base="25",
        litres="15",
        density="1,02",
        hardness="3,1",
        unit="mmol/l",
    )
    for words in ("soft 0.75 mmol/l", "medium 2.5", "hard 3.5", "yours, hard 3.1"):
        assert words in page.words
    assert "common practice, no source" in page.words


def test_ones_own_hardness_is_shown_as_it_was_typed_and_with_the_digits_of_a_strip(
    browser: Client, crew: make.Crew
) -> None:
    """3.5 °dH are 35 mg of CaO a litre, of 56.077 g/mol: 0.62414… mmol/l."""
    page = asked(
        browser,
        make.diluted_batch(crew),
        of="wash",
        base="25",
        litres="15",
        density="1.02",
        hardness="3,5",
        unit="°dH",
    )
    assert "yours, soft 0.624 mmol/l you typed 3.5 °dH" in page.words
    assert "0.6241" not in page.words


def test_without_a_soap_content_the_page_says_why(
    browser: Client, crew: make.Crew
) -> None:
    words = asked(browser, make.open_batch(crew)).words
    assert "Nothing can be dosed yet" in words
    assert "Nothing has been weighed in yet" in words


def test_the_page_of_a_dilution_shows_its_class_and_asks(
    browser: Client, crew: make.Crew
) -> None:
    version = make.liquid_version(crew, soap_content_target=Decimal(15))
    liquid = make.diluted_batch(crew, version, share="1")
    address = reverse("batches:batch", args=[liquid.number])
    page = page_of(browser.get(address))
    assert "It was to hold 15 % of soap" in page.words
    assert "A question The content lies between" in page.words
    links = {one.get("href") for one in page.attributes("a")}
    assert reverse("quality:doses", args=[liquid.number]) in links


def test_a_dilution_clear_of_the_edges_asks_nothing(
    browser: Client, crew: make.Crew
) -> None:
    liquid = make.diluted_batch(crew)
    page = page_of(browser.get(reverse("batches:batch", args=[liquid.number])))
    assert "soap 15 % or over but less than 30 %" in page.words
    assert "A question" not in page.words


def test_a_spray_and_a_paste_have_no_class_on_their_page(
    browser: Client, crew: make.Crew
) -> None:
    spray = make.diluted_batch(crew, make.spray_version(crew))
    page = page_of(browser.get(reverse("batches:batch", args=[spray.number])))
    assert "a spray has none" in page.words
    paste = make.cooked_batch(crew)
    page = page_of(browser.get(reverse("batches:batch", args=[paste.number])))
    assert "For the label" not in page.words
    fresh = make.open_batch(crew, make.liquid_version(crew))
    page = page_of(browser.get(reverse("batches:batch", args=[fresh.number])))
    assert "No class of contents yet" in page.words
