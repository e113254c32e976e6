"""The page, the print and the file of what a failed instrument means."""

from __future__ import annotations

import csv
import re
from decimal import Decimal
from typing import Any

import pypdfium2
import pytest
from django.test import Client
from django.urls import reverse

from batches.models import Batch
from producer.models import Instrument
from producer.services import registers
from quality.models import Deviation
from tests import make
from tests.quality import faulty
from tests.quality.test_impact import weighed

pytestmark = pytest.mark.django_db


@pytest.fixture
def page(client: Client, crew: make.Crew) -> Client:
    """Return a browser in which the maker is signed in."""
    client.force_login(crew.maker)
    return client


def text_of(page: Client, name: str, *arguments: Any, query: str = "") -> str:
    response = page.get(reverse(name, args=arguments) + query)
    assert response.status_code == 200
    return response.content.decode()


def failed(crew: make.Crew) -> tuple[Instrument, Batch]:
    """Return a scale that failed by one percent, and a batch that it weighed."""
    batch = make.cooked_batch(crew)
    weighed(crew.maker, "505")
    return make.scale(crew.maker), batch


def test_the_page_of_a_failed_scale_leads_to_what_depends_on_it(
    page: Client, crew: make.Crew
) -> None:
    scale, batch = failed(crew)
    count = batch.charges.count() + 1
    address = reverse("quality:instrument_impact", args=[scale.pk])
    instrument = text_of(page, "quality:instrument", scale.pk)
    assert f'href="{address}">{count} results in doubt' in instrument
    check = scale.checks.get()
    assert f'href="{address}?check={check.pk}"' in instrument
    text = text_of(page, "quality:instrument_impact", scale.pk)
    assert f"<strong>{count} results in doubt" in text
    assert "<strong>1.00 %</strong> of every net mass" in text
    assert "0 g in every net mass" in text
    assert f'href="{reverse("batches:batch", args=[batch.number])}"' in text
    assert "8.000&nbsp;g" in text  # of 800 g of oil
    assert "There is no good check before it." in text
    opening = reverse("quality:deviation_open_instrument", args=[scale.pk])
    assert f'href="{opening}"' in text


def test_more_alkali_than_recorded_is_said_in_words(
    page: Client, crew: make.Crew
) -> None:
    batch = make.open_batch(crew)
    line = make.line_of(batch, "sunflower oil")
    make.charge(crew, batch, make.stock_of(crew, line), 800_000, line=line)
    weighed(crew.maker, "505")
    scale = make.scale(crew.maker)
    text = text_of(page, "quality:instrument_impact", scale.pk)
    assert "+1.53 g KOH, +0.191 %" in text  # 8 g × 191 mg/g, of 800 g
    assert "more alkali than recorded" in text
    weighed(crew.maker, "490")  # and is now worse the other way
    text = text_of(page, "quality:instrument_impact", scale.pk)
    assert "less alkali than recorded" in text


def test_an_instrument_without_a_failed_check_puts_nothing_in_doubt(
    page: Client, crew: make.Crew
) -> None:
    make.cooked_batch(crew)
    scale = make.scale(crew.maker)
    text = text_of(page, "quality:instrument_impact", scale.pk)
    assert "nothing that it showed is in doubt" in text
    assert "list.pdf" not in text
    for name in ("quality:instrument_impact_pdf", "quality:instrument_impact_csv"):
        assert page.get(reverse(name, args=[scale.pk])).status_code == 404


@pytest.mark.parametrize("query", ["?check=x", "?check=-1", "?check="])
def test_nonsense_in_the_address_shows_the_newest_failed_check(
    page: Client, crew: make.Crew, query: str
) -> None:
    scale, _ = failed(crew)
    assert "results in doubt" in text_of(
        page, "quality:instrument_impact", scale.pk, query=query
    )
    nobody = text_of(page, "quality:instrument_impact", scale.pk, query="?check=999999")
    assert "nothing that it showed is in doubt" in nobody


