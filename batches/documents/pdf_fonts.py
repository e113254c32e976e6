"""The DejaVu fonts in a PDF that is written forwards: only the signs that were used.

Two kinds, after ISO 32000-1:2008, 9.6.3 and 9.7. A *plain* font shows our own words
and codes, a byte a sign, in the signs of Windows-1252 and nothing else. A *wide* one
shows what people typed, glyph by glyph; it remembers which glyphs, and takes those
along when it is written, after the pages. What it has no sign for is a box.

Letters stand one after the other as they are stored: a script that joins its letters
or runs from right to left is written letter by letter.
"""

from __future__ import annotations

import functools
import io
import zlib
from collections.abc import Iterable, Mapping, Set
from typing import Any, Final

from fontTools import subset
from fontTools.ttLib import TTFont

from batches import label_fonts
from batches.documents.pdf_file import PdfFile

ENCODING: Final = "cp1252"  # WinAnsiEncoding
FIRST, LAST = 32, 255
EM = 1000  # a PDF measures signs in thousandths of the size of the type
NOT_NEEDED = ("GSUB", "GPOS", "GDEF", "FFTM", "kern", "name")
_NONSYMBOLIC, _SYMBOLIC = 32, 4  # flags of a font descriptor
_ESCAPED = str.maketrans({"(": r"\(", ")": r"\)", "\\": r"\\"})


class Measured:
    """A font file: what each of its signs is called and how wide it is."""

    def __init__(self, file: str) -> None:
        self.file = file
        with TTFont(label_fonts.path_of(file), lazy=True) as font:
            unit = font["head"].unitsPerEm / EM
            order = {name: place for place, name in enumerate(font.getGlyphOrder())}
            wide = font["hmtx"].metrics
            self.signs: Mapping[str, int] = {
                chr(code): order[name] for code, name in font.getBestCmap().items()
            }
            self.widths: Mapping[int, int] = {
                order[name]: round(advance / unit)
                for name, (advance, _) in wide.items()
            }
            self.box = [
                round(font["head"].xMin / unit),
                round(font["head"].yMin / unit),
                round(font["head"].xMax / unit),
                round(font["head"].yMax / unit),
            ]
            self.ascent = round(font["hhea"].ascent / unit)
            self.descent = round(font["hhea"].descent / unit)

    def width(self, text: str, size: float) -> float:
        """Return how long a text is in type of ``size``, in the same unit."""
        signs, box = self.signs, self.signs[label_fonts.BOX]
        return sum(self.widths[signs.get(one, box)] for one in text) * size / EM


@functools.cache
def measured(file: str) -> Measured:
    """Return a font of the labels; raise :class:`OSError` where it is not here."""
    return Measured(file)


class Plain:
    """A font for words of ours and codes, a byte a sign."""

    def __init__(self, name: str, file: str) -> None:
        self.name, self.of = name, measured(file)

    def shown(self, text: str) -> str:
        """Return a text as an operand; it has signs of Windows-1252 only."""
        return f"({text.translate(_ESCAPED)})"

    def width(self, text: str, size: float) -> float:
        """Return how long a text is in type of ``size``."""
        return self.of.width(text, size)

    def write(self, file: PdfFile) -> int:
        """Write the font; return its number."""
        box = self.of.signs[label_fonts.BOX]
        widths = [
            self.of.widths[self.of.signs.get(character, box)]
            for character in map(_character, range(FIRST, LAST + 1))
        ]
        number = file.new()
        file.object(
            number,
            b"<< /Type /Font /Subtype /TrueType /BaseFont /%b /FirstChar %d"
            b" /LastChar %d /Widths %b /Encoding /WinAnsiEncoding"
            b" /FontDescriptor %d 0 R >>"
            % (
                _called(self.of),
                FIRST,
                LAST,
                _array(widths),
                _descriptor(file, self.of, _NONSYMBOLIC, _plain(self.of.file)),
            ),
        )
        return number


