"""What stood on the label of a bottle is said on its public page, in the right words.

The class of contents is that of the label printed last for this very bottle; a hazard
block says in which language it is, or nothing where nobody knows.
"""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from batches.label_words import contents_in, words_in
from batches.models import FillingLot
from batches.services import label_bands, label_texts, scans
from tests import label_texts as texts
from tests import labelled, make
from tests.doors.pages import Page
from tests.scanned import seen

pytestmark = [pytest.mark.django_db, pytest.mark.any_engine]


@pytest.fixture(autouse=True)
def _nothing_waits() -> Iterator[None]:
    scans.forget()
    yield
    scans.forget()


@pytest.fixture
def lot(crew: make.Crew) -> FillingLot:
    return make.filled(crew, count=3, nominal_ul=50_000)


# ------------------------------------------------------------------ class of contents


@pytest.mark.parametrize("language", ["en", "de"])
def test_the_class_of_contents_on_the_label_is_on_the_page_in_its_language(
    crew: make.Crew, lot: FillingLot, language: str
) -> None:
    row = labelled.issued(crew, lot, [1, 2])
    assert row.band
    first, _, third = make.bottles_of(lot)
    name, said = words_in(language).contents, contents_in(row.band, language)
    page = seen(first.code, data={"lang": language})
    assert f"{name} {said}" in page.words
    # Without a label of its own a bottle says nothing of it.
    assert name not in seen(third.code, data={"lang": language}).words


def test_of_a_label_printed_again_the_newer_class_counts_and_only_for_its_bottle(
    crew: make.Crew, lot: FillingLot
) -> None:
    labelled.issued(crew, lot)
    bands = label_bands.bands_of(lot)
    other = next(one for one in bands.choices if one != bands.reckoned)
    labelled.issued(
        crew, lot, [1], band=other, band_reason="weighed wet", reason="wrong class"
    )
    first, second, _ = make.bottles_of(lot)
    said = [
        contents_in(band, "en") in seen(bottle.code).words
        for bottle in (first, second)
        for band in (bands.reckoned, other)
    ]
    assert said == [False, True, True, False]


def test_a_spray_has_no_class_of_contents(crew: make.Crew) -> None:
    batch = make.released_liquid(crew, make.spray_version(crew))
    spray = make.filled(crew, batch)
    row = labelled.issued(crew, spray, band="")
    assert row.band == ""
    words = seen(make.bottles_of(spray)[0].code).words
    assert words_in("en").contents not in words


# ------------------------------------------------------------------ hazard block


def languages_of(page: Page) -> list[str]:
    """Return what each “lang” on the page says, but those of the choice of language."""
    return [
        tag["lang"]
        for name in ("h2", "p")
        for tag in page.attributes(name)
        if "lang" in tag
    ]


def test_statements_whose_language_nobody_said_claim_none(
    crew: make.Crew, lot: FillingLot
) -> None:
    texts.classified(crew, lot.batch.formula_version.formula)
    code = make.bottles_of(lot)[0].code
    for language, signal in (("en", "Danger"), ("de", "Gefahr")):
        page = seen(code, data={"lang": language})
        assert signal in page.words
        assert texts.EYE_DAMAGE in page.words
        assert texts.AUGEN in page.words
        assert languages_of(page) == []


def test_statements_that_a_text_took_are_in_its_language_when_it_is_withdrawn(
    crew: make.Crew, lot: FillingLot
) -> None:
    formula = lot.batch.formula_version.formula
    english, german = texts.classified(crew, formula)
    for language, block in (("en", english), ("de", german)):
        label = texts.approved(crew, formula, language, classification=block)
        label_texts.withdraw(by=crew.reviewer, label=label, reason="wrong dose")
    code = make.bottles_of(lot)[0].code
    for language, other in (("en", "de"), ("de", "en")):
        page = seen(code, data={"lang": language})
        assert texts.AUGEN in page.words
        assert languages_of(page) == [other]


def test_statements_that_texts_of_two_languages_took_are_in_neither_for_certain(
    crew: make.Crew, lot: FillingLot
) -> None:
    formula = lot.batch.formula_version.formula
    english, _ = texts.classified(crew, formula)
    for language in ("en", "de"):
        label = texts.approved(crew, formula, language, classification=english)
        label_texts.withdraw(by=crew.reviewer, label=label, reason="wrong dose")
    code = make.bottles_of(lot)[0].code
    for language in ("en", "de"):
        assert languages_of(seen(code, data={"lang": language})) == []


def test_the_block_of_a_text_in_another_language_is_marked_as_such(
    crew: make.Crew, lot: FillingLot
) -> None:
    formula = lot.batch.formula_version.formula
    _, german = texts.classified(crew, formula)
    texts.approved(crew, formula, "de", classification=german, directions="")
    code = make.bottles_of(lot)[0].code
    assert languages_of(seen(code, data={"lang": "en"})) == ["de", "de"]
    assert languages_of(seen(code, data={"lang": "de"})) == []
