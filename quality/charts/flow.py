"""The flow of mass as a picture: boxes from left to right, ribbons between them.

Drawn in pixels, so that its words keep their size; a narrow screen scrolls it. No
colour but that of the words around it: what is of the root is the dark part of a
ribbon, a loss has a dashed frame, what is still there a grey ground. On paper it is cut
into parts that fit a page.
"""

from __future__ import annotations

import dataclasses
import textwrap
from collections.abc import Callable, Iterable, Iterator
from decimal import Decimal
from fractions import Fraction
from typing import Final

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from batches.flow import Flow, Kind, Node
from batches.shares import Share
from producer.quantities import (
    format_computed_mass,
    format_number,
    format_volume,
)
from quality.charts.layered import BOX, CHANNEL, GAP, LEAST, Band, Box, Layout, lay_out

LETTERS: Final = 22  # in a line of a box, in the widest of the fonts
MOST_ROWS: Final = 2  # of a name
PITCH: Final = 15  # pixels from line to line
PAD: Final = 6  # around everything, for the frames
OVERLAP: Final = 20.0  # of two parts of a cut picture
KEY_WIDTH: Final = 300
BAR: Final = 5  # width of the bar of a box
INDENT: Final = 14  # of the words in a box
FIRST: Final = 11.5  # from the top of a line to its base
WIDEST: Final = 24.0  # pixels of the mass that is shown as an example
LOOK: Final = SafeString(
    ' fill="currentColor" stroke="currentColor" font-size="12" font-family="sans-serif"'
)
BOLD: Final = ' font-weight="700"'
STEP: Final = BOX + CHANNEL

# The frame of each kind; its words say the same.
FRAMES: Final[dict[Kind, str]] = {
    Kind.LOT: ' fill="none"',
    Kind.BATCH: ' fill="none" rx="3"',
    Kind.BOTTLES: ' fill="none" rx="16"',
    Kind.STOCK: ' fill-opacity="0.14" rx="3"',
    Kind.LOSS: ' fill="none" stroke-dasharray="6 4"',
    Kind.OUT: ' fill="none" rx="16" stroke-width="2.5"',
    Kind.GAIN: ' fill="none" stroke-dasharray="2 3"',
}

Address = Callable[[Node], str]


@dataclasses.dataclass(frozen=True, kw_only=True)
class Window:
    """A part of the picture, in its pixels."""

    x: float
    y: float
    width: float
    height: float

    @property
    def right(self) -> float:
        """Its right edge."""
        return self.x + self.width

    def meets(self, left: float, top: float, right: float, bottom: float) -> bool:
        """Say whether something lies inside, at least in part."""
        return (
            left <= self.right
            and right >= self.x
            and top <= self.y + self.height
            and bottom >= self.y
        )


def percent_of(share: Fraction, *, mark: str = ".") -> str:
    """Return a part as percent with three digits: “12.5 %”, “below 0.01 %”."""
    percent = float(share * 100)
    if share and percent < 0.01:  # noqa: PLR2004 - the same as on the lists
        return f"below {format_number(Decimal('0.01'), mark=mark)} %"
    return f"{format_number(Decimal(f'{percent:.3g}'), mark=mark)} %"


def share_of(share: Share, *, mark: str = ".") -> str:
    """Return a share in words, “at least 12.5 %” where the book lacks something."""
    least = "at least " if share.is_least else ""
    return least + percent_of(share.least, mark=mark)


