r"""Find in a text for a label what must not stand on it, however it is typed.

Looked for in English and in German, whatever the language of the label: a word is a
claim in every language. The text is folded first: capitals, umlauts, ligatures, full
width and look-alike letters, hyphens, invisible characters and letters spaced apart
make no difference. What is found is given back as it stands in the text.

The lists are ours: common practice, no source. They are a net with meshes. Nobody
should take an empty answer for a legal opinion, and nothing here says so.

>>> pest_words("Wash for wool. Kills aph\u00adids at once.")
['Kills', 'aph\xadids']
>>> pest_words("Biodegradable, and important for pesto stains")
[]
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator
from typing import Final

# Letters that look like Latin ones, and letters that NFKD leaves whole. From memory;
# the whole table is that of Unicode Technical Standard 39.
_LOOKS_LIKE: Final = str.maketrans(
    "авсԁеԍһіјкӏмнорԛѕтуԝхґαβεικνορτυχγηωſıłøđħɑɡɩ",
    "abcdeghijklmhopqstywxrabeikvoptuxynwsilodhagi",
)
_DIGIT_LOOKS_LIKE: Final = {"0": "o", "1": "i", "3": "e", "5": "s"}
_JOINS: Final = frozenset("-‐‑‒–—―−_·•'’`´")

# Whole words. An umlaut stands for itself, for its bare vowel and for ae, oe, ue.
_PEST_WORDS: Final = (
    # what is to be harmed, English
    r"aphids?|aphicid\w*|pests?|pestfree|antipests?|\w*insect\w*|mites?|spidermites?",
    r"ants?|bugs?|bedbugs?|mealybugs?|lice|louse|whitefl(?:y|ies)|greenfl(?:y|ies)",
    r"blackfl(?:y|ies)|fruitfl(?:y|ies)|gnats?|thrips\w*|caterpillars?|slugs?|snails?",
    r"beetles?|moths?|fleas?|ticks|mosquito(?:e?s)?|wasps?|\w*cockroach\w*|weevils?",
    r"larvae?|nematodes?|vermin|rodents?|infest\w*|weeds?|weedkill\w*|sawfl(?:y|ies)",
    r"germs|germfree|bacteri\w*|antibacteri\w*|microb\w*|antimicrob\w*|virus\w*|fung(?:i|us)",
    r"antifungal|mildew\w*|powderymildew|mou?lds?|antimou?ld",
    # what is to be harmed, German
    r"\w*(?:blatt|schild|woll|schmier|kopf|wurzel|reb)l(?:aus|äuse)\w*|laus|läuse\w*",
    r"\w*schädling\w*|\w*ungeziefer\w*|\w*insekt\w*|\w*milben?\w*|ameisen?\w*",
    r"(?:\w*(?<!sch))wanzen?(?:spray|mittel)?|zecken?\w*|floh|flöhen?|mücken?\w*",
    r"\w*trauermücke\w*|(?:kleider|speise|lebensmittel)?motte|\w*(?<!kla)motten\w*",
    r"raupen?|\w*schnecken?\w*|käfern?|\w*fruchtfliegen?|\w*stubenfliegen?|asseln?",
    r"\w*unkr[aä]u?t\w*|unkräuter\w*|maden|larven?|thripse|\w*mehltau\w*",
    r"\w*schimmel\w*|\w*pilz(?:befall|krankheit)\w*|keim(?:e[ns]?|frei\w*|töt\w*)",
    r"\w*bakteri\w*|viren|\w*viruzid\w*|ratten?",
    # what is done to them
    r"kill(?:s|ed|ing|ers?)?|\w*[a-z]{2}i[cz]id\w*|disinfect\w*|\w*desinf\w*",
    r"(?:ab|ge|zu)*töt(?:et|en|end\w*|ung\w*)|vergräm\w*",
    r"(?<!water )(?<!dirt )(?<!stain )repellents?",
    r"\w*pflanzenschutz\w*|pestizid\w*|biozid\w*|cropprotect\w*|plantprotect\w*",
    r"\w*spritzmittel\w*|\w*spritzbrühen?|\w*schädlingsbekämpf\w*",
)
# Several words, with a blank between them.
_PEST_PHRASES: Final = (
    r"weißen? fliegen?|rote spinnen?|white fly|white flies|green fly|black fly",
    r"(?:plant|crop) protect\w*|weed control|pest control|schutz der pflanzen?",
)
_SPRAYING: Final = r"(?:spray\w*|mist(?:ed|ing)?|\w*spritz\w*|\w*sprüh\w*)"
_PLANTS: Final = (
    r"(?:plants?|houseplants?|lea(?:f|ves)|foliage|crops?|roses?|vegetables?|trees?"
    r"|shrubs?|tomato(?:es)?|orchards?|flowers?"
    r"|gardens?(?! furniture)|fruits?(?! stains?)"
    r"|\w*pflanzen?|\w*rosen?|blatt|blätter[ns]?|\w*bäumen?|\w*baum|sträuchern?|obst"
    r"|gemüse\w*|gärten|garten|blüten?|kulturen)"
)
# Closer than this many words a spray and a plant are one sentence about spraying it.
_NEAR: Final = 6

_UNSUPPORTED: Final = (
    r"compliant|noncompliant|certified|zertifizier\w*|(?:\w*)konform\w*",
    r"natural pesticides?|natürliches? (?:pestizide?|pflanzenschutzmittel)",
    r"bees? ?(?:safe|friendly|harmless)|safe (?:for|to|with) (?:\w+ ){0,2}?bees",
    r"harmless (?:for|to) (?:\w+ ){0,2}?bees",
    r"bienen ?(?:freundlich|sicher|ungefährlich|unbedenklich|verträglich|schonend)\w*",
    r"nützlings ?schonend\w*",
    r"skin ?(?:friendly|safe|kind)",
    r"(?:kind|gentle|safe) (?:to|for|on) (?:\w+ ){0,2}?skin",
    r"haut ?(?:freundlich|verträglich|schonend|neutral)\w*|dermatologi\w*",
    r"non ?toxic|nontoxic|non ?hazardous|harmless|ungiftig\w*|harmlos\w*",
    r"unbedenklich\w*|safe (?:for|with) (?:\w+ ){0,2}?(?:children|pets|animals|fish)",
    r"environmentally friendly|eco ?friendly|umweltfreundlich\w*|hypoallergen\w*",
)

_HAZARD_CODES: Final = (
    r"euh ?\d{3}[a-z]?|h[234]\d{2}[a-z]{0,2}|p[1-5]\d{2}|ghs ?0[1-9]|ufi"
)
_HAZARD_PHRASES: Final = (
    r"signal ?word|signalwort|causes? (?:serious|severe|skin|eye)\b",
    r"verursacht (?:schwere|haut|augen|ernste)\w*",
)
# A signal word is one that stands by itself: it begins a sentence and ends it.
_SIGNAL: Final = re.compile(
    r"(?:^|[.!?;:\n(])[ \t]*(?P<word>danger|warning|gefahr|achtung)[ \t]*"
    r"(?=[.!:;\n)–—-]|$)"
)

# A character of the folded text, and the place in the text it comes from.
Folded = list[tuple[str, int]]


def pest_words(text: str) -> list[str]:
    r"""Return what in a text claims an effect on pests, germs or plants, as typed.

    In the order of the text, each place once. On the label of a wash such a claim can
    make a plant protection or biocidal product of it before the law.

    >>> pest_words("Gegen Blattl\u00e4use spritzen")
    ['Blattläuse']
    >>> pest_words("Spray it on your roses in the evening")
    ['Spray it on your roses']
    """
    spraying = (
        rf"{_SPRAYING}(?: \w+){{0,{_NEAR}}}? {_PLANTS}"
        rf"|{_PLANTS}(?: \w+){{0,{_NEAR}}}? {_SPRAYING}"
    )
    return _found(text, "|".join((*_PEST_PHRASES, spraying, *_PEST_WORDS)))


def unsupported_claims(text: str) -> list[str]:
    """Return the promises in a text that no label of ours makes, as typed.

    >>> unsupported_claims("Certified, skin-friendly and SAFE FOR BEES")
    ['Certified', 'skin-friendly', 'SAFE FOR BEES']
    """
    return _found(text, "|".join(_UNSUPPORTED))


def hazard_words(text: str) -> list[str]:
    """Return what in a text belongs in the block of a recorded classification.

    Signal words that stand by themselves, codes of hazard and precautionary
    statements, and how such statements begin. Source of the codes: Regulation (EC)
    1272/2008, Annexes III and IV, from memory.

    >>> hazard_words("Danger! H318. Causes serious eye damage.")
    ['Danger', 'H318', 'Causes serious']
    >>> hazard_words("At your own risk. There is no danger of frost.")
    []
    """
    pattern = "|".join((_HAZARD_CODES, *_HAZARD_PHRASES))
    spans = set(_spans(_apart(_fold(text, digits=False)), pattern))
    whole = _fold(text, digits=False)
    line = "".join(character for character, _ in whole)
    for found in _SIGNAL.finditer(line):
        first, last = found.span("word")
        spans.add((whole[first][1], whole[last - 1][1]))
    return _as_typed(text, spans)


def _found(text: str, pattern: str) -> list[str]:
    """Return what matches in one of the ways the text can be read."""
    spans: set[tuple[int, int]] = set()
    for digits in (False, True):
        folded = _fold(text, digits=digits)
        for reading in (_apart(folded), _joined(folded), _unspaced(folded)):
            spans |= set(_spans(reading, pattern))
    return _as_typed(text, spans)


def _fold(text: str, *, digits: bool) -> Folded:
    """Return the bare small Latin letters of a text, each with its place."""
    folded: Folded = []
    for place, character in enumerate(text):
        for part in unicodedata.normalize("NFKD", character).casefold():
            for bare in unicodedata.normalize("NFKD", part):
                if unicodedata.category(bare) not in {"Mn", "Me", "Cf"}:
                    folded.append((bare.translate(_LOOKS_LIKE), place))
    if digits:
        # Several times, for two digits beside each other.
        for _ in range(2):
            folded = [_as_letter(folded, at) for at in range(len(folded))]
    return folded


def _as_letter(folded: Folded, at: int) -> tuple[str, int]:
    """Return a digit beside a letter as the letter it looks like."""
    character, place = folded[at]
    around = folded[max(at - 1, 0) : at] + folded[at + 1 : at + 2]
    if character in _DIGIT_LOOKS_LIKE and any(one.isalpha() for one, _ in around):
        return _DIGIT_LOOKS_LIKE[character], place
    return character, place


def _apart(folded: Folded) -> Folded:
    """Return the text with one blank for all that is no letter and no digit."""
    reading: Folded = []
    for character, place in folded:
        if character.isalnum():
            reading.append((character, place))
        elif reading and reading[-1][0] != " ":
            reading.append((" ", place))
    return reading


def _joined(folded: Folded) -> Folded:
    """Return the text with hyphens left out, and line breaks behind them."""
    kept: Folded = []
    behind_hyphen = False
    for character, place in folded:
        if character in _JOINS:
            behind_hyphen = True
        elif not (behind_hyphen and character in "\r\n\t "):
            kept.append((character, place))
            behind_hyphen = False
    return _apart(kept)


def _unspaced(folded: Folded) -> Folded:
    """Return the text with letters that stand by themselves drawn together."""
    reading = _apart(folded)
    line = "".join(character for character, _ in reading)
    drop: set[int] = set()
    for found in re.finditer(r"\b\w(?: \w)+\b", line):
        drop |= {at for at in range(*found.span()) if line[at] == " "}
    return [one for at, one in enumerate(reading) if at not in drop]


def _spans(reading: Folded, pattern: str) -> Iterator[tuple[int, int]]:
    """Yield first and last place of each match of whole words."""
    line = "".join(character for character, _ in reading)
    for found in re.finditer(rf"\b(?:{_with_umlauts(pattern)})\b", line):
        yield reading[found.start()][1], reading[found.end() - 1][1]


def _with_umlauts(pattern: str) -> str:
    """Return a pattern in which an umlaut is written in any of its ways."""
    for umlaut, ways in (("ä", "ae?"), ("ö", "oe?"), ("ü", "ue?"), ("ß", "ss?")):
        pattern = pattern.replace(f"[a{umlaut}]", f"(?:{ways})").replace(umlaut, ways)
    return pattern


def _as_typed(text: str, spans: set[tuple[int, int]]) -> list[str]:
    """Return the outermost of the places, in order, as they stand in the text."""
    outer: list[tuple[int, int]] = []
    for first, last in sorted(spans, key=lambda span: (span[0], -span[1])):
        if not outer or last > outer[-1][1]:
            outer.append((first, last))
    return [text[first : _with_marks(text, last)] for first, last in outer]


def _with_marks(text: str, last: int) -> int:
    """Return where a character ends together with the accents put onto it."""
    end = last + 1
    while end < len(text) and unicodedata.combining(text[end]):
        end += 1
    return end
