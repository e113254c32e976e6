"""A label text on the screen at true size."""

from __future__ import annotations

import contextlib

import pytest
from django.test import Client
from django.urls import reverse
from django.utils.http import urlencode

from batches.documents.labels import LabelText, check_fit
from batches.documents.labels.examples import example_of
from batches.label_words import contents_in
from batches.models import LabelVersion
from batches.sheets import USUAL, Sheet, in_mm
from batches.views import proofs
from producer.errors import Refusal
from tests import label_texts, labelled, make

pytestmark = [pytest.mark.django_db, pytest.mark.any_engine]


@pytest.fixture
def label(crew: make.Crew) -> LabelVersion:
    return label_texts.written(crew, cautions="Slippery on a wet floor.", doses=True)


@pytest.fixture
def browser(crew: make.Crew) -> Client:
    client = Client()
    client.force_login(crew.maker)
    return client


def asked(name: str, label: LabelVersion, **query: str) -> str:
    return f"{reverse(name, args=[label.pk])}?{urlencode(query)}"


def test_the_page_shows_the_picture_of_the_sheet_that_was_chosen(
    browser: Client, label: LabelVersion
) -> None:
    sheet = USUAL[3]
    page = browser.get(asked("batches:label_proof", label, sheet=sheet.name))
    html = page.content.decode()
    assert asked("batches:label_proof_picture", label, sheet=sheet.name) in html
    assert all(one.name in html for one in USUAL)
    assert "50 mm" in html
    picture = browser.get(asked("batches:label_proof_picture", label, sheet=sheet.name))
    assert picture.headers["Content-Type"] == "image/svg+xml"
    assert b'width="100mm" height="60mm"' in picture.content


def test_the_picture_of_a_specimen_is_another(
    browser: Client, label: LabelVersion
) -> None:
    name, sheet = "batches:label_proof_picture", USUAL[1].name
    plain = browser.get(asked(name, label, sheet=sheet)).content
    specimen = browser.get(asked(name, label, sheet=sheet, specimen="1")).content
    assert plain != specimen


def test_a_text_that_does_not_fit_is_told_so_and_has_no_picture(
    browser: Client, crew: make.Crew
) -> None:
    long = label_texts.written(crew, directions="Rinse the cloth well. " * 40)
    page = browser.get(asked("batches:label_proof", long, sheet=USUAL[0].name))
    assert "does not fit on a label of 70 × 37 mm" in page.content.decode()
    assert "proof.svg" not in page.content.decode()
    picture = asked("batches:label_proof_picture", long, sheet=USUAL[0].name)
    assert browser.get(picture).status_code == 404


def test_without_a_sheet_the_first_that_fits_is_shown_and_which_do_not_is_said(
    browser: Client, crew: make.Crew
) -> None:
    short = label_texts.written(crew)
    assert text_fits(short) == USUAL
    page = browser.get(asked("batches:label_proof", short))
    assert page.context["sheet"] == USUAL[0]
    assert "does not fit" not in page.content.decode()

    long = label_texts.written(crew, directions="Rinse it. " * 40, reason="longer")
    fitting = text_fits(long)
    assert USUAL[0] not in fitting
    assert fitting
    page = browser.get(asked("batches:label_proof", long))
    assert page.context["sheet"] == fitting[0]
    words = " ".join(page.content.decode().split())
    assert f"The text does not fit on “{USUAL[0].name}”. This is the first" in words
    assert f'<option value="{fitting[0].name}" selected>' in words
    width = f'width="{in_mm(fitting[0].width)}mm"'
    picture = browser.get(asked("batches:label_proof_picture", long))
    assert width in picture.content.decode()


def test_no_more_formats_are_laid_out_than_up_to_the_first_that_fits(
    browser: Client, label: LabelVersion, monkeypatch: pytest.MonkeyPatch
) -> None:
    tried: list[Sheet] = []

    def only_letter(_: LabelText, sheet: Sheet) -> float:
        tried.append(sheet)
        if sheet != USUAL[2]:
            raise Refusal("No room.")
        return 7.0

    monkeypatch.setattr(proofs, "check_fit", only_letter)
    page = browser.get(asked("batches:label_proof", label))
    assert page.context["sheet"] == USUAL[2]
    assert tried == [*USUAL[:3]]
    assert [one.on_a_page for one in tried] == [24, 10, 10]


def test_ones_own_format_is_opened_only_where_no_usual_one_will_do(
    browser: Client,
    crew: make.Crew,
    label: LabelVersion,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    own = labelled.own_format(crew)

    def none_but(*fitting: str) -> None:
        def fits(_: LabelText, sheet: Sheet) -> float:
            if sheet.name not in fitting:
                raise Refusal(f"No room on {sheet.name}.")
            return 7.0

        monkeypatch.setattr(proofs, "check_fit", fits)

    none_but(own.name, USUAL[3].name)
    assert browser.get(asked("batches:label_proof", label)).context["sheet"] == USUAL[3]
    none_but(own.name)
    shown = browser.get(asked("batches:label_proof", label)).context["sheet"]
    assert shown.name == own.name
    none_but()
    words = browser.get(asked("batches:label_proof", label)).content.decode()
    assert f"No room on {USUAL[3].name}." in words  # the largest of them
    assert "There is no other format" in words
    assert all(one.name in words for one in USUAL)


def text_fits(label: LabelVersion) -> tuple[Sheet, ...]:
    """Return the usual sheets that a text fits on, by laying out each."""
    found = []
    for sheet in USUAL:
        with contextlib.suppress(Refusal):
            check_fit(example_of(label), sheet)
            found.append(sheet)
    return tuple(found)


@pytest.mark.parametrize("name", ["label_proof", "label_proof_picture"])
def test_a_sheet_that_there_is_not_is_not_found(
    browser: Client, label: LabelVersion, name: str
) -> None:
    assert browser.get(asked(f"batches:{name}", label, sheet="x")).status_code == 404


def test_the_example_has_the_longest_class_of_contents_and_what_was_written(
    label: LabelVersion,
) -> None:
    text = example_of(label)
    assert text.contents == contents_in("15 % or over but less than 30 %", "en")
    assert (text.net, text.net_ul) == ("500 ml", 500_000)
    assert text.cautions == "Slippery on a wet floor."
    assert [water for water, _ in text.doses] == ["soft", "medium", "hard"]


def test_the_example_has_the_quantity_that_was_filled_last(crew: make.Crew) -> None:
    lot = make.filled(crew, count=2, nominal_ul=50_000)
    label = label_texts.written(crew, lot.batch.formula_version.formula)
    assert example_of(label).net == "50 ml"