def test_a_bad_lot_of_strips_says_how_many_results_were_read_from_it(
    page: Client, crew: make.Crew
) -> None:
    strips = make.strips(crew.maker)
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    make.read_ph(crew, batch, "9.8", instrument=strips)
    address = reverse("quality:instrument_impact", args=[strips.pk])
    good = text_of(page, "quality:instrument", strips.pk)
    assert f'href="{address}">1 result read from this lot' in good
    assert "out of use" not in good
    strips.in_use = False
    registers.save(by=crew.maker, entry=strips)
    bad = text_of(page, "quality:instrument", strips.pk)
    assert "This lot is out of use" in bad
    assert f'href="{address}">1 result read from it' in bad
    text = text_of(page, "quality:instrument_impact", strips.pk)
    assert "can cross the limit" in text
    assert "nobody knows by how much" in text


def test_the_list_is_printed_with_every_record(page: Client, crew: make.Crew) -> None:
    scale, batch = failed(crew)
    response = page.get(reverse("quality:instrument_impact_pdf", args=[scale.pk]))
    assert response.headers["Content-Type"] == "application/pdf"
    document = pypdfium2.PdfDocument(response.content)
    text = "\n".join(sheet.get_textpage().get_text_bounded() for sheet in document)
    assert "What depends on bench scale" in text
    # once among the batches, once for each result; a code is never broken
    assert text.count(batch.number) == 1 + batch.charges.count() + 1
    width, height = document[0].get_size()
    for sheet in document:
        words = sheet.get_textpage()
        boxes = [words.get_charbox(place) for place in range(words.count_chars())]
        assert max(right for _, _, right, _ in boxes) < width
        assert min(bottom for _, bottom, _, _ in boxes) > 0
        assert max(top for _, _, _, top in boxes) < height


def test_the_list_is_a_file_a_result_a_line(page: Client, crew: make.Crew) -> None:
    scale, batch = failed(crew)
    response = page.get(reverse("quality:instrument_impact_csv", args=[scale.pk]))
    content = b"".join(response.streaming_content)  # type: ignore[attr-defined]
    lines = list(csv.DictReader(content.decode().splitlines()))
    assert len(lines) == batch.charges.count() + 1
    potash = next(line for line in lines if "potash" in line["result"])
    row = batch.charges.get(source__lot__material__kind="potash")
    assert Decimal(potash["value"]) * 1000 == row.net_mg
    assert Decimal(potash["may show too much by"]) == pytest.approx(
        Decimal(row.net_mg) / 100_000, abs=Decimal("0.0001")
    )
    assert potash["excess alkali changes by (g KOH)"].startswith("-")  # a number
    assert {line["record"] for line in lines} == {batch.number}


def test_today_names_a_failed_instrument_until_a_deviation_is_closed(
    page: Client, crew: make.Crew
) -> None:
    scale, _ = failed(crew)
    check = scale.checks.get()
    address = (
        f"{reverse('quality:instrument_impact', args=[scale.pk])}?check={check.pk}"
    )
    today = text_of(page, "quality:today")
    assert f'href="{address}"' in today
    assert "not looked into" in today
    opening = reverse("quality:deviation_open_instrument", args=[scale.pk])
    assert f'href="{opening}"' in today
    about = faulty.deviation(crew.maker, instrument=scale)
    faulty.looked_into(crew.maker, about)
    # While a deviation is open it is in hand, and stands there under its code.
    deviation = Deviation.objects.get()
    assert deviation.code in text_of(page, "quality:today")
    assert f'href="{address}"' not in text_of(page, "quality:today")
    faulty.close(crew.reviewer, about, "no_effect")
    assert deviation.code not in text_of(page, "quality:today")
    assert f'href="{address}"' not in text_of(page, "quality:today")


def test_limits_have_the_decimal_mark_of_the_premises(
    page: Client, crew: make.Crew, premises: Any
) -> None:
    premises.decimal_mark = ","
    premises.save()
    strips = make.strips(crew.maker)
    version = make.paste_version(crew, ph=("8.5", "10"))
    batch = make.open_batch(crew, version)
    make.charge_all(crew, batch)
    make.read_ph(crew, batch, "9.8", instrument=strips)
    text = text_of(page, "quality:instrument_impact", strips.pk)
    assert "8,5 to 10; 0,20" in text
    assert not re.search(r"\b9\.8\b", text)
