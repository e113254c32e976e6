"""Which characters labels can be printed in: those that the label fonts have.

The style of a label (``label.css``) names three families, DejaVu Sans, Serif and Sans
Mono; what one of them lacks is drawn from another. What all of them lack would be
printed as an empty box, or from whatever else the machine has: so it is refused.
"""

from __future__ import annotations

import functools
from collections.abc import Mapping
from typing import Final

from fontTools.ttLib import TTFont
from PIL import ImageFont

FILES: Final = ("DejaVuSans", "DejaVuSerif-Bold", "DejaVuSansMono")
LAID_OUT: Final = frozenset("\t\n\r")  # no signs, but places to go on
BOX: Final = "\u25af"  # stands for what there is no sign for
MOST_NAMED: Final = 8
NOT_HERE: Final = (
    "Labels are printed in the DejaVu fonts, and they are not on this machine. Whoever"
    " looks after it installs them (on Debian: fonts-dejavu-core)."
)


def lacking(words: str) -> list[str]:
    """Return the characters that no label can show, each once, in their order.

    None where the label fonts are not on this machine: see :func:`why_not`.

    >>> lacking("Flüssigseife, 皂 und noch eine 皂"), lacking("30 °C ✓")
    (['皂'], [])
    """
    known = _known()
    if known is None:
        return []
    return list(dict.fromkeys(sign for sign in words if sign not in known))


def why_not(parts: Mapping[str, str]) -> str:
    """Return why these words cannot be printed, or nothing.

    ``parts`` are the words by what they are, such as “the directions”. Where the label
    fonts are not on this machine no words can be, and it says what to install.

    >>> why_not({"the name": "Seife 皂", "the directions": "soak"})
    'The label font has no sign for 皂 in the name. Write it in other letters.'
    """
    if _known() is None:
        return NOT_HERE
    found = {part: signs for part, words in parts.items() if (signs := lacking(words))}
    if not found:
        return ""
    said = " and ".join(f"{_named(signs)} in {part}" for part, signs in found.items())
    return f"The label font has no sign for {said}. Write it in other letters."


def boxed(words: str) -> str:
    """Return words with a box for each character that the label fonts lack.

    Texts from before such characters were refused are drawn so. Where the fonts are
    not on the machine, nothing is known of them and the words stay as they are.

    >>> boxed("Seife 皂")
    'Seife ▯'
    """
    known = _known()
    if known is None:
        return words
    return "".join(sign if sign in known else BOX for sign in words)


def path_of(name: str) -> str:
    """Return where a font's file is; raise :class:`OSError` where it is nowhere.

    Pillow looks where the system keeps its fonts.

    >>> path_of("DejaVuSans").endswith("DejaVuSans.ttf")
    True
    """
    return str(ImageFont.truetype(f"{name}.ttf").path)


def _named(signs: list[str]) -> str:
    """Return characters to read; those that do not show, by their number in Unicode."""
    said = [
        sign if sign.isprintable() else f"U+{ord(sign):04X}"
        for sign in signs[:MOST_NAMED]
    ]
    more = len(signs) - MOST_NAMED
    return ", ".join(said) + (f" and {more} more" if more > 0 else "")


@functools.cache
def _known() -> frozenset[str] | None:
    """Return the characters of all label fonts; None where one is not found."""
    found = set(LAID_OUT)
    for name in FILES:
        try:
            path = path_of(name)
        except OSError:  # it is not there; who asks is told so
            return None
        with TTFont(path, lazy=True) as font:
            found |= set(map(chr, font.getBestCmap()))
    return frozenset(found)
