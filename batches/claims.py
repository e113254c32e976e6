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
    r"spiders?|rats|mice|critters?|crawlies|creepycrawl(?:y|ies)|sapsuckers?",
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
    r"\w*bakteri\w*|viren|\w*viruzid\w*|ratten?|mäusen?|\w*blattsaugern?",
    r"plagegeistern?|quälgeistern?|krabbeltieren?|lästlingen?|pflanzenkrankheit\w*",
    # what is done to them
    r"kill(?:s|ed|ing|ers?)?|\w*[a-z]{2}i[cz]id\w*|disinfect\w*|\w*desinf\w*",
    r"(?:ab|ge|zu)*töt(?:et|en|end\w*|ung\w*)|vergräm\w*",
    r"(?<!water )(?<!dirt )(?<!stain )repellents?",
    r"\w*pflanzenschutz\w*|pestizid\w*|biozid\w*|cropprotect\w*|plantprotect\w*",
    r"\w*spritzmittel\w*|\w*spritzbrühen?|\w*schädlingsbekämpf\w*",
    r"\w*pflanzen(?:stärk|pfleg)\w*|plantcare",
)
# Several words, with a blank between them.
_PEST_PHRASES: Final = (
    r"weißen? fliegen?|rote spinnen?|white fly|white flies|green fly|black fly",
    r"(?:plant|crop) protect\w*|weed control|pest control|schutz der pflanzen?",
    r"plant (?:care|tonic|health|diseases?)|sap suckers?",
    r"(?:uninvited|unwanted) (?:guests?|visitors?)|ungebetenen? gästen?",
    r"(?:gegen|bei|vor) (?:\w+ ){0,2}?befall",
)
_SPRAYING: Final = r"(?:spray\w*|mist(?:ed|ing)?|\w*spritz\w*|\w*sprüh\w*)"
_GROWING: Final = (
    r"plants?|houseplants?|foliage|crops?|roses?|vegetables?|trees?"
    r"|shrubs?|tomato(?:es)?|orchards?|flowers?|herbs|seedlings?"
    r"|gardens?(?! furniture)|fruits?(?! stains?)"
    r"|\w*pflanzen?|\w*rosen?|blatt|blätter[ns]?|\w*bäumen?|\w*baum|sträuchern?|obst"
    r"|gemüse\w*|gärten|garten|blüten?|kulturen|tomaten|kräutern?|beeten?"
)
_PLANTS: Final = rf"(?:lea(?:f|ves)|{_GROWING})"
# Closer than this many words a spray and a plant are one sentence about spraying it.
_NEAR: Final = 6

