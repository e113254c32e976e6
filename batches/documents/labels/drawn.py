"""What WeasyPrint drew on a page: where each run of text stands, in which signs."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Iterable, Iterator, Mapping

import pikepdf

Matrix = pikepdf.Matrix
_CHARACTER = re.compile(rb"<([0-9a-f]{4})>\s*<([0-9a-f]+)>", re.IGNORECASE)


@dataclasses.dataclass(frozen=True)
class Run:
    """A run of text: its font's name on the page, its size, and where it begins.

    ``matrix`` leads from text units to points from the lower left corner of the page;
    ``signs`` holds the glyph for each character.
    """

    text: str
    font: str
    size: float
    matrix: Matrix
    signs: Mapping[str, bytes]

    @property
    def origin(self) -> tuple[float, float]:
        """Return where the baseline begins, in points."""
        return float(self.matrix.e), float(self.matrix.f)

    @property
    def points(self) -> float:
        """Return the size of the type on paper."""
        return self.size * float(self.matrix.a)


def characters_of(font: pikepdf.Object) -> dict[bytes, str]:
    """Return which character each glyph of an embedded font stands for."""
    return {
        bytes.fromhex(glyph.decode()): bytes.fromhex(text.decode()).decode("utf-16-be")
        for glyph, text in _CHARACTER.findall(
            b"".join(
                re.findall(
                    rb"beginbfchar(.*?)endbfchar",
                    font.ToUnicode.read_bytes(),
                    re.DOTALL,
                )
            )
        )
    }


def runs_on(page: pikepdf.Page) -> Iterator[Run]:
    """Yield each run of text of a page, in the order it was drawn."""
    fonts = {
        name: characters_of(font) for name, font in dict(page.Resources.Font).items()
    }
    saved: list[Matrix] = []
    now, place, font, size = Matrix(), Matrix(), "", 0.0
    for instruction in pikepdf.parse_content_stream(page):
        operands = instruction.operands
        match str(instruction.operator):
            case "q":
                saved.append(now)
            case "Q":
                now = saved.pop()
            case "cm":
                now = Matrix(*map(float, operands)) @ now
            case "Tm":
                place = Matrix(*map(float, operands))
            case "Tf":
                font, size = str(operands[0]), float(operands[1])
            case "TJ":
                glyphs = glyphs_in(list(operands[0]))
                known = fonts[font]
                text = "".join(known.get(glyph, "\ufffd") for glyph in glyphs)
                signs = {character: glyph for glyph, character in known.items()}
                yield Run(text, font, size, place @ now, signs)


def glyphs_in(shown: Iterable[object]) -> list[bytes]:
    """Return the two-byte glyphs of what a TJ operator shows."""
    whole = b"".join(bytes(part) for part in shown if isinstance(part, pikepdf.String))
    return [whole[at : at + 2] for at in range(0, len(whole), 2)]


def run_of(page: pikepdf.Page, text: str) -> Run:
    """Return the run that shows ``text``.

    Raises :class:`LookupError` when the text was not drawn in one run of one font.
    """
    for run in runs_on(page):
        if run.text == text:
            return run
    raise LookupError(f"“{text}” was not drawn in one font.")
