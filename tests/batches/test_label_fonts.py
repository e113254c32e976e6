"""A character that the label fonts lack: refused when written, drawn as a box."""

from __future__ import annotations

import dataclasses
import re
from typing import Any

import pypdfium2
import pytest
from django.test import Client
from django.urls import reverse

from batches import label_fonts
from batches.documents.labels import LabelText, pages_of, proof_svg
from batches.models import Classification, LabelIssue, LabelVersion
from batches.services import label_texts
from batches.sheets import USUAL, Placement
from producer.errors import Refusal
from producer.models import Premises
from tests import label_samples, labelled, leaving, make
from tests.label_texts import approved, classified, written

pytestmark = pytest.mark.any_engine

SOAP = "🧼 皂"
NAMED = "🧼, 皂"
ROLL = USUAL[3]


@pytest.fixture
def old(monkeypatch: pytest.MonkeyPatch) -> pytest.MonkeyPatch:
    """Return what lets a text through, as it was before anybody asked."""
    monkeypatch.setattr(label_fonts, "why_not", lambda _: "")
    return monkeypatch


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("field", "part"),
    [
        ("product_name", "the name on the label"),
        ("directions", "the directions"),
        ("cautions", "the further cautions"),
    ],
)
def test_a_text_with_a_character_that_no_label_can_show_is_not_written(
    crew: make.Crew, field: str, part: str
) -> None:
    words: dict[str, Any] = {"product_name": "Soap", field: f"Soap {SOAP}"}
    with pytest.raises(Refusal) as refusal:
        label_texts.write_label(
            by=crew.maker,
            formula=make.liquid_version(crew).formula,
            language="en",
            **words,
        )
    assert refusal.value.field == field
    assert refusal.value.message == (
        f"The label font has no sign for {NAMED} in {part}. Write it in other letters."
    )
    assert not LabelVersion.objects.exists()


@pytest.mark.django_db
def test_letters_signs_and_lines_that_a_label_can_show_are_written(
    crew: make.Crew,
) -> None:
    text = written(crew, product_name="Žluté mýdlo № 1", cautions="½ l · ≥ 30 °C\r\n✓")
    label_texts.approve(by=crew.reviewer, label=text)
    assert text.decisions.count() == 1


@pytest.mark.django_db
def test_a_class_with_such_a_character_is_not_recorded(crew: make.Crew) -> None:
    with pytest.raises(Refusal, match="皂 in the words of the class"):
        classified(crew, statements=["Causes 皂."])
    assert not Classification.objects.exists()


@pytest.mark.django_db
def test_an_old_text_with_such_a_character_is_not_approved(
    crew: make.Crew, old: pytest.MonkeyPatch
) -> None:
    text = written(crew, product_name=SOAP)
    old.undo()
    with pytest.raises(Refusal, match=f"no sign for {NAMED} in the name on the label"):
        label_texts.approve(by=crew.reviewer, label=text)
    assert not text.decisions.exists()


@pytest.mark.django_db
def test_nothing_is_approved_or_issued_while_the_address_cannot_be_printed(
    crew: make.Crew,
) -> None:
    lot = leaving.filled(crew)
    label = labelled.approved(crew, lot)
    before = LabelIssue.objects.count()
    Premises.objects.update(address="皂 Street 3\nUpper Wend")
    with pytest.raises(Refusal, match="皂 in the name, address or numbers of the prem"):
        labelled.issued(crew, lot, label=label, reason="the first was smeared")
    assert LabelIssue.objects.count() == before
    text = written(crew, language="de")
    with pytest.raises(Refusal, match="皂 in the name, address or numbers of the prem"):
        label_texts.approve(by=crew.reviewer, label=text)


@pytest.mark.django_db
def test_of_an_old_approved_text_nothing_is_issued_and_every_paper_is_drawn(
    crew: make.Crew, old: pytest.MonkeyPatch
) -> None:
    lot = leaving.filled(crew)
    formula = lot.batch.formula_version.formula
    anew = {"reason": "another name"}
    label = approved(crew, formula, product_name=f"Soap {SOAP}", **anew)
    issue = labelled.issued(crew, lot, [1], label=label, **anew)
    old.undo()
    with pytest.raises(Refusal, match=f"no sign for {NAMED} in this text"):
        labelled.issued(crew, lot, [2], label=label, **anew)
    browser = Client()
    browser.force_login(crew.reviewer)
    for name, *of in (
        ("batches:label_proof", label.pk),
        ("batches:label_proof_picture", label.pk),
        ("batches:label_issue_pdf", lot.code, issue.pk),
        ("quality:dossier", lot.batch.number),
    ):
        answer = browser.get(reverse(name, args=of))
        assert answer.status_code == 200, name
        assert answer.getvalue(), name


def test_what_the_fonts_lack_is_drawn_as_a_box_and_the_rest_as_it_is() -> None:
    text = dataclasses.replace(label_samples.ENGLISH, product_name=f"Soap {SOAP}")
    pdf = b"".join(pages_of(text, Placement(ROLL), label_samples.serials(1)))
    words = pypdfium2.PdfDocument(pdf)[0].get_textpage().get_text_range()
    assert "Soap ▯ ▯" in words
    assert proof_svg(text, ROLL, None).count("<use ") > 100


def drawn_of(text: LabelText) -> str:
    """Return what a proof draws, without its title and the names of what it draws."""
    svg = proof_svg(text, ROLL, None)
    return re.sub(r"(?:<title>.*?</title>)|(?:[A-Z]{6}-[0-9a-f]+)", "", svg)


def test_a_glyph_that_the_font_does_not_have_is_drawn_as_its_box(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Where nothing is known of the fonts, WeasyPrint numbers glyphs of its own."""
    monkeypatch.setattr(label_fonts, "boxed", lambda words: words)
    names = [
        dataclasses.replace(label_samples.ENGLISH, product_name=one) for one in "皂肥"
    ]
    soap, fat = (drawn_of(name) for name in names)
    assert soap == fat  # a box each, whatever it stands for
    assert soap != drawn_of(label_samples.ENGLISH)


def test_a_mark_above_a_letter_is_drawn_at_its_height() -> None:
    """A combining mark is set with a rise of text: an operator of its own."""
    text = dataclasses.replace(label_samples.ENGLISH, product_name="b\u0302")
    svg = proof_svg(text, ROLL, label_samples.serials(1)[0])
    drawn = re.findall(r"<use [^>]*matrix\(([^)]*)\)", svg)
    letter, mark = (float(place.split()[5]) for place in drawn[:2])
    assert mark > letter  # the picture is turned over: up is more


def test_without_the_fonts_nothing_is_written_and_it_says_what_to_install(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(label_fonts, "_known", lambda: None)
    assert "fonts-dejavu-core" in label_fonts.why_not({"the name": "Soap"})
    assert label_fonts.boxed("皂") == "皂"