# What a wash may be for, and what is thrown away: against these nothing is a claim.
_DIRT: Final = (
    r"(?:greas[ey]\w*|fats?|fatty|oil\w*|dirt\w*|grim[ey]\w*|\w*stains?|spots?|marks?"
    r"|soot\w*|dust\w*|mud\w*|limescale|scale|chalk|smells?|odou?rs?|smoke|sweat"
    r"|residues?|deposits?|film|wax|ink|rust|tar|resin|lint|fluff|crumbs|hairs?|water"
    r"|soap|suds|foam|waste|rest|leftovers?|left|remains|bottles?|containers?|packaging"
    r"|fett\w*|öl\w*|schmutz\w*|dreck\w*|\w*flecke?n?|ruß\w*|\w*staubs?|kalk\w*"
    r"|\w*gerüche?n?|gestank|schlamm|rückständen?|wachs\w*|tinte|rost|schweiß\w*"
    r"|harz|teer|rauch|ränder|schleier|resten?|flaschen?|abfälle?|müll|wasser|seife"
    r"|flusen|haare)"
)
_NO_DIRT: Final = rf"(?! (?:\w+ ){{0,3}}?{_DIRT}\b)"
# In German a leaf is a plant's; in English “leaves” is also what soap does to cloth.
_GREEN: Final = rf"(?:(?:the|your|its|their|all|young|tender) lea(?:f|ves)|{_GROWING})"
_KEEPS: Final = r"keep(?:s|ing)?(?: (?!away|off|out|clear|from)\w+){0,3}?"
_WELL_EN: Final = (
    r"(?:free|clear|health(?:y|ier)|strong(?:er)?|safe|well|alive|thriving)"
)
_WELL_DE: Final = r"(?:gesund|frei|kräftig|stark|vital|fit|am leben)"
_PROTECTS_EN: Final = (
    r"(?:protect(?:s|ed|ing|ion)?|shield(?:s|ed|ing)?|(?:safe)?guard(?:s|ed|ing)?"
    r"|defend(?:s|ed|ing)?|strengthen(?:s|ed|ing)?|heal(?:s|ed|ing)?|cure[sd]?)"
)
_PROTECTS_DE: Final = (
    r"(?:schütz(?:t|en|end)|geschützt|schutz|stärk(?:t|en)|gestärkt|kräftigt"
    r"|heil(?:t|en))"
)
_AWAY: Final = (
    r"(?:driv(?:es?|en|ing)|chas(?:es?|ed|ing)|scar(?:es?|ed|ing)|wards?|fends?|keeps)"
)
_REPELS: Final = (
    r"(?<!water )(?<!dirt )(?<!stain )(?:repel(?:s|led|ling)?|deter(?:s|red|rents?)?)"
)
# Said in one sentence: what stands behind its stop is another matter.
_PEST_SENTENCES: Final = (
    # well-being of plants
    rf"{_PROTECTS_EN} (?:\w+ ){{0,3}}?{_GREEN}|{_GREEN} (?:\w+ ){{1,2}}?protected",
    rf"{_PROTECTS_DE} (?:\w+ ){{0,3}}?{_GREEN}|{_GREEN} (?:\w+ ){{0,3}}?{_PROTECTS_DE}",
    rf"{_KEEPS} {_GREEN} (?:\w+ ){{0,2}}?{_WELL_EN}",
    rf"hält(?:en)? (?:\w+ ){{0,3}}?{_GREEN} (?:\w+ ){{0,4}}?{_WELL_DE}",
    rf"{_GREEN} (?:\w+ ){{0,3}}?{_WELL_DE} (?:er)?hält(?:en)?",
    rf"health(?:y|ier) {_GREEN}|gesunde[nrs]? {_GREEN}",
    # ridding, of whatever it is, unless it is dirt
    rf"(?:get(?:s|ting)?|got) rid of{_NO_DIRT}",
    rf"rid(?:s|ding)? (?:(?!of )\w+ ){{1,4}}of{_NO_DIRT}",
    rf"{_AWAY} (?:(?!children |{_DIRT} )\w+ ){{0,3}}?(?:away|off)(?! from){_NO_DIRT}",
    rf"{_REPELS}{_NO_DIRT}",
    rf"(?:eradicat|exterminat)(?:es?|ed|ing|or){_NO_DIRT}",
    rf"(?:vertreibt|verscheucht|verjagt|bekämpft){_NO_DIRT}",
    rf"hält (?:(?!kindern? |{_DIRT} )\w+ ){{1,4}}?fern",
    rf"w(?:ird|irst|erden?) (?:(?!{_DIRT} )\w+ ){{1,6}}?los",
)

