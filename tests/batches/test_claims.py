"""Claims are found however they are typed, and harmless words are left alone."""

from __future__ import annotations

import unicodedata
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batches.claims import hazard_words, pest_words, unsupported_claims

PESTS = [
    "aphids",
    "pest",
    "pests",
    "insects",
    "insecticide",
    "pesticides",
    "mites",
    "whitefly",
    "whiteflies",
    "greenfly",
    "thrips",
    "kills",
    "Blattläuse",
    "Blattlaus",
    "Läuse",
    "Schädling",
    "Schädlinge",
    "Schädlingsbekämpfung",
    "Ungeziefer",
    "Milben",
    "Spinnmilben",
    "Pflanzenschutz",
    "Pflanzenschutzmittel",
    "insektizid",
    "Wanzen",
    "Motten",
    "Mottenschutz",
    "Mehltau",
    "tötet",
    "weeds",
    "moths",
    "bacteria",
    "desinfiziert",
]
HARMLESS = [
    "Biodegradable, and important for pesto stains",
    "Hand-made with sunflower oil and wheat germ oil",
    "Water-repellent coats: wash them apart",
    "Fruit stains: soak first. For pants and elephants",
    "Not in sun. Acids and placid, lucid words",
    "Spray it on the garden furniture",
    "Spray it on the floor and wipe",
    "Klamotten, Weizenkeimöl, Klauseln, Häuser",
    "Mit 30 ml je Ladung. Für Zwecke im Haus. Schwänze",
    "Ärztlichen Rat einholen. Bei 5 m Abstand",
    "Pastellfarben, Pestobeutel, Amiens, Motto",
    "Made by hand. Skillet, skills, overkillian",
]
DISGUISES: dict[str, Callable[[str], str]] = {
    "capitals": str.upper,
    "decomposed": lambda word: unicodedata.normalize("NFD", word),
    "full width": lambda word: "".join(
        chr(ord(c) + 0xFEE0) if "!" <= c <= "~" else c for c in word
    ),
    "soft hyphen": lambda word: word[:2] + "\u00ad" + word[2:],
    "zero width": "\u200b".join,
    "hyphen": lambda word: word[:2] + "-" + word[2:],
    "hyphen at the end of a line": lambda word: word[:2] + "-\n" + word[2:],
    "spaced apart": " ".join,
    "with points": ".".join,
    "Cyrillic": lambda word: word.translate(str.maketrans("aeopcxiA", "аеорсхіА")),
    "Greek": lambda word: word.translate(str.maketrans("aiopt", "αιορτ")),
    "digits": lambda word: word.translate(str.maketrans("oie", "013")),
    "ae for ä": lambda word: word.replace("ä", "ae").replace("ö", "oe"),
    "without dots": lambda word: word.replace("ä", "a").replace("ö", "o"),
    "in quotes": lambda word: f"“{word}”",
}


@pytest.mark.parametrize("word", PESTS)
def test_a_word_against_pests_is_found(word: str) -> None:
    assert pest_words(f"Soap, {word} too.") == [word]


@pytest.mark.parametrize("text", HARMLESS)
def test_words_that_only_look_like_it_are_left_alone(text: str) -> None:
    assert pest_words(text) == []


@pytest.mark.parametrize("disguise", DISGUISES)
@pytest.mark.parametrize("word", ["aphids", "pesticide", "Blattläuse", "tötet"])
def test_it_is_found_in_every_disguise(word: str, disguise: str) -> None:
    assert pest_words(f"Soap. {DISGUISES[disguise](word)}, and more")


@pytest.mark.parametrize(
    "text",
    [
        "Spray your roses with it",
        "Plants: spray them in the evening",
        "Die Pflanzen damit besprühen",
        "Auf die Blätter spritzen",
        "Gegen weiße Fliegen",
        "gegen die Weisse Fliege",
        "the white fly",
        "plant protection",
        "for crop-protection",
    ],
)
def test_several_words_together_are_a_claim(text: str) -> None:
    assert pest_words(text)


def test_spraying_and_plants_far_apart_are_none() -> None:
    far = "Spray it onto the stain, wait for ten minutes, then wash as usual. Plants"
    assert pest_words(far) == []


def test_what_is_found_is_in_the_order_of_the_text_and_each_place_once() -> None:
    assert pest_words("Kills mites; kills Milben.") == [
        "Kills",
        "mites",
        "kills",
        "Milben",
    ]


@given(st.text())
def test_what_is_found_stands_in_the_text_as_it_is_given_back(text: str) -> None:
    for find in (pest_words, unsupported_claims, hazard_words):
        for found in find(text):
            assert found
            assert found in text


@given(
    st.text(alphabet=" \n.,;:!?()"),
    st.sampled_from(PESTS),
    st.text(alphabet=" \n.,;:!?()"),
)
def test_a_pest_is_found_between_whatever_stands_around_it(
    before: str, word: str, after: str
) -> None:
    assert pest_words(before + word + after) == [word]


@given(st.sampled_from(PESTS), st.lists(st.sampled_from("\u00ad\u200b\u200d\u2060")))
def test_invisible_characters_hide_nothing(word: str, hidden: list[str]) -> None:
    assert pest_words(word[:1] + "".join(hidden) + word[1:])


@pytest.mark.parametrize(
    "claim",
    [
        "compliant",
        "EU-compliant",
        "certified",
        "natural pesticide",
        "safe for bees",
        "Safe for the bees",
        "bee-friendly",
        "skin-friendly",
        "kind to your skin",
        "non-toxic",
        "hautfreundlich",
        "haut-freundlich",
        "bienenfreundlich",
        "zertifiziert",
        "normkonform",
        "ungiftig",
        "dermatologisch getestet",
        "environmentally friendly",
    ],
)
def test_a_promise_nobody_can_answer_for_is_found(claim: str) -> None:
    assert unsupported_claims(f"A soap that is {claim}, and wet.")


@pytest.mark.parametrize(
    "text",
    [
        "Not when bees fly. Not for skin.",
        "Keep it safe from frost. Complies.",
        "Rinse the skin with water.",
        "Nicht für Haut und Haare. Uniform, Konfitüre",
    ],
)
def test_a_caution_is_no_promise(text: str) -> None:
    assert unsupported_claims(text) == []


@pytest.mark.parametrize(
    "text",
    [
        "Danger",
        "DANGER!",
        "Wear gloves. Warning: slippery",
        "Achtung\nrutschig",
        "Gefahr.",
        "H318",
        "h318",
        "EUH208",
        "P305+P351+P338",
        "UFI: A1B2-C3D4",
        "Causes serious eye damage.",
        "Verursacht schwere Augenschäden.",
        "GHS05",
    ],
)
def test_words_of_a_hazard_class_are_found(text: str) -> None:
    assert hazard_words(text)


@pytest.mark.parametrize(
    "text",
    [
        "Auf eigene Gefahr.",
        "No danger of frost.",
        "Mind the warning on the tin.",
        "H2O and pH 9",
        "Keep it at 318 K",
        "PVC floors",
    ],
)
def test_ordinary_words_are_no_hazard_class(text: str) -> None:
    assert hazard_words(text) == []
