"""The batch sheet: what it says, and that it fits on two pages."""

from __future__ import annotations

from decimal import Decimal

import pypdfium2
import pytest
from django.test import Client
from django.urls import reverse

from batches.models import Batch
from batches.services import formulas, planning, titrating
from producer.models import Premises, User
from quality.documents.batch_sheet import batch_sheet_pdf, context_of
from tests import lab, make
from tests.database import row_counts
from tests.doors.pages import page_of

pytestmark = [pytest.mark.django_db, pytest.mark.any_engine]


def pages_of(pdf: bytes) -> list[str]:
    document = pypdfium2.PdfDocument(pdf)
    return [
        " ".join(page.get_textpage().get_text_bounded().split()) for page in document
    ]


def with_lots(crew: make.Crew) -> Batch:
    batch = make.open_batch(crew)
    lines = batch.formula_version.lines.select_related("material")
    planning.choose_lots(
        by=crew.maker,
        batch=batch,
        choices={line.pk: make.stock_of(crew, line) for line in lines},
    )
    return batch


def test_a_cook_fits_on_two_pages_and_says_all_of_it(crew: make.Crew) -> None:
    batch = with_lots(crew)
    first, second = pages_of(batch_sheet_pdf(batch, printed_by="Mirja Aalto"))
    for line in planning.plan_of(batch).lines:
        assert line.source is not None
        assert line.name in first
        assert line.source.code in first
    for sentence in (
        "Gross Tare Net",
        "THE LYE WILL BOIL",
        "Potash into cold water",
        "The risk is low",
        "pH 8 to 10, by: 1 % solution in distilled water at 25 °C",
        "Hottest allowed: 70 °C",
        "555 0199",
        "do not make the person vomit",
        "Hot paste and boiling water",
    ):
        assert sentence in first, sentence
    for sentence in ("Before", "Making it", "After", "clear, without oil drops"):
        assert sentence in second, sentence
    assert "Printed at" in first
    assert "by Mirja Aalto" in first
    assert "Page 2 of 2" in second


def three_oils(crew: make.Crew) -> Batch:
    """Return a cook of three oils whose figures have the longest origins."""
    castor = make._oil(crew.maker, "castor oil, cold pressed", 176, 187)
    version = formulas.write_formula(
        by=crew.maker,
        name="Three-oil paste",
        kind="cook",
        purpose="paste",
        wording=formulas.Wording(product_name="Paste", shelf_life_days=365),
        lines=[
            formulas.Line(material=make.sunflower(crew.maker), per_kg_mg=700_000),
            formulas.Line(material=make.coconut(crew.maker), per_kg_mg=200_000),
            formulas.Line(material=castor, per_kg_mg=100_000),
            formulas.Line(material=make.water(crew.maker), per_kg_mg=420_000),
            formulas.Line(material=make.potash(crew.maker)),
        ],
    )
    make.set_limits(crew.reviewer, version)
    oil = make.released_lot(crew, make.sunflower(crew.maker))
    potash = make.released_lot(crew, make.potash(crew.maker))
    # Titrated too coarsely: the range counts, and the sheet says why at length.
    lab.titration(
        crew,
        oil.stock,
        titrating.Replicate(sample_mg=2_000, volume_ml=Decimal("24.9")),
        titrating.Replicate(sample_mg=2_000, volume_ml=Decimal("24.3")),
        kind="saponification_value",
        setup={
            "concentration": Decimal("0.5"),
            "half_width": Decimal("0.005"),
            "blank_ml": Decimal("38.2"),
        },
    )
    lab.titration(crew, potash.stock)
    batch = make.open_batch(crew, version, basis_mg=2_400_000)
    lines = batch.formula_version.lines.select_related("material")
    planning.choose_lots(
        by=crew.maker,
        batch=batch,
        choices={line.pk: make.stock_of(crew, line) for line in lines},
    )
    return batch


