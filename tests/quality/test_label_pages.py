"""Pages that issue labels, write their file and count them; read as a browser would.

The file is read by programs that are not ours: a decoder of QR codes and a PDF reader.
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Iterator
from decimal import Decimal
from typing import Any

import pypdfium2
import pytest
import zxingcpp
from django.core.exceptions import ValidationError
from django.http import StreamingHttpResponse
from django.test import Client
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st
from pytest_django import Settings

from batches.chemistry.dilution import CONTENTS_BANDS
from batches.forms.labelling import as_spans, numbers_in
from batches.models import (
    FillingLot,
    LabelCopy,
    LabelCount,
    LabelIssue,
    LabelVersion,
)
from batches.services import label_bands, labelling
from batches.services.outcome import SoapContent
from batches.views.labels import ESTIMATE, estimated
from producer import prints
from producer.codes import grouped
from producer.models import JournalEntry, Premises
from quality.services import dosing
from quality.services.dose_table import dose_table
from quality.views.labels import doses_of
from tests import labelled, make

PUBLIC_URL = "https://kettle.hollow-beck.example"
BANDS = tuple(band.wording for band in CONTENTS_BANDS)


@pytest.fixture(autouse=True)
def _public_url(settings: Settings) -> None:
    settings.PUBLIC_URL = PUBLIC_URL


@pytest.fixture
def lot(crew: make.Crew) -> FillingLot:
    return make.filled(crew, count=12, nominal_ul=50_000)


@pytest.fixture
def browser(crew: make.Crew) -> Client:
    client = Client()
    client.force_login(crew.maker)
    return client


def page_of(client: Client, name: str, *arguments: Any) -> str:
    response = client.get(reverse(name, args=arguments))
    assert response.status_code == 200
    return " ".join(response.content.decode().split())


def sent(client: Client, name: str, *arguments: Any, **typed: Any) -> str:
    """Send a form as the page showed it, with what was typed; return what follows."""
    address = reverse(name, args=arguments)
    page = client.get(address).content.decode()
    (submission,) = re.findall(r'name="submission" value="([^"]+)"', page)
    facts = {"submission": submission, **typed}
    answer = client.post(address, facts, follow=True)
    return " ".join(answer.content.decode().split())


def issue_form(lot: FillingLot, **changes: Any) -> dict[str, Any]:
    label = LabelVersion.objects.latest("pk")
    return {
        "label": label.pk,
        "numbers": "1-12",
        "sheet": labelled.A4_10.name,
        "start": "1",
        **changes,
    }


def file_of(client: Client, row: LabelIssue) -> StreamingHttpResponse:
    arguments = [row.filling_lot.code, row.pk]
    response = client.get(reverse("batches:label_issue_pdf", args=arguments))
    assert isinstance(response, StreamingHttpResponse)
    return response


def pdf_of(client: Client, row: LabelIssue) -> pypdfium2.PdfDocument:
    return pypdfium2.PdfDocument(file_of(client, row).getvalue())


def words_of(document: pypdfium2.PdfDocument) -> str:
    """Return the text of all pages with single blanks."""
    text = " ".join(page.get_textpage().get_text_range() for page in document)
    return " ".join(text.split())


def codes_on(document: pypdfium2.PdfDocument, dpi: int) -> Iterator[str]:
    """Yield what a decoder reads on pages drawn as a printer would draw them."""
    for page in document:
        picture = page.render(scale=dpi / 72).to_pil().convert("L")
        yield from (code.text for code in zxingcpp.read_barcodes(picture))


# ------------------------------------------------------------------ issuing


@pytest.mark.django_db
def test_labels_are_issued_on_a_page_and_their_file_carries_each_bottle(
    browser: Client, crew: make.Crew, lot: FillingLot
) -> None:
    labelled.approved(crew, lot)
    shown = page_of(browser, "quality:labels", lot.code)
    assert 'name="numbers" value="1-12"' in shown
    assert "Class of contents by Regulation (EC) 648/2004" in shown
    said = sent(browser, "quality:labels", lot.code, **issue_form(lot, specimens="1"))
    assert "13 labels are issued. Print them, and count what becomes of each." in said
    assert "13 labels on 2 sheets" in said
    assert "the same issue, no further copy" in said
    row = LabelIssue.objects.get()
    document = pdf_of(browser, row)
    assert len(document) == 2
    expected = [f"{PUBLIC_URL}/b/{grouped(one.code)}" for one in make.bottles_of(lot)]
    assert sorted(codes_on(document, 200)) == sorted(expected)
    words, premises = words_of(document), Premises.objects.get()
    for part in (
        "Laundry liquid",
        "50 ml",
        lot.batch.number,
        grouped(make.bottles_of(lot)[11].code),
        row.band,
        "For washing only.",
        premises.name,
        premises.phone,
        premises.poison_centre,
    ):
        assert part in words
    assert "copy" not in words
    # Whoever reads the code comes to the page of that bottle.
    address = expected[2].removeprefix(PUBLIC_URL) + "/"
    assert (
        grouped(make.bottles_of(lot)[2].code) in Client().get(address).content.decode()
    )


@pytest.mark.django_db
def test_downloading_again_is_the_same_issue_and_no_further_copy(
    browser: Client, crew: make.Crew, lot: FillingLot
) -> None:
    row = labelled.issued(crew, lot)
    before = (LabelCopy.objects.count(), JournalEntry.objects.count())
    first, second = file_of(browser, row), file_of(browser, row)
    assert first.getvalue() == second.getvalue()
    assert (LabelCopy.objects.count(), JournalEntry.objects.count()) == before
    assert first.headers["Content-Type"] == "application/pdf"
    assert first.headers["Content-Disposition"].startswith("inline;")
    assert not first.has_header("Content-Length")


@pytest.mark.django_db
def test_the_browser_is_told_about_how_long_the_file_will_be(
    browser: Client, crew: make.Crew
) -> None:
    lot = make.filled(crew, count=60, nominal_ul=20_000)
    row = labelled.issued(crew, lot)
    response = file_of(browser, row)
    told, length = int(response.headers[ESTIMATE]), len(response.getvalue())
    assert abs(told - length) / length < 0.1
    # Without its first sheet nothing could be told about the others.
    assert estimated([b"x" * 9000, b"x" * 1960], 100) == 209_000


@pytest.mark.django_db
def test_a_label_printed_again_says_so_and_why(
    browser: Client, crew: make.Crew, lot: FillingLot
) -> None:
    labelled.issued(crew, lot)
    form = issue_form(lot, numbers="7")
    refused = sent(browser, "quality:labels", lot.code, **form)
    assert "Bottle 7 has a label already." in refused
    assert LabelIssue.objects.count() == 1
    said = sent(browser, "quality:labels", lot.code, **form, reason="smeared")
    assert "bottle 7: copy 2" in said
    assert "smeared" in said
    row = LabelIssue.objects.latest("pk")
    words = words_of(pdf_of(browser, row))
    assert "copy 2" in words
    assert grouped(lot.bottles.get(number=7).code) in words
    assert "up to copy 2: smeared" in page_of(browser, "batches:filling_lot", lot.code)


@pytest.mark.django_db
def test_the_form_begins_with_bottles_without_a_label_and_the_sheet_last_used(
    browser: Client, crew: make.Crew, lot: FillingLot
) -> None:
    labelled.approved(crew, lot)
    sent(
        browser,
        "quality:labels",
        lot.code,
        **issue_form(lot, numbers="1-4, 6", sheet=labelled.ROLL.name, offset_x="-1,25"),
    )
    row = LabelIssue.objects.get()
    said = page_of(browser, "batches:label_issue", lot.code, row.pk)
    assert "from label 1; all moved 1.25 mm to the left" in said
    shown = page_of(browser, "quality:labels", lot.code)
    assert 'name="numbers" value="5, 7-12"' in shown
    assert f'value="{labelled.ROLL.name}" selected' in shown
    assert 'name="offset_x" value="−1.25"' in shown
    placement = labelling.placement_of(LabelIssue.objects.get())
    assert (placement.offset_x, placement.offset_y) == (-125, 0)


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"start": "11"}, "This sheet has the labels 1 to 10."),
        ({"offset_y": "10,5"}, "is not between"),
        ({"numbers": "13"}, "“13” is no bottle of this lot."),
        ({"numbers": ""}, "Choose at least one bottle."),
        ({"sheet": "wallpaper"}, "wallpaper"),
    ],
)
def test_what_cannot_be_printed_is_said_on_the_page(
    browser: Client,
    crew: make.Crew,
    lot: FillingLot,
    changes: dict[str, str],
    said: str,
) -> None:
    labelled.approved(crew, lot)
    page = sent(browser, "quality:labels", lot.code, **issue_form(lot, **changes))
    assert said in page
    assert not LabelIssue.objects.exists()


@pytest.mark.django_db
def test_without_an_approved_text_the_page_leads_to_the_texts(
    browser: Client, crew: make.Crew, lot: FillingLot
) -> None:
    formula = lot.batch.formula_version.formula
    labelled.written(crew, formula)
    page = page_of(browser, "quality:labels", lot.code)
    assert "No text of this product is approved for printing." in page
    assert reverse("batches:label_texts", args=[formula.pk]) in page
    assert 'name="numbers"' not in page


@pytest.mark.django_db
def test_of_a_held_batch_the_pages_say_why_there_are_no_labels(
    browser: Client, crew: make.Crew, lot: FillingLot
) -> None:
    labelled.approved(crew, lot)
    make.sign(crew.reviewer, make.fresh(lot.batch), "hold")
    for name in ("quality:labels", "batches:filling_lot"):
        page = page_of(browser, name, lot.code)
        assert f"Batch {lot.batch.number} is on hold." in page
        assert 'name="numbers"' not in page
        assert "Issue labels</a>" not in page


@pytest.mark.django_db
def test_an_address_that_only_this_computer_opens_is_warned_of(
    browser: Client, crew: make.Crew, lot: FillingLot, settings: Settings
) -> None:
    settings.PUBLIC_URL = "http://127.0.0.1:8000"
    labelled.approved(crew, lot)
    warning = "which only this computer can open"
    for name in ("quality:labels", "batches:filling_lot"):
        assert warning in page_of(browser, name, lot.code)
    said = sent(browser, "quality:labels", lot.code, **issue_form(lot))
    assert f"Their codes say http://127.0.0.1:8000, {warning}" in said
    settings.PUBLIC_URL = PUBLIC_URL
    row = LabelIssue.objects.get()
    assert "it is not the same" in page_of(
        browser, "batches:label_issue", lot.code, row.pk
    )


@pytest.mark.django_db
def test_a_text_that_fits_no_more_is_said_and_not_cut_off(
    browser: Client, crew: make.Crew, lot: FillingLot, monkeypatch: pytest.MonkeyPatch
) -> None:
    row = labelled.issued(crew, lot, [1])
    # As if the type of this computer had become wider since.
    longer = dataclasses.replace(
        labelling.text_of(row), directions="Use it sparingly. " * 150
    )
    monkeypatch.setattr(labelling, "text_of", lambda _: longer)
    address = reverse("batches:label_issue_pdf", args=[lot.code, row.pk])
    assert (
        "does not fit on a label" in browser.get(address, follow=True).content.decode()
    )


# ------------------------------------------------------------------ class and doses


def lets(monkeypatch: pytest.MonkeyPatch, percent: str, question: str) -> None:
    """Let the content be this, with a question or none."""
    content = SoapContent(percent=Decimal(percent), sentence="")
    monkeypatch.setattr(label_bands, "soap_content_of", lambda _: content)
    found = dosing.content_of

    def asked(worked_out: Any, lowest: Any) -> dosing.Content:
        return dataclasses.replace(found(worked_out, lowest), question=question)

    monkeypatch.setattr(dosing, "content_of", asked)


@pytest.mark.django_db
def test_where_nothing_is_in_question_no_class_is_asked_for(
    browser: Client,
    crew: make.Crew,
    lot: FillingLot,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    lets(monkeypatch, "18.4", "")
    labelled.approved(crew, lot)
    assert 'name="band"' not in page_of(browser, "quality:labels", lot.code)
    sent(browser, "quality:labels", lot.code, **issue_form(lot))
    assert LabelIssue.objects.get().band == BANDS[2]


@pytest.mark.django_db
def test_where_the_uncertainty_crosses_an_edge_the_maker_must_choose(
    browser: Client,
    crew: make.Crew,
    lot: FillingLot,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    lets(monkeypatch, "14.8", f"“{BANDS[1]}” or “{BANDS[2]}”: which?")
    labelled.approved(crew, lot)
    page = page_of(browser, "quality:labels", lot.code)
    assert page.count('name="band"') == 2
    assert "checked" not in page
    form = issue_form(lot)
    assert "This is needed." in sent(browser, "quality:labels", lot.code, **form)
    form["band"] = BANDS[2]
    refused = sent(browser, "quality:labels", lot.code, **form)
    assert "Say why the label carries a class that was not reckoned." in refused
    form["band_reason"] = "the paste was weighed wet"
    said = sent(browser, "quality:labels", lot.code, **form)
    assert f"chosen instead of {BANDS[1]}: the paste was weighed wet" in said
    assert LabelIssue.objects.get().band == BANDS[2]


@pytest.mark.django_db
def test_doses_on_the_label_are_those_of_this_very_batch(
    browser: Client, crew: make.Crew, lot: FillingLot
) -> None:
    labelled.approved(crew, lot, doses=True)
    rows = dose_table(lot.batch)
    assert doses_of(lot) == [(row.word, row.ml) for row in rows]
    assert len(rows) == 3
    said = sent(browser, "quality:labels", lot.code, **issue_form(lot, numbers="1"))
    words = words_of(pdf_of(browser, LabelIssue.objects.get()))
    for row in rows:
        assert f"{row.word} water {row.ml} ml" in said
        assert f"{row.ml} ml" in words


HOLDS = "A dose is more than a bottle holds."


@pytest.mark.django_db
def test_a_dose_larger_than_the_bottle_is_warned_of_with_both_and_not_refused(
    browser: Client, crew: make.Crew
) -> None:
    lot = make.filled(crew, count=2, nominal_ul=20_000)
    labelled.approved(crew, lot, doses=True, directions="With 25 ml for a load.")
    rows = dose_table(lot.batch)
    assert all(row.ml > 20 for row in rows)
    table = ", ".join(f"{row.ml} ml for {row.word} water" for row in rows)
    warned = f"prints {table}, 25 ml in the directions; a bottle has a nominal"
    shown = page_of(browser, "quality:labels", lot.code)
    assert f"{HOLDS}</strong> The English text {warned} quantity of 20 ml." in shown
    said = sent(browser, "quality:labels", lot.code, **issue_form(lot, numbers="1-2"))
    assert f"{HOLDS}</strong> These labels print {table}, 25 ml in the" in said
    assert LabelIssue.objects.count() == 1


@pytest.mark.django_db
def test_a_dose_that_the_bottle_holds_is_not_warned_of(
    browser: Client, crew: make.Crew
) -> None:
    lot = make.filled(crew, count=2, nominal_ul=250_000)
    labelled.approved(crew, lot, doses=True, directions="With 250 ml for a load.")
    assert max(row.ml for row in dose_table(lot.batch)) <= 250
    assert HOLDS not in page_of(browser, "quality:labels", lot.code)
    row = labelled.issued(crew, lot, doses=doses_of(lot))
    assert HOLDS not in page_of(browser, "batches:label_issue", lot.code, row.pk)


@pytest.mark.django_db
def test_a_text_without_the_table_is_not_warned_of_for_the_table(
    browser: Client, crew: make.Crew
) -> None:
    lot = make.filled(crew, count=2, nominal_ul=20_000)
    labelled.approved(crew, lot, directions="Use 500 ml of water for silk.")
    assert HOLDS not in page_of(browser, "quality:labels", lot.code)


# ------------------------------------------------------------------ counting


@pytest.mark.django_db
def test_labels_are_counted_on_pages_until_the_count_closes(
    browser: Client, crew: make.Crew, lot: FillingLot
) -> None:
    labelled.issued(crew, lot)
    page = page_of(browser, "batches:label_count", lot.code)
    assert "12 of 12 labels are not accounted for." in page
    assert 'name="count"' in page
    assert not re.search(
        r'name="count"[^>]*value=', page
    )  # a result is never prefilled
    said = sent(browser, "batches:label_count", lot.code, kind="applied", count="11")
    assert "1 of 12 labels is not accounted for." in said
    assert "The count of labels is open." in said
    row = LabelCount.objects.get()
    said = sent(
        browser,
        "batches:label_count_amend",
        lot.code,
        row.pk,
        count="12",
        reason="one behind the crate",
    )
    assert "The count of labels closes." in said
    assert "All 12 labels are accounted for." in said
    assert "corrected from 11: one behind the crate" in said
    new = LabelCount.objects.current().get()
    said = sent(
        browser, "batches:label_count_void", lot.code, new.pk, reason="another lot's"
    )
    assert "12 of 12 labels are not accounted for." in said


@pytest.mark.django_db
def test_who_may_not_count_sees_the_state_and_no_way_to_change_it(
    crew: make.Crew, lot: FillingLot
) -> None:
    labelled.closed(crew, lot)
    client = Client()
    client.force_login(crew.reviewer)
    page = page_of(client, "batches:filling_lot", lot.code)
    assert "All 12 labels are accounted for." in page
    assert reverse("batches:label_count", args=[lot.code]) not in page
    assert "Take back" not in page


# ------------------------------------------------------------------ numbers as typed


@pytest.mark.parametrize(
    ("typed", "numbers"),
    [
        ("1-3", [1, 2, 3]),
        ("3 – 5; 1", [1, 3, 4, 5]),
        (" 7\n8,8 ", [7, 8]),
        ("", []),
    ],
)
def test_numbers_are_typed_as_people_write_them(typed: str, numbers: list[int]) -> None:
    assert numbers_in(typed, most=12) == numbers


@pytest.mark.parametrize("typed", ["0", "13", "5-3", "1-13", "x", "1--2", "-1", "1.5"])
def test_what_is_no_bottle_of_the_lot_is_named(typed: str) -> None:
    with pytest.raises(ValidationError, match="is no bottle of this lot"):
        numbers_in(typed, most=12)


@given(st.sets(st.integers(min_value=1, max_value=5000)))
def test_numbers_written_are_the_numbers_read(numbers: set[int]) -> None:
    assert numbers_in(as_spans(numbers), most=5000) == sorted(numbers)


# ------------------------------------------------------------------ prints


@pytest.mark.django_db
def test_markup_in_a_name_is_printed_as_it_was_typed(
    browser: Client, crew: make.Crew, lot: FillingLot
) -> None:
    Premises.objects.update(name="<b>Beck</b> & <img src='https://evil.example/x'>")
    words = words_of(pdf_of(browser, labelled.issued(crew, lot, [1])))
    assert "<b>Beck</b> &" in words


@pytest.mark.django_db
def test_a_print_fetches_nothing(
    browser: Client, crew: make.Crew, lot: FillingLot, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[str] = []

    def noted(url: str, *_: object, **__: object) -> None:
        asked.append(url)
        raise ValueError(url)

    monkeypatch.setattr(prints, "refuse_to_fetch", noted)
    pdf_of(browser, labelled.issued(crew, lot, [1]))
    assert asked == []


@pytest.mark.parametrize(
    "url", ["https://evil.example/", "file:///etc/passwd", "data:text/css,p{}"]
)
def test_whatever_a_print_asks_for_is_refused(url: str) -> None:
    with pytest.raises(ValueError, match=re.escape(url)):
        prints.refuse_to_fetch(url)