class FlowPicture:
    """A flow laid out, to be drawn as a whole or in parts.

    ``address`` returns the page of a node, “” where there is none; without it nothing
    leads anywhere, as on paper.
    """

    def __init__(
        self, flow: Flow, *, mark: str = ".", address: Address | None = None
    ) -> None:
        self.flow, self.mark, self.address = flow, mark, address
        self.lines = {node.key: list(self._lines(node)) for node in flow.nodes}
        self.layout: Layout = lay_out(
            [node.key for node in flow.nodes],
            [(one.source, one.target, one.mass_mg) for one in flow.ribbons],
            {key: 14.0 + PITCH * len(lines) for key, lines in self.lines.items()},
        )

    @property
    def whole(self) -> Window:
        """All of it."""
        return Window(x=0, y=0, width=self.layout.width, height=self.layout.height)

    def windows(self, width: float, height: float) -> list[Window]:
        """Return parts of at most that size, which together show all of it.

        No column of boxes is cut; a box that is cut is whole in the next part.
        """
        layers = round((self.layout.width + CHANNEL) / STEP)
        columns = layers
        if self.layout.width > width:
            columns = max(1, int((width - CHANNEL) // STEP))
        found: list[Window] = []
        for first in range(0, layers, columns):
            left = first * STEP - (CHANNEL if first else 0)
            right = min((first + columns) * STEP, self.layout.width)
            strip = Window(x=left, y=0, width=right - left, height=self.layout.height)
            found += self._cut(strip, height)
        return found

    def _cut(self, strip: Window, height: float) -> Iterator[Window]:
        """Yield a strip from the first to the last in it, in parts of that height."""
        inside = [(box.y, box.y + box.height) for box in self._boxes(strip)]
        extents = inside + [
            (y, y + band.width)
            for band in self._bands(strip)
            for x, y in band.points
            if strip.x <= x <= strip.right
        ]
        top, end = min(y for y, _ in extents), max(y for _, y in extents)
        while top + height < end:
            yield dataclasses.replace(strip, y=top, height=height)
            after = top + height - OVERLAP
            for y, foot in inside:  # what is cut here is whole there, if it can be
                if foot > top + height and top + height / 3 < y - GAP < after:
                    after = y - GAP
            top = after
        yield dataclasses.replace(strip, y=top, height=end - top)

    def svg(self, window: Window | None = None, *, scale: float = 1.0) -> SafeString:
        """Return a part as SVG, or all of it, with what it shows in words."""
        part = window or self.whole
        width, height = part.width + 2 * PAD, part.height + 2 * PAD
        name = f"flow-{part.x:.0f}-{part.y:.0f}"
        return format_html(
            '<svg class="flow" role="group" width="{}" height="{}" viewBox="{}"'
            ' aria-labelledby="{}-title {}-told"{}>'
            '<title id="{}-title">{}</title><desc id="{}-told">{}</desc>{}{}</svg>',
            f"{width * scale:.1f}",
            f"{height * scale:.1f}",
            f"{part.x - PAD:.1f} {part.y - PAD:.1f} {width:.1f} {height:.1f}",
            name,
            name,
            LOOK,
            name,
            f"Flow of {self.flow.root}",
            name,
            self._told(),
            _joined(self._band(band) for band in self._bands(part)),
            _joined(self._box(box) for box in self._boxes(part)),
        )

    def key(self, *, scale: float = 1.0) -> SafeString:
        """Return how wide a mass is drawn, and what is dark, as SVG to stand below."""
        mass, wide = _sample(self.layout.per_unit)
        words = [f"The smallest ribbons are drawn wider: {LEAST:.0f} px."]
        if mass:
            shown = format_computed_mass(mass, mark=self.mark)
            words.insert(0, f"A ribbon of {shown} is so wide.")
        if any(node.is_root and node.share for node in self.flow.nodes):
            words.append(f"Dark: what is of {self.flow.root}.")
        width, height = KEY_WIDTH, PAD + PITCH * len(words)
        return format_html(
            '<svg class="flow" role="img" width="{}" height="{}" viewBox="0 0 {} {}"'
            ' aria-label="{}"{}><rect stroke="none" fill-opacity="0.5" y="{}"'
            ' width="14" height="{}"/><g stroke="none">{}</g></svg>',
            f"{width * scale:.1f}",
            f"{height * scale:.1f}",
            width,
            height,
            " ".join(words),
            LOOK,
            PAD,
            f"{wide:.1f}",
            _joined(
                format_html(
                    '<text x="22" y="{}">{}</text>', PAD + 10 + PITCH * row, line
                )
                for row, line in enumerate(words)
            ),
        )

    def _bands(self, part: Window) -> Iterator[Band]:
        for band in self.layout.bands:
            ys = [y for _, y in band.points]
            left, right = band.points[0][0], band.points[-1][0]
            if part.meets(left, min(ys), right, max(ys) + band.width):
                yield band

    def _boxes(self, part: Window) -> Iterator[Box]:
        for box in self.layout.boxes:
            if part.meets(box.x + 1, box.y, box.right - 1, box.y + box.height):
                yield box

    # -------------------------------------------------------------- words

    def _lines(self, node: Node) -> Iterator[str]:
        if node.code:
            yield node.code
        yield from _fitted(node.words)
        if node.bottles:
            yield self.bottles_of(node)
        if node.more:
            yield from _fitted(node.more)[:1]
        yield format_computed_mass(self.flow.mass_mg(node.key), mark=self.mark)
        yield from self.shares_of(node)

    def bottles_of(self, node: Node) -> str:
        """Return how many bottles a node has, and how much they hold."""
        plural = "" if node.bottles == 1 else "s"
        volume = format_volume(node.volume_ul, mark=self.mark)
        return f"{node.bottles} bottle{plural}, {volume}"

    def shares_of(self, node: Node) -> Iterator[str]:
        """Yield what part of the root is of a node, or what part of it of the root."""
        if node.part is not None:
            part = percent_of(node.part, mark=self.mark)
            yield f"is {part} of {self.flow.root}"
        shown = not node.is_root and node.kind is not Kind.LOSS
        # All of it is of the root: that is seen.
        if node.share is not None and shown and node.share.least != 1:
            least = "≥ " if node.share.is_least else ""
            share = percent_of(node.share.least, mark=self.mark)
            yield f"{least}{share} is of {self.flow.root}"

    def _told(self) -> str:
        kinds = [
            f"{count} {words}"
            for kind, words in (
                (Kind.LOT, "from raw lots"),
                (Kind.BATCH, "batches"),
                (Kind.BOTTLES, "filling lots"),
                (Kind.STOCK, "still here"),
                (Kind.OUT, "gone"),
                (Kind.LOSS, "losses"),
                (Kind.GAIN, "gains"),
            )
            if (count := sum(node.kind is kind for node in self.flow.nodes))
        ]
        return (
            f"From left to right: {', '.join(kinds)}; {len(self.flow.ribbons)} ways"
            " between them. The table beside it says the same."
        )

    # -------------------------------------------------------------- drawing

    def _band(self, band: Band) -> SafeString:
        nodes = self.flow.by_key
        source, target = nodes[band.source], nodes[band.target]
        mass = "not in the book"
        if band.mass:
            mass = format_computed_mass(band.mass, mark=self.mark)
        dark = float(source.share.least) if source.share else 0.0
        of_root = format_html(
            '<path d="{}" fill-opacity="0.5"/>', _path(band, band.width * dark)
        )
        return format_html(
            '<g stroke="none"><title>{}</title><path d="{}" fill-opacity="{}"/>{}</g>',
            f"{source.name} into {target.name}: {mass}",
            _path(band, band.width),
            "0.2" if band.mass else "0.6",
            of_root if dark else "",
        )

    def _box(self, box: Box) -> SafeString:
        node, lines = self.flow.by_key[box.key], self.lines[box.key]
        page = self.address(node) if self.address else ""
        top = box.y + (box.height - PITCH * len(lines)) / 2 + FIRST
        drawn = format_html(
            '<title>{}</title><rect x="{}" y="{}" width="{}" height="{}"{}{}/>'
            '<g stroke="none">{}{}</g>',
            node.name,
            f"{box.x:.1f}",
            f"{box.y:.1f}",
            f"{BOX:.0f}",
            f"{box.height:.1f}",
            SafeString(FRAMES[node.kind]),
            SafeString(' stroke-width="4"') if node.is_root else "",
            _joined(_bars(box)),
            _joined(
                format_html(
                    '<text x="{}" y="{}"{}>{}</text>',
                    f"{box.x + INDENT:.1f}",
                    f"{top + PITCH * row:.1f}",
                    SafeString(BOLD) if node.code and not row else "",
                    line,
                )
                for row, line in enumerate(lines)
            ),
        )
        if page:
            return format_html('<a href="{}">{}</a>', page, drawn)
        return format_html("<g>{}</g>", drawn)


def _bars(box: Box) -> Iterator[SafeString]:
    """Yield a bar where ribbons enter, and one where they leave."""
    for total, x in ((box.into, box.x), (box.out, box.right - BAR)):
        if total:
            yield format_html(
                '<rect x="{}" y="{}" width="{}" height="{}" fill-opacity="0.75"/>',
                f"{x:.1f}",
                f"{box.y + (box.height - total) / 2:.1f}",
                BAR,
                f"{total:.1f}",
            )


def _path(band: Band, width: float) -> str:
    """Return the outline of a ribbon, of its upper part where ``width`` is less."""
    (x, y), *rest = band.points
    there, back = [f"M{x:.1f} {y:.1f}"], []
    for place, (to_x, to_y) in enumerate(rest):
        if place % 2:  # past a layer, level
            there.append(f"H{to_x:.1f}")
            back.append(f"H{x:.1f}")
        else:
            mid = (x + to_x) / 2
            there.append(
                f"C{mid:.1f} {y:.1f} {mid:.1f} {to_y:.1f} {to_x:.1f} {to_y:.1f}"
            )
            back.append(
                f"C{mid:.1f} {to_y + width:.1f} {mid:.1f} {y + width:.1f}"
                f" {x:.1f} {y + width:.1f}"
            )
        x, y = to_x, to_y
    return "".join((*there, f"V{y + width:.1f}", *reversed(back), "Z"))


def _sample(per_unit: float) -> tuple[int, float]:
    """Return a round mass that is drawn as wide as can be looked at, and that width."""
    if not per_unit:
        return 0, 0.0
    mass = 1
    while mass * 10 * per_unit <= WIDEST:
        mass *= 10
    mass *= next(times for times in (5, 2, 1) if mass * times * per_unit <= WIDEST)
    return mass, mass * per_unit


def _fitted(words: str) -> list[str]:
    """Return words in lines that fit a box; of a long name the last is shortened."""
    rows = textwrap.wrap(words, LETTERS) or [""]
    if len(rows) > MOST_ROWS:
        rows = [rows[0], f"{' '.join(rows[1:])[: LETTERS - 1].rstrip()}…"]
    return rows


def _joined(parts: Iterable[SafeString]) -> SafeString:
    return format_html_join("", "{}", ((part,) for part in parts))