@pytest.mark.parametrize("risk_to_stop", ["50", "0.5"])  # a short verdict, a long one
def test_three_oils_with_long_origins_still_take_two_pages(
    crew: make.Crew, risk_to_stop: str
) -> None:
    batch = three_oils(crew)
    Premises.objects.update(
        risk_to_warn_percent=Decimal(risk_to_stop) / 5,
        risk_to_stop_percent=Decimal(risk_to_stop),
    )
    first, second = pages_of(batch_sheet_pdf(batch, printed_by="Mirja Aalto"))
    for sentence in (
        "because it is surer than the own titration",
        "own titration of",
        "castor oil, cold pressed",
        "Never water onto potash",
        "555 0199",
        "wipe at once",
    ):
        assert sentence in first, sentence
    assert "At the pot" in second
    assert "Page 2 of 2" in second


def test_potash_comes_last_on_the_sheet(crew: make.Crew) -> None:
    lines = context_of(with_lots(crew))["lines"]
    assert [line.number for line in lines] == [1, 2, 3, 4]
    assert lines[-1].name == "potash flakes"
    assert [line.to_weigh_mg for line in lines[:3]] == [800_000, 200_000, 420_000]


def test_before_the_lots_are_chosen_there_is_room_for_them(crew: make.Crew) -> None:
    first, _ = pages_of(batch_sheet_pdf(make.open_batch(crew), printed_by="M"))
    assert "lot not chosen" in first
    assert "The potash is computed when every oil has its lot" in first
    assert "Not known:" in first
    assert "The lye is computed when" in first


def test_what_is_weighed_already_stands_there(crew: make.Crew) -> None:
    batch = with_lots(crew)
    line = make.line_of(batch, "sunflower oil")
    make.charge(crew, batch, make.stock_of(crew, line), 801_300, line=line)
    first, _ = pages_of(batch_sheet_pdf(make.fresh(batch), printed_by="M"))
    assert "weighed already: 801.3 g" in first


def test_a_lye_discount_is_said(crew: make.Crew) -> None:
    batch = with_lots(crew)
    batch.lye_discount = Decimal("0.03")
    batch.save()
    first, _ = pages_of(batch_sheet_pdf(batch, printed_by="M"))
    assert "3 % of it is left out on purpose" in first


def test_a_dilution_has_no_lye_and_no_clarity(crew: make.Crew) -> None:
    batch = make.diluted_batch(crew)
    words = " ".join(pages_of(batch_sheet_pdf(batch, printed_by="M")))
    assert "never measured by the jug" in words
    assert "Hot paste and boiling water" in words
    for absent in ("The lye", "Excess alkali", "oil drops", "Potash"):
        assert absent not in words


def test_without_a_limit_the_sheet_says_so(crew: make.Crew) -> None:
    version = formulas.write_formula(
        by=crew.maker,
        name="Untried paste",
        kind="cook",
        purpose="paste",
        wording=formulas.Wording(product_name="Untried", shelf_life_days=365),
        lines=make.paste_lines(crew.maker),
    )
    first, _ = pages_of(batch_sheet_pdf(make.open_batch(crew, version), printed_by="M"))
    assert "No pH limit is set" in first


def test_the_page_of_the_batch_leads_to_the_sheet(
    client: Client, crew: make.Crew, auditor: User
) -> None:
    client.force_login(auditor)
    batch = with_lots(crew)
    page = page_of(client.get(reverse("batches:batch", args=[batch.number])))
    address = reverse("quality:batch_sheet", args=[batch.number])
    assert address in {one.get("href") for one in page.attributes("a")}
    before = row_counts()
    answer = client.get(address)
    assert answer["Content-Type"] == "application/pdf"
    assert f"batch-sheet-{batch.number}.pdf" in answer["Content-Disposition"]
    assert answer.getvalue().startswith(b"%PDF")
    assert row_counts() == before
