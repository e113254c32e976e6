"""A label on the screen, drawn from the very operators that are printed.

The PDF of the label is read again and each of its operators drawn as SVG, the letters
as the outlines in the embedded fonts: what the screen shows depends on no font of the
reader's. An operator that is not known raises, so that nothing is left out unseen.
"""

from __future__ import annotations

import dataclasses
import io
from collections.abc import Callable, Iterator, Sequence
from typing import Any
from xml.sax.saxutils import escape, quoteattr

import pikepdf
from fontTools.pens.svgPathPen import SVGPathPen
from fontTools.ttLib import TTFont

from batches.documents.labels.drawn import glyphs_in
from batches.documents.labels.layout import PLAIN, SPECIMEN, Laid, lay_out
from batches.documents.labels.stamping import stamp_of
from batches.label_fonts import boxed
from batches.label_text import LabelText, Serial
from batches.sheets import Sheet, in_mm

Matrix = pikepdf.Matrix
THOUSAND = 1000  # units of a glyph's width in PDF, an em


def proof_svg(text: LabelText, sheet: Sheet, serial: Serial | None) -> str:
    """Return one label of a sheet as an SVG picture of its true size.

    ``serial`` is what is filled in for a bottle, None shows a specimen. Raises
    :class:`Refusal` when the text does not fit.
    """
    laid = lay_out(text, sheet)
    page = laid.pdf.pages[PLAIN if serial else SPECIMEN]
    content = page.Contents.read_bytes()
    if serial:
        content = b"q\n%b\nQ\n%b" % (
            content,
            stamp_of(laid).drawn(serial).encode("ascii"),
        )
    return _svg(laid, page, content, sheet)


def _svg(laid: Laid, page: pikepdf.Page, content: bytes, sheet: Sheet) -> str:
    _, _, width, height = (float(edge) for edge in page.MediaBox)
    drawing = _Drawing(page)
    drawing.draw(pikepdf.Stream(laid.pdf, content))
    return (
        '<svg xmlns="http://www.w3.org/2000/svg"'
        f' width="{in_mm(sheet.width)}mm" height="{in_mm(sheet.height)}mm"'
        f' viewBox="0 0 {width:.4f} {height:.4f}">'
        f"<title>{escape(boxed(laid.text.product_name))}</title>"
        f"<defs>{''.join(drawing.defined.values())}</defs>"
        f'<rect width="{width:.4f}" height="{height:.4f}" fill="#fff"/>'
        f'<g transform="matrix(1 0 0 -1 0 {height:.4f})">{"".join(drawing.shown)}</g>'
        "</svg>"
    )


class _Font:
    """An embedded font: outlines and widths by glyph."""

    def __init__(self, name: str, font: pikepdf.Object) -> None:
        self.name = name.lstrip("/")
        inside = font.DescendantFonts[0]
        about = inside.FontDescriptor
        file = about["/FontFile2" if "/FontFile2" in about else "/FontFile3"]
        self.outlines = TTFont(io.BytesIO(file.read_bytes()))
        self.names = self.outlines.getGlyphOrder()
        self.glyphs = self.outlines.getGlyphSet()
        self.scale = 1 / self.outlines["head"].unitsPerEm
        self.widths = dict(_widths(inside.W))

    def path(self, glyph: bytes) -> str:
        """Return the outline of a glyph, in the font's own units.

        A number that the font does not have is drawn as its box for a missing glyph,
        which comes first in every font: so a viewer of the PDF draws it.
        """
        pen = SVGPathPen(self.glyphs)
        number = int.from_bytes(glyph)
        self.glyphs[self.names[number if number < len(self.names) else 0]].draw(pen)
        commands: str = pen.getCommands()
        return commands

    def width(self, glyph: bytes) -> float:
        """Return how far a glyph moves on, in thousandths of an em."""
        return self.widths[int.from_bytes(glyph)]


def _widths(listed: pikepdf.Object) -> Iterator[tuple[int, float]]:
    """Yield glyph and width of a W array: ISO 32000-1, 9.7.4.3, its first form."""
    parts: list[Any] = list(listed)
    for first, widths in zip(parts[::2], parts[1::2], strict=True):
        for number, width in enumerate(widths):
            yield int(first) + number, float(width)


@dataclasses.dataclass(frozen=True)
class _State:
    """What q saves and Q brings back."""

    matrix: Matrix = dataclasses.field(default_factory=Matrix)
    fill: str = "#000"
    stroke: str = "#000"
    line: float = 1.0
    dash: str = ""
    clips: tuple[str, ...] = ()


