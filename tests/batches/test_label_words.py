"""The fixed words: each language says all of them, and a date is never misread."""

from __future__ import annotations

import dataclasses
import datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batches.chemistry.dilution import CONTENTS_BANDS
from batches.claims import hazard_words, pest_words, unsupported_claims
from batches.label_words import (
    LANGUAGES,
    Words,
    band_in,
    contents_in,
    day_in,
    signal_in,
    volume_in,
    words_in,
)
from batches.models import Language
from producer.quantities import parse_volume

PHRASES = [
    field.name
    for field in dataclasses.fields(Words)
    if field.name not in {"months", "decimal_mark"}
]
# The same word in both languages is no forgotten one.
THE_SAME: set[str] = set()


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_phrase_is_said_in_every_language(language: str) -> None:
    words = dataclasses.asdict(words_in(language))
    assert words["language"] == language
    for name in PHRASES:
        said = words[name]
        parts = said if isinstance(said, tuple) else (said,)
        assert parts, name
        assert all(part.strip() == part != "" for part in parts), name


def test_no_phrase_was_left_in_english() -> None:
    english, german = words_in("en"), words_in("de")
    same = {name for name in PHRASES if getattr(english, name) == getattr(german, name)}
    assert same == THE_SAME
    for name in ("cautions", "spray_cautions", "bands"):
        assert len(getattr(english, name)) == len(getattr(german, name))


def test_the_tables_take_the_languages_we_have_words_in() -> None:
    assert dict(Language.choices) == dict(LANGUAGES)


@pytest.mark.parametrize(
    ("asked", "given"),
    [("de", "de"), ("DE-ch", "de"), ("en-GB", "en"), ("fr", "en"), ("", "en")],
)
def test_a_language_we_do_not_have_falls_back_to_english(
    asked: str, given: str
) -> None:
    assert words_in(asked).language == given


@given(st.dates(), st.sampled_from(sorted(LANGUAGES)))
def test_a_day_is_written_so_that_it_can_be_read_back_in_one_way_only(
    date: datetime.date, language: str
) -> None:
    number, month, year = day_in(date, language).split(" ")
    months = words_in(language).months
    assert len(set(months)) == 12
    assert not any(character.isdigit() for character in month)
    assert len(year) == 4
    read = datetime.date(int(year), months.index(month) + 1, int(number.rstrip(".")))
    assert read == date


@given(st.integers(1, 100_000_000), st.sampled_from(sorted(LANGUAGES)))
def test_a_volume_is_exact_with_the_mark_of_its_language(
    ul: int, language: str
) -> None:
    shown = volume_in(ul, language)
    other = "," if language == "en" else "."
    assert other not in shown
    if "µl" not in shown and shown.count(".") + shown.count(",") == 0:
        assert parse_volume(shown) == ul
    assert volume_in(ul, "de").replace(",", ".") == volume_in(ul, "en")


def test_the_classes_of_contents_are_those_of_the_regulation() -> None:
    """Regulation (EC) 648/2004, Annex VII A; German: gesetze.legal (second hand)."""
    english = [band_in(band.wording, "en") for band in CONTENTS_BANDS]
    assert english == [band.wording for band in CONTENTS_BANDS]
    assert [band_in(band.wording, "de") for band in CONTENTS_BANDS] == [
        "unter 5 %",
        "5 % und darüber, jedoch weniger als 15 %",
        "15 % und darüber, jedoch weniger als 30 %",
        "30 % und darüber",
    ]
    assert contents_in("less than 5 %", "de") == "unter 5 % Seife"
    with pytest.raises(ValueError, match="no class"):
        band_in("about 10 %", "de")


def test_the_signal_words_are_those_of_the_regulation() -> None:
    """Regulation (EC) 1272/2008; German: nufarm-produktprogramm.at (second hand)."""
    assert [signal_in(one, "en") for one in ("none", "warning", "danger")] == [
        "",
        "Warning",
        "Danger",
    ]
    assert [signal_in(one, "de") for one in ("warning", "danger")] == [
        "Achtung",
        "Gefahr",
    ]
    with pytest.raises(ValueError, match="no signal word"):
        signal_in("attention", "en")


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_usual_words_of_a_wash_claim_nothing_themselves(language: str) -> None:
    words = words_in(language)
    usual = " ".join((*words.cautions, words.cautions_title, words.directions))
    assert pest_words(usual) == unsupported_claims(usual) == hazard_words(usual) == []
