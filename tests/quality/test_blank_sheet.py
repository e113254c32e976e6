"""The batch sheet as a blank: for a day without power."""

from __future__ import annotations

from decimal import Decimal

import pytest
from django.test import Client
from django.urls import reverse

from batches.models import FormulaVersion, HoldPoint
from batches.services import formulas
from producer.models import User
from quality.documents.batch_sheet import batch_sheet_pdf
from quality.documents.blank_sheet import (
    MOST_OILS,
    blank_sheet_pdf,
    context_of,
    example,
)
from quality.services.before_the_cook import BEFORE, sentences_of
from tests import make
from tests.database import row_counts
from tests.doors.pages import page_of
from tests.quality.test_batch_sheet import pages_of, three_oils, with_lots

pytestmark = [pytest.mark.django_db, pytest.mark.any_engine]
# Where each thing that the screens at the pot record is written down.
LINES = (
    *("Scale; check weight", "It shows", "Weighed empty", "Tare written on it"),
    *("Not in order: what", "pH; strips or meter", "Clear, cloudy, oil drops"),
    *("What was done or added", "It made: gross", "Lost: evaporated, spilled"),
    *("HELD until the next day, cold", "Initials", "Weigh the empty vessel again"),
)


@pytest.mark.parametrize("basis_mg", [None, 2_400_000])
def test_a_blank_fits_on_two_pages_and_says_all_of_it(
    crew: make.Crew, basis_mg: int | None
) -> None:
    version = make.paste_version(crew)
    pdf = blank_sheet_pdf(version, basis_mg=basis_mg, printed_by="Mirja Aalto")
    first, second = pages_of(pdf)
    for sentence in (
        "Gross Tare Net",
        "compute on paper",
        "Potash in g = Σ m·SV / 1000 / P",
        "SV published: 188 to 194",
        "pH 8 to 10, by: 1 % solution in distilled water at 25 °C",
        "555 0199",
        "do not make the person vomit",
        "Potash into cold water",
        "Hot paste and boiling water",
    ):
        assert sentence in first, sentence
    for sentence in LINES:
        assert sentence in second, sentence
    for text, _ in BEFORE["cook"]:
        assert text in second


def test_the_sheet_of_a_batch_has_the_same_lines_to_write_on(crew: make.Crew) -> None:
    _, second = pages_of(batch_sheet_pdf(with_lots(crew), printed_by="M"))
    for sentence in LINES:
        assert sentence in second, sentence


@pytest.mark.parametrize("kind", ["cook", "other"])
def test_every_point_that_stops_a_batch_is_a_hold_point_on_paper(kind: str) -> None:
    """The screen lets nobody charge without all five, so the sheet says no less."""
    held = [text for text, is_hold in BEFORE[kind] if is_hold]
    assert held == [
        text for text, _ in BEFORE[kind] if not text.startswith("pH strips")
    ]
    for point in HoldPoint.Point:
        assert set(sentences_of(kind, point)) & set(held), point


def test_both_sheets_mark_them(crew: make.Crew) -> None:
    batch = with_lots(crew)
    blank = blank_sheet_pdf(batch.formula_version, basis_mg=None, printed_by="M")
    for pdf in (blank, batch_sheet_pdf(batch, printed_by="M")):
        _, second = pages_of(pdf)
        for text, is_hold in BEFORE["cook"]:
            assert (f"{text} (hold)" in second) is is_hold, text


def test_the_example_is_what_anybody_gets_by_hand() -> None:
    """800 g × 191 mg/g + 200 g × 256 mg/g = 204 000 mg; 204 g / 0.90 = 226.67 g.

    The rule: a saponification value is milligrams of KOH for one gram (ISO 3657).
    """
    assert 800 * 191 + 200 * 256 == 204_000
    assert example().potash_g == round(Decimal(204) / Decimal("0.9"), 1)
    assert "= 204.0 g of KOH" in example().words
    assert "= 226.7 g of potash" in example().words


def test_an_entered_mass_is_computed_line_by_line_but_not_the_potash(
    crew: make.Crew,
) -> None:
    lines = context_of(make.paste_version(crew), 2_400_000)["lines"]
    assert {line.name: line.mass_mg for line in lines} == {
        "sunflower oil": 1_920_000,
        "coconut oil": 480_000,
        "distilled water": 1_008_000,
        "potash flakes": None,
    }
    assert lines[-1].is_potash
    per_kg = context_of(make.paste_version(crew), None)["lines"]
    assert [line.mass_mg for line in per_kg[:3]] == [800_000, 200_000, 420_000]