class _Drawing:
    """Draws the operators of a page one after the other."""

    def __init__(self, page: pikepdf.Page) -> None:
        self.fonts = {
            name: _Font(name, font) for name, font in dict(page.Resources.Font).items()
        }
        self.defined: dict[str, str] = {}
        self.shown: list[str] = []
        self.saved: list[_State] = []
        self.now = _State()
        self.path: list[str] = []
        self.clipping = ""
        self.font, self.size, self.place, self.rise = "", 0.0, Matrix(), 0.0
        self.operators: dict[str, Callable[..., None]] = {
            "q": lambda: self.saved.append(self.now),
            "Q": self._restore,
            "cm": lambda *six: self._set(matrix=Matrix(*six) @ self.now.matrix),
            "rg": lambda *rgb: self._set(fill=_colour(rgb)),
            "RG": lambda *rgb: self._set(stroke=_colour(rgb)),
            "w": lambda width: self._set(line=width),
            "d": lambda dashes, _: self._set(dash=" ".join(map(str, dashes))),
            "gs": lambda _: None,  # all is drawn opaque
            "m": lambda x, y: self.path.append(f"M{x:g} {y:g}"),
            "l": lambda x, y: self.path.append(f"L{x:g} {y:g}"),
            "c": lambda *xy: self.path.append("C" + " ".join(f"{v:g}" for v in xy)),
            "h": lambda: self.path.append("Z"),
            "re": self._rectangle,
            "W": lambda: setattr(self, "clipping", "nonzero"),
            "W*": lambda: setattr(self, "clipping", "evenodd"),
            "n": self._end,
            "f": lambda: self._paint("nonzero"),
            "f*": lambda: self._paint("evenodd"),
            "S": self._outline,
            "BT": lambda: setattr(self, "place", Matrix()),
            "ET": lambda: None,
            "Tf": self._choose_font,
            "Ts": lambda rise: setattr(self, "rise", rise),
            "Tm": lambda *six: setattr(self, "place", Matrix(*six)),
            "Td": lambda x, y: setattr(
                self, "place", Matrix(1, 0, 0, 1, x, y) @ self.place
            ),
            "TJ": self._show,
            "Tj": lambda text: self._show([text]),
        }

    def draw(self, content: pikepdf.Stream) -> None:
        """Draw the operators; raise KeyError for one that is not known."""
        for instruction in pikepdf.parse_content_stream(content):
            act = self.operators[str(instruction.operator)]
            act(*(_number(operand) for operand in instruction.operands))

    def _set(self, **changes: Any) -> None:
        self.now = dataclasses.replace(self.now, **changes)

    def _restore(self) -> None:
        self.now = self.saved.pop()

    def _rectangle(self, x: float, y: float, width: float, height: float) -> None:
        self.path.append(f"M{x:g} {y:g}h{width:g}v{height:g}h{-width:g}z")

    def _paint(self, rule: str) -> None:
        self._draw(
            f'd="{"".join(self.path)}" fill="{self.now.fill}" fill-rule="{rule}"'
        )
        self._end()

    def _outline(self) -> None:
        dash = f' stroke-dasharray="{self.now.dash}"' if self.now.dash else ""
        self._draw(
            f'd="{"".join(self.path)}" fill="none" stroke="{self.now.stroke}"'
            f' stroke-width="{self.now.line:g}"{dash}'
        )
        self._end()

    def _draw(self, what: str) -> None:
        opened = "".join(f'<g clip-path="url(#{clip})">' for clip in self.now.clips)
        closed = "</g>" * len(self.now.clips)
        path = f'<path transform="{_in_svg(self.now.matrix)}" {what}/>'
        self.shown.append(opened + path + closed)

    def _end(self) -> None:
        if self.clipping:
            name = f"clip{len(self.defined)}"
            self.defined[name] = (
                f'<clipPath id="{name}"><path d="{"".join(self.path)}"'
                f' transform="{_in_svg(self.now.matrix)}"'
                f' clip-rule="{self.clipping}"/></clipPath>'
            )
            self._set(clips=(*self.now.clips, name))
        self.clipping = ""
        self.path = []

    def _choose_font(self, name: str, size: float) -> None:
        self.font, self.size = name, size

    def _show(self, parts: Sequence[Any]) -> None:
        font = self.fonts[self.font]
        for part in parts:
            if not isinstance(part, pikepdf.String):
                self._move(-float(part))
                continue
            for glyph in glyphs_in([part]):
                self._glyph(font, glyph)
                self._move(font.width(glyph))

    def _move(self, thousandths: float) -> None:
        along = Matrix(1, 0, 0, 1, thousandths / THOUSAND * self.size, 0)
        self.place = along @ self.place

    def _glyph(self, font: _Font, glyph: bytes) -> None:
        name = f"{font.name}-{glyph.hex()}"
        if name not in self.defined:
            path = quoteattr(font.path(glyph))
            self.defined[name] = f'<path id="{name}" d={path}/>'
        scale = self.size * font.scale
        placed = Matrix(scale, 0, 0, scale, 0, self.rise) @ self.place @ self.now.matrix
        where = f'href="#{name}" transform="{_in_svg(placed)}"'
        self.shown.append(f'<use {where} fill="{self.now.fill}"/>')


def _number(operand: Any) -> Any:
    """Return numbers as float, names as text, the rest as it is."""
    if isinstance(operand, pikepdf.Name):
        return str(operand)
    if isinstance(operand, (pikepdf.String, pikepdf.Array)):
        return operand
    return float(operand)


def _colour(parts: Sequence[float]) -> str:
    return "#" + "".join(f"{round(part * 255):02x}" for part in parts)


def _in_svg(matrix: Matrix) -> str:
    parts = (matrix.a, matrix.b, matrix.c, matrix.d, matrix.e, matrix.f)
    return f"matrix({' '.join(f'{float(part):.5g}' for part in parts)})"