class Wide:
    """A font for whatever people typed; it keeps which of its glyphs were used."""

    def __init__(self, name: str, file: str) -> None:
        self.name, self.of = name, measured(file)
        self._box = self.of.signs[label_fonts.BOX]
        self._used: dict[int, str] = {}

    def shown(self, text: str) -> str:
        """Return a text as an operand; a box for each sign that the font lacks."""
        glyphs = []
        for character in text:
            glyph = self.of.signs.get(character, self._box)
            self._used[glyph] = label_fonts.BOX if glyph == self._box else character
            glyphs.append(f"{glyph:04x}")
        return f"<{''.join(glyphs)}>"

    def width(self, text: str, size: float) -> float:
        """Return how long a text is in type of ``size``."""
        return self.of.width(text, size)

    def write(self, file: PdfFile) -> int:
        """Write the font with the glyphs used so far; return its number."""
        content = _part_of(self.of.file, glyphs=self._used.keys())
        described = _descriptor(file, self.of, _SYMBOLIC, content)
        widths = b" ".join(
            b"%d [%d]" % (glyph, self.of.widths[glyph]) for glyph in sorted(self._used)
        )
        below, number, words = file.new(), file.new(), file.new()
        file.object(
            below,
            b"<< /Type /Font /Subtype /CIDFontType2 /BaseFont /%b /CIDSystemInfo"
            b" << /Registry (Adobe) /Ordering (Identity) /Supplement 0 >>"
            b" /FontDescriptor %d 0 R /CIDToGIDMap /Identity /W [%b] >>"
            % (_called(self.of), described, widths),
        )
        file.stream(words, b"", zlib.compress(_meanings(self._used)))
        file.object(
            number,
            b"<< /Type /Font /Subtype /Type0 /BaseFont /%b /Encoding /Identity-H"
            b" /DescendantFonts [%d 0 R] /ToUnicode %d 0 R >>"
            % (_called(self.of), below, words),
        )
        return number


def _character(byte: int) -> str:
    """Return what a byte of Windows-1252 stands for; a blank for the five unused."""
    return bytes([byte]).decode(ENCODING, errors="replace").replace("\ufffd", " ")


def _called(font: Measured) -> bytes:
    """Return the name of a part of a font, with the tag that says it is a part."""
    return b"KETTLE+" + font.file.encode()


def _array(numbers: Iterable[int]) -> bytes:
    return b"[%b]" % b" ".join(b"%d" % number for number in numbers)


def _descriptor(file: PdfFile, font: Measured, flags: int, content: bytes) -> int:
    program, number = file.new(), file.new()
    file.stream(program, b"/Length1 %d" % len(content), zlib.compress(content))
    file.object(
        number,
        b"<< /Type /FontDescriptor /FontName /%b /Flags %d /FontBBox %b"
        b" /ItalicAngle 0 /Ascent %d /Descent %d /CapHeight %d /StemV 80"
        b" /FontFile2 %d 0 R >>"
        % (
            _called(font),
            flags,
            _array(font.box),
            font.ascent,
            font.descent,
            font.ascent,
            program,
        ),
    )
    return number


@functools.cache
def _plain(file: str) -> bytes:
    """Return the part of a font that Windows-1252 needs, the same in every file."""
    characters = map(_character, range(FIRST, LAST + 1))
    return _part_of(file, characters={ord(one) for one in characters})


def _part_of(
    file: str,
    *,
    characters: Set[int] = frozenset(),
    glyphs: Set[int] = frozenset(),
) -> bytes:
    """Return a font with these signs only; each keeps its number."""
    options: Any = subset.Options()
    options.layout_features = []
    options.retain_gids = True
    options.notdef_outline = True
    options.hinting = False
    options.drop_tables += list(NOT_NEEDED)
    # Without the time of its making: the same list is the same file.
    with TTFont(label_fonts.path_of(file), lazy=True, recalcTimestamp=False) as font:
        cutter = subset.Subsetter(options)
        cutter.populate(unicodes=characters, gids=glyphs)
        cutter.subset(font)
        part = io.BytesIO()
        font.save(part)
    return part.getvalue()


def _meanings(used: Mapping[int, str]) -> bytes:
    """Return which character each glyph is, so that a text can be found and copied."""
    pairs = [
        b"<%04x> <%b>" % (glyph, character.encode("utf-16-be").hex().encode())
        for glyph, character in sorted(used.items())
    ]
    blocks = [
        b"%d beginbfchar\n%b\nendbfchar" % (len(some), b"\n".join(some))
        for some in (pairs[at : at + 100] for at in range(0, len(pairs), 100))
    ]
    return (
        b"/CIDInit /ProcSet findresource begin\n12 dict begin\nbegincmap\n"
        b"/CIDSystemInfo << /Registry (Adobe) /Ordering (UCS) /Supplement 0 >> def\n"
        b"/CMapName /Adobe-Identity-UCS def\n/CMapType 2 def\n"
        b"1 begincodespacerange\n<0000> <ffff>\nendcodespacerange\n"
        b"%b\nendcmap\nCMapName currentdict /CMap defineresource pop\nend\nend\n"
        % b"\n".join(blocks)
    )
