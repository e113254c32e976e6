"""Names of people: two that look the same are the same, and none hides anything."""

from __future__ import annotations

import unicodedata

# Scripts that one word of one language may mix, by how Unicode names their letters.
TOGETHER = {
    "HIRAGANA": "CJK",
    "KATAKANA": "CJK",
    "HANGUL": "CJK",
    "BOPOMOFO": "CJK",
}


def tidy(name: str) -> str:
    """Return a name in one form: composed, single blanks, none at the ends.

    >>> tidy(" Isolde   Penhaligrew ")
    'Isolde Penhaligrew'
    """
    return " ".join(unicodedata.normalize("NFKC", name).split())


def key(name: str) -> str:
    """Return what two names have in common when they are one.

    >>> key("ISOLDE  Penhaligrew") == key("Isolde Penhaligrew")
    True
    """
    return tidy(tidy(name).casefold())


def why_not(name: str) -> str:
    """Return why a tidy name cannot stand on a record, or nothing.

    >>> why_not("Isolde Penhaligrew")
    ''
    """
    if any(unicodedata.category(one).startswith("C") for one in name):
        return "A character in this name cannot be seen. Type the name anew."
    mixed = next((word for word in name.split() if len(_scripts(word)) > 1), "")
    if mixed:
        return (
            f"Letters of two alphabets stand in “{mixed}”, so it looks like another"
            " name. Type the name anew, in one alphabet."
        )
    return ""


def _scripts(word: str) -> set[str]:
    """Return the alphabets in a word, as Unicode names its letters."""
    names = (
        unicodedata.name(one, "").split(" ")[0].split("-")[0]
        for one in word
        if unicodedata.category(one) in {"Lu", "Ll", "Lt", "Lo"}
    )
    return {TOGETHER.get(name, name) for name in names}