def test_three_oils_still_take_two_pages(crew: make.Crew) -> None:
    version = three_oils(crew).formula_version
    assert len(pages_of(blank_sheet_pdf(version, basis_mg=None, printed_by="M"))) == 2


NAMES = (
    "sunflower oil, high oleic, refined",
    "coconut oil 76, refined and deodorised",
    "castor oil, cold pressed, from the mill at the river",
    "rapeseed oil",
    "olive pomace oil",
    "rice bran oil, winterised",
)


def of_oils(crew: make.Crew, number: int, *, name: str) -> FormulaVersion:
    oils = [make._oil(crew.maker, one, 176, 196) for one in NAMES[:number]]
    share = 1_000_000 // number
    version = formulas.write_formula(
        by=crew.maker,
        name=name,
        kind="cook",
        purpose="paste",
        wording=formulas.Wording(product_name="Paste", shelf_life_days=365),
        lines=[
            formulas.Line(
                material=oil,
                per_kg_mg=share + (1_000_000 - number * share) * (oil is oils[0]),
            )
            for oil in oils
        ]
        + [
            formulas.Line(material=make.water(crew.maker), per_kg_mg=420_000),
            formulas.Line(material=make.potash(crew.maker), per_kg_mg=None),
        ],
    )
    make.set_limits(crew.reviewer, version)
    return version


@pytest.mark.parametrize("basis_mg", [None, 12_345_600])
@pytest.mark.parametrize("number", [1, 3, MOST_OILS])
@pytest.mark.parametrize(
    "name", ["Paste", "Kitchen and workshop paste of the winter, stiffer, with castor"]
)
def test_it_is_both_sides_of_one_sheet_for_up_to_six_oils(
    crew: make.Crew, number: int, basis_mg: int | None, name: str
) -> None:
    version = of_oils(crew, number, name=name)
    pdf = blank_sheet_pdf(version, basis_mg=basis_mg, printed_by="Mirja Aalto-Nieminen")
    pages = pages_of(pdf)
    assert len(pages) == 2
    first, second = pages
    for oil in NAMES[:number]:
        assert first.count(oil) == 2, oil  # weighed, and in the sum
    # The cautions are on the page with the potash, right below its sum.
    place = [
        first.index(words)
        for words in ("Sum / P = potash to weigh", "Potash into cold water", "Hottest")
    ]
    assert place == sorted(place)
    assert "At the pot" in second
    assert "At the pot" not in first


def test_a_dilution_has_no_potash_rule(crew: make.Crew) -> None:
    version = make.liquid_version(crew)
    words = " ".join(pages_of(blank_sheet_pdf(version, basis_mg=None, printed_by="M")))
    assert "For 1 kg of paste" in words
    assert "never measured by the jug" in words
    for absent in ("compute on paper", "oil drops", "Potash"):
        assert absent not in words


def test_a_former_version_says_so(crew: make.Crew) -> None:
    version = make.paste_version(crew)
    assert context_of(version, None)["is_newest"]
    formulas.write_version(
        by=crew.maker,
        formula=version.formula,
        wording=formulas.Wording(product_name="Kitchen paste", shelf_life_days=300),
        lines=make.paste_lines(crew.maker, water_mg=500_000),
        reason="too stiff",
    )
    first, _ = pages_of(blank_sheet_pdf(version, basis_mg=None, printed_by="M"))
    assert "a newer one exists" in first


def test_the_page_of_a_formula_leads_to_it(
    client: Client, crew: make.Crew, auditor: User
) -> None:
    client.force_login(auditor)
    version = make.paste_version(crew)
    page = page_of(client.get(reverse("batches:formula", args=[version.formula_id])))
    address = reverse("quality:blank_sheet", args=[version.pk])
    assert address in {one.get("href") for one in page.attributes("a")}
    assert "For how much" in page_of(client.get(address)).words
    before = row_counts()
    answer = client.get(f"{address}?print=1&basis_mg=2,4+kg")
    assert answer["Content-Type"] == "application/pdf"
    first, _ = pages_of(answer.getvalue())
    assert "2.4 kg of oils" in first
    assert "1.92 kg" in first
    assert client.get(f"{address}?print=1&basis_mg=")["Content-Type"] == (
        "application/pdf"
    )
    refused = page_of(client.get(f"{address}?print=1&basis_mg=plenty"))
    assert "Not printed" in refused.words
    assert row_counts() == before
