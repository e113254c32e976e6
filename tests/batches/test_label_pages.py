"""The label sheet as it leaves the printer: read by a decoder that is not ours."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import pypdfium2
import pytest
import zxingcpp
from django.test import Client
from django.urls import reverse
from pytest_django import Settings

from batches.models import FillingLot
from producer import prints
from producer.codes import grouped
from producer.models import Premises
from producer.templatetags.kettlebook import day
from tests import make

pytestmark = pytest.mark.django_db

PUBLIC_URL = "https://kettle.hollow-beck.example"
OWN_USE = "For own use on the premises only. Not for sale or gift."


@pytest.fixture(autouse=True)
def _public_url(settings: Settings) -> None:
    settings.PUBLIC_URL = PUBLIC_URL


@pytest.fixture
def sheet(crew: make.Crew) -> FillingLot:
    return make.filled(crew, count=12, nominal_ul=50_000)


@pytest.fixture
def browser(crew: make.Crew) -> Client:
    client = Client()
    client.force_login(crew.maker)
    return client


def pdf_of(client: Client, lot: FillingLot, query: str = "") -> pypdfium2.PdfDocument:
    """Ask the page for the sheet and open what comes."""
    response = client.get(reverse("batches:labels", args=[lot.code]) + query)
    assert response.headers["Content-Type"] == "application/pdf"
    return pypdfium2.PdfDocument(response.content)


def pictures(document: pypdfium2.PdfDocument, dpi: int) -> Iterator[Any]:
    """Draw each page as a printer of this resolution would."""
    for page in document:
        yield page.render(scale=dpi / 72).to_pil().convert("L")


def words_of(document: pypdfium2.PdfDocument) -> str:
    """Return the text of all pages with single blanks."""
    text = " ".join(page.get_textpage().get_text_range() for page in document)
    return " ".join(text.split())


@pytest.mark.parametrize("dpi", [150, 200, 300])
def test_every_code_on_the_sheet_is_read_back_as_the_address_of_its_bottle(
    browser: Client, sheet: FillingLot, dpi: int
) -> None:
    document = pdf_of(browser, sheet)
    read = [
        code.text
        for picture in pictures(document, dpi)
        for code in zxingcpp.read_barcodes(picture)
    ]
    expected = [
        f"{PUBLIC_URL}/b/{grouped(bottle.code)}" for bottle in make.bottles_of(sheet)
    ]
    assert len(document) == 2
    assert sorted(read) == sorted(expected)


def test_the_address_in_the_code_opens_the_page_of_the_bottle(
    browser: Client, sheet: FillingLot
) -> None:
    picture = next(pictures(pdf_of(browser, sheet, "?first=3&last=3"), 200))
    (code,) = zxingcpp.read_barcodes(picture)
    page = Client().get(code.text.removeprefix(PUBLIC_URL) + "/")
    third = make.bottles_of(sheet)[2]
    assert page.status_code == 200
    assert grouped(third.code) in page.content.decode()


def test_a_label_says_what_is_in_the_bottle_from_whom_and_what_to_mind(
    browser: Client, sheet: FillingLot
) -> None:
    words = words_of(pdf_of(browser, sheet, "?first=1&last=1"))
    premises, bottle = Premises.objects.get(), make.bottles_of(sheet)[0]
    for said in (
        "Laundry liquid",
        "50 ml",
        sheet.batch.number,
        grouped(bottle.code),
        "no. 1",
        f"Filled {day(sheet.observed_at.date())}",
        f"use by {day(sheet.use_by)}",
        premises.name,
        premises.address,
        premises.phone,
        f"Poison centre {premises.poison_centre}",
        "Not for skin, hair, food or animals.",
        "Keep out of reach of children.",
        "rinse at once with water for at least 20 minutes",
        "Do not mix with acids or bleach.",
        "Never fill into drinks bottles.",
    ):
        assert said in words
    assert grouped(make.bottles_of(sheet)[1].code) not in words
    assert OWN_USE not in words


def test_a_spray_is_for_own_use_until_an_authority_has_allowed_more(
    browser: Client, crew: make.Crew
) -> None:
    spray = make.released_liquid(crew, make.spray_version(crew))
    words = words_of(pdf_of(browser, make.filled(crew, spray, count=1)))
    assert OWN_USE in words
    assert "Test one leaf, wait 24 to 48 hours." in words
    assert "keep away from ponds, ditches and drains" in words


def test_a_spray_with_an_authoritys_number_carries_it_instead(
    browser: Client, crew: make.Crew
) -> None:
    version = make.spray_version(
        crew, authority_reference="PPP-41/7", authority_checked_on=make.TODAY
    )
    lot = make.filled(crew, make.released_liquid(crew, version), count=1)
    words = words_of(pdf_of(browser, lot))
    assert "Authority's number: PPP-41/7." in words.replace("’", "'")
    assert OWN_USE not in words


def test_markup_in_a_name_is_printed_as_it_was_typed(
    browser: Client, sheet: FillingLot
) -> None:
    Premises.objects.update(name="<b>Beck</b> & <img src='https://evil.example/x'>")
    words = words_of(pdf_of(browser, sheet, "?first=1&last=1"))
    assert "<b>Beck</b> &" in words


def test_a_print_fetches_nothing(
    browser: Client, sheet: FillingLot, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[str] = []

    def noted(url: str, *_: object, **__: object) -> None:
        asked.append(url)
        raise ValueError(url)

    monkeypatch.setattr(prints, "refuse_to_fetch", noted)
    pdf_of(browser, sheet, "?first=1&last=1")
    assert asked == []


@pytest.mark.parametrize(
    "url", ["https://evil.example/", "file:///etc/passwd", "data:text/css,p{}"]
)
def test_whatever_a_print_asks_for_is_refused(url: str) -> None:
    with pytest.raises(ValueError, match=re.escape(url)):
        prints.refuse_to_fetch(url)
