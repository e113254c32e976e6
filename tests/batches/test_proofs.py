"""A label text on the screen at true size."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse
from django.utils.http import urlencode

from batches.documents.labels.examples import example_of
from batches.label_words import contents_in
from batches.models import LabelVersion
from batches.sheets import USUAL
from tests import label_texts, make

pytestmark = pytest.mark.django_db


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