_UNSUPPORTED: Final = (
    r"compliant|noncompliant|certified|zertifizier\w*|(?:\w*)konform\w*",
    r"natural pesticides?|natürliches? (?:pestizide?|pflanzenschutzmittel)",
    r"bees? ?(?:safe|friendly|harmless)|safe (?:for|to|with) (?:\w+ ){0,2}?bees",
    r"harmless (?:for|to) (?:\w+ ){0,2}?bees",
    r"bienen ?(?:freundlich|sicher|ungefährlich|unbedenklich|verträglich|schonend)\w*",
    r"nützlings ?schonend\w*",
    r"skin ?(?:friendly|safe|kind)",
    r"(?:kind|gentle|safe) (?:to|for|on) (?:\w+ ){0,2}?(?:skin|hands)",
    r"haut ?(?:freundlich|verträglich|schonend|neutral)\w*|dermatologi\w*",
    r"non ?toxic|nontoxic|non ?hazardous|harmless|ungiftig\w*|harmlos\w*",
    r"unbedenklich\w*|(?<!nicht )ungefährlich\w*|gefahrlos\w*",
    r"(?:pet|kid|baby|family) ?(?:safe|friendly)|child ?friendly",
    r"child ?safe(?! (?:place|cupboard|cabinet|cap|lid|closure|container|lock|box))",
    r"kinder ?freundlich\w*|\w*tier ?freundlich\w*|baby ?freundlich\w*",
    r"environmentally friendly|eco ?friendly|umweltfreundlich\w*|hypoallergen\w*",
)
_HOUSEHOLD_EN: Final = (
    r"(?:child|children|kids?|bab(?:y|ies)|toddlers?|infants?|pets?|animals?|dogs?|cats?"
    r"|fish|wildlife|people|humans?|famil(?:y|ies)|everyone|you)"
)
_HOUSEHOLD_DE: Final = (
    r"(?:kind|kinder|babys?|kleinkinder|\w*tiere?|hunde?|katzen?|fische?|mensch(?:en)?"
    r"|familien?|sie)"
)
_SUITED_DE: Final = r"(?:(?:auch|ganz|völlig|absolut) )?(?:sicher|geeignet|verträglich)"
_HANDS_DE: Final = r"(?:\w+ ){0,2}?(?:haut|händen?|gesundheit)"
_UNSUPPORTED_SENTENCES: Final = (
    rf"(?<!not )safe (?:for|with|around|near) (?:\w+ ){{0,3}}?{_HOUSEHOLD_EN}",
    rf"(?<!nicht )sicher für (?:\w+ ){{0,3}}?{_HOUSEHOLD_DE}",
    rf"(?<!nicht )für (?:\w+ ){{0,3}}?{_HOUSEHOLD_DE} {_SUITED_DE}",
    r"(?<!not )good for (?:\w+ ){0,2}?(?:health|skin)",
    rf"(?<!nicht )(?:sanft|mild|gut|schonend) (?:zu[rm]?|für|auf) {_HANDS_DE}",
    rf"pfleg(?:t|en) {_HANDS_DE}",
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

# Of these, those with a blank behind them end a sentence.
_STOPS: Final = ".!?;"

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
    >>> pest_words("Gets rid of grease and protects your hands.")
    []
    >>> pest_words("Keeps your roses free from them and gets rid of the guests.")
    ['Keeps your roses free', 'gets rid of']
    """
    spraying = (
        rf"{_SPRAYING}(?: \w+){{0,{_NEAR}}}? {_PLANTS}"
        rf"|{_PLANTS}(?: \w+){{0,{_NEAR}}}? {_SPRAYING}"
    )
    return _found(
        text,
        "|".join((*_PEST_PHRASES, spraying, *_PEST_WORDS)),
        in_sentence="|".join(_PEST_SENTENCES),
    )


def unsupported_claims(text: str) -> list[str]:
    """Return the promises in a text that no label of ours makes, as typed.

    >>> unsupported_claims("Certified, skin-friendly and SAFE FOR BEES")
    ['Certified', 'skin-friendly', 'SAFE FOR BEES']
    """
    return _found(
        text, "|".join(_UNSUPPORTED), in_sentence="|".join(_UNSUPPORTED_SENTENCES)
    )


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


def _found(text: str, pattern: str, *, in_sentence: str) -> list[str]:
    """Return what matches in one of the ways the text can be read.

    ``in_sentence`` is looked for only where no sentence ends within.
    """
    spans: set[tuple[int, int]] = set()
    for digits in (False, True):
        folded = _fold(text, digits=digits)
        for reading in (_apart(folded), _joined(folded), _unspaced(folded)):
            spans |= set(_spans(reading, pattern))
        for reading in (_apart(folded, stops=_STOPS), _joined(folded, stops=_STOPS)):
            spans |= set(_spans(reading, in_sentence))
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


def _apart(folded: Folded, *, stops: str = "") -> Folded:
    """Return the text with one blank for all that is no letter and no digit.

    Of ``stops`` those that end a sentence are kept: a blank or nothing stands behind.
    """
    reading: Folded = []
    for at, (character, place) in enumerate(folded):
        is_last = at + 1 == len(folded)
        is_stop = character in stops and (is_last or folded[at + 1][0].isspace())
        if character.isalnum() or is_stop:
            reading.append((character, place))
        elif reading and reading[-1][0] != " ":
            reading.append((" ", place))
    return reading


def _joined(folded: Folded, *, stops: str = "") -> Folded:
    """Return the text with hyphens left out, and line breaks behind them."""
    kept: Folded = []
    behind_hyphen = False
    for character, place in folded:
        if character in _JOINS:
            behind_hyphen = True
        elif not (behind_hyphen and character in "\r\n\t "):
            kept.append((character, place))
            behind_hyphen = False
    return _apart(kept, stops=stops)


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
