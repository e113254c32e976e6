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


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("It protects your plants", "protects your plants"),
        ("protection for young roses", "protection for young roses"),
        ("Protects the leaves", "Protects the leaves"),
        ("So your plants stay protected", "plants stay protected"),
        ("Keeps your roses free from them", "Keeps your roses free"),
        ("keeps house-plants healthy", "keeps house-plants healthy"),
        ("for healthy plants", "healthy plants"),
        ("strengthens your tomatoes", "strengthens your tomatoes"),
        ("plant care", "plant care"),
        ("Gets rid of what sucks sap", "Gets rid of"),
        ("Rids your garden of what crawls", "Rids your garden of"),
        ("Drives away what crawls", "Drives away"),
        ("drives them away", "drives them away"),
        ("keeps flies away", "keeps flies away"),
        ("wards off flies", "wards off"),
        ("repels flies", "repels"),
        ("deters cats", "deters"),
        ("exterminates them", "exterminates"),
        ("critters", "critters"),
        ("unwanted guests", "unwanted guests"),
        ("Es schützt Ihre Pflanzen", "schützt Ihre Pflanzen"),
        ("schuetzt Ihre Pflanzen", "schuetzt Ihre Pflanzen"),
        ("Damit Sie Ihre Pflanzen schützen", "Pflanzen schützen"),
        ("Zum Schutz Ihrer Rosen", "Schutz Ihrer Rosen"),
        ("stärkt die Tomaten", "stärkt die Tomaten"),
        ("hält Pflanzen gesund", "hält Pflanzen gesund"),
        ("hält Ihre Rosen frei von allem", "hält Ihre Rosen frei"),
        ("was Rosen gesund erhält", "Rosen gesund erhält"),
        ("für gesunde Pflanzen", "gesunde Pflanzen"),
        ("Pflanzenpflege", "Pflanzenpflege"),
        ("Es vertreibt Spinnen", "vertreibt"),
        ("hält Fliegen fern", "hält Fliegen fern"),
        ("So werden Sie die Biester los", "werden Sie die Biester los"),
        ("gegen Läuse", "Läuse"),
        ("gegen Befall", "gegen Befall"),
        ("gegen Plagegeister", "Plagegeister"),
        ("pro-\ntects your roses", "pro-\ntects your roses"),
    ],
)
def test_what_is_said_of_plants_and_of_ridding_is_a_claim(
    text: str, found: str
) -> None:
    assert pest_words(f"Soap. {text}.") == [found]


@pytest.mark.parametrize(
    "text",
    [
        "It protects your hands",
        "Protects garden furniture",
        "Protects colours and leaves them soft",
        "Gloves protect your hands. Plants and ponds are no place for it",
        "It keeps. Not for plants. Rinse until clear",
        "Keep away from plants and free of frost",
        "Keep children away",
        "Keep for two years away from light",
        "Gets rid of grease",
        "Get rid of stubborn, burnt-in grease",
        "Get rid of the empty bottle as your place says",
        "Rids your hands of tar",
        "Drives away smells",
        "keeps dirt away",
        "repels water",
        "A detergent",
        "eradicates stains",
        "schützt die Hände",
        "Schützen Sie Ihre Augen. Pflanzen nicht begießen",
        "Augenschutz tragen; Blüten nicht benetzen",
        "hält zwei Jahre",
        "Kalt halten. Gesund und frei",
        "vertreibt Gerüche",
        "vertreibt Gerueche",
        "hergestellt und vertrieben von Hof Hohlbach",
        "hält Schmutz fern",
        "hält Kinder fern",
        "Von Kindern fernhalten",
        "So werden Sie Fett los",
        "Damit werden Sie hartnäckige Flecken los",
        "gegen Fett",
        "Gegen Flecken und Staub",
        "Wolle spinnen",
    ],
)
def test_what_is_said_of_hands_and_of_dirt_is_none(text: str) -> None:
    assert pest_words(f"Soap. {text}.") == []


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
        "safe for pets",
        "safe for your children",
        "safe around kids",
        "safe for you and the dog",
        "pet-safe",
        "child-safe",
        "gentle on hands",
        "good for your health",
        "sicher für Kinder",
        "für Kinder und Haustiere geeignet",
        "ungefährlich",
        "kinderfreundlich",
        "haustierfreundlich",
        "gut für die Haut",
        "mild zu den Händen",
        "pflegt Ihre Hände",
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
        "Not safe for children.",
        "Keep it safe from children.",
        "Keep it safe. For children it is no toy.",
        "Keep it in a child-safe cupboard.",
        "Protects your hands.",
        "Kindersicher aufbewahren.",
        "Nicht für Kinder geeignet. Nicht gut für die Haut.",
        "Für Kinder unerreichbar und sicher aufbewahren.",
        "Nicht ungefährlich.",
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
