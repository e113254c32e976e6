"""A value with its ± between limits as a picture: how near it lies, and to what.

Drawn in percent of the width and pixels of the height, so that it fits a phone and a
print while its words keep their size. No colour but that of the words around it: where
a value is allowed the ground is grey, a guard band has a dashed frame, a limit is a
thick line with its figure. The shape on the value says the outcome, as its words do.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from decimal import Decimal
from typing import Final

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from producer.quantities import format_number
from quality.charts.control import DIAMOND, DOT, DOWN, UP
from quality.services.reading_order.judgements import Shown
from quality.statistics.conformity import Verdict

HEIGHT, TOP, BOTTOM, MIDDLE = 96, 32, 72, 52  # pixels
LEFT, RIGHT = 3.0, 97.0  # percent: the axis
NEAR, FULL = 32.0, 100.0  # percent: nearer to an end than that, words turn inwards
FARTHEST = 2  # windows: what lies farther is drawn at the edge, with an arrow
CAP = 6  # pixels: half an end of the ±

# The shape of each outcome: round inside, a diamond outside; hollow where in doubt.
SHAPES: Final[dict[Verdict | None, tuple[str, str]]] = {
    Verdict.PASS: (DOT, ""),
    Verdict.CONDITIONAL_PASS: (DOT, ' fill="none" stroke-width="2"'),
    Verdict.CONDITIONAL_FAIL: (DIAMOND, ' fill="none" stroke-width="2"'),
    Verdict.FAIL: (DIAMOND, ""),
    None: (DOT, ""),
}


def window_picture(shown: Shown, mark: str = ".") -> SafeString:
    """Return the picture of a judgement with a text alternative; “” without a value.

    It has no width of its own. What a value cannot be is not drawn: without an
    uncertainty there is no ±, without a guard band no frame.
    """
    if shown.value is None or not shown.has_limits:
        return SafeString("")
    drawing = _Drawing(shown, shown.value, mark)
    return format_html(
        '<svg class="window" role="img" width="100%" height="{}" fill="currentColor"'
        ' stroke="currentColor" font-size="13" font-family="sans-serif"'
        ' aria-label="{}">{}</svg>',
        HEIGHT,
        drawing.told(),
        format_html_join("", "{}", ((part,) for part in drawing.parts())),
    )


@dataclasses.dataclass(frozen=True)
class _Side:
    """A limit: where it lies, and its words."""

    at: float
    words: str


@dataclasses.dataclass(frozen=True)
class _Axis:
    """Values as percent of the width."""

    low: float
    high: float

    def x(self, value: float) -> float:
        share = (value - self.low) / (self.high - self.low)
        return LEFT + min(max(share, 0.0), 1.0) * (RIGHT - LEFT)

    def holds(self, value: float) -> bool:
        return self.low <= value <= self.high


class _Drawing:
    def __init__(self, shown: Shown, value: Decimal, mark: str) -> None:
        self.shown, self.mark = shown, mark
        self.value = float(value)
        self.spread = float(shown.expanded_uncertainty)
        self.band = float(shown.guard_band)
        self.sides = [
            _Side(
                float(limit), f"{words} {format_number(limit, mark=mark)}{shown.unit}"
            )
            for limit, words in ((shown.lower, "at least"), (shown.upper, "at most"))
            if limit is not None
        ]
        self.axis = self._axis()

    def _axis(self) -> _Axis:
        """Reach over limits and bands, and over the value unless it is far away."""
        ends = [side.at + way * self.band for side in self.sides for way in (-1, 1)]
        width = max(ends) - min(ends) or 2 * self.spread or abs(self.value) or 1.0
        low, high = min(ends) - FARTHEST * width, max(ends) + FARTHEST * width
        reach = [min(max(self.value + way * self.spread, low), high) for way in (-1, 1)]
        left, right = min(*ends, *reach), max(*ends, *reach)
        room = 0.12 * ((right - left) or width)
        return _Axis(left - room, right + room)

    def told(self) -> str:
        """Return the picture in words, for who cannot see it."""
        band = format_number(Decimal(f"{self.band:.3g}"), mark=self.mark)
        guarded = f", with a guard band of {band}{self.shown.unit}" if self.band else ""
        return (
            f"{self.shown.name} {self.shown.value_in_words(self.mark)} against"
            f" {self.shown.limits_in_words(self.mark)}{guarded}: {self._outcome()}."
        )

    def _outcome(self) -> str:
        return self.shown.verdict.label if self.shown.verdict else "not judged"

    def parts(self) -> Iterator[SafeString]:
        yield self._allowed()
        if self.band:
            for side in self.sides:
                yield self._guarded(side.at)
        yield format_html(
            '<line x1="{}%" x2="{}%" y1="{}" y2="{}" stroke-opacity="0.6"/>',
            LEFT,
            RIGHT,
            MIDDLE,
            MIDDLE,
        )
        for row, side in enumerate(self.sides):
            yield self._limit(side, row)
        yield from self._measured()

    def _allowed(self) -> SafeString:
        start = LEFT if self.shown.lower is None else self.axis.x(self.sides[0].at)
        end = RIGHT if self.shown.upper is None else self.axis.x(self.sides[-1].at)
        return _rect(start, end, ' stroke="none" fill-opacity="0.14"')

    def _guarded(self, side: float) -> SafeString:
        start, end = self.axis.x(side - self.band), self.axis.x(side + self.band)
        return _rect(start, end, ' fill="none" stroke-dasharray="4 3"')

    def _limit(self, side: _Side, row: int) -> SafeString:
        x = self.axis.x(side.at)
        return format_html(
            '<line x1="{}%" x2="{}%" y1="{}" y2="{}" stroke-width="3"/>{}',
            f"{x:.2f}",
            f"{x:.2f}",
            TOP - 4,
            BOTTOM + 4,
            _text(x, 11 + 14 * row, side.words),
        )

    def _measured(self) -> Iterator[SafeString]:
        left, right = (self.axis.x(self.value + way * self.spread) for way in (-1, 1))
        if self.spread:
            yield format_html(
                '<line x1="{}%" x2="{}%" y1="{}" y2="{}" stroke-width="2"/>',
                f"{left:.2f}",
                f"{right:.2f}",
                MIDDLE,
                MIDDLE,
            )
            for x in (left, right):
                yield format_html(
                    '<line x1="{}%" x2="{}%" y1="{}" y2="{}" stroke-width="2"/>',
                    f"{x:.2f}",
                    f"{x:.2f}",
                    MIDDLE - CAP,
                    MIDDLE + CAP,
                )
        x = self.axis.x(self.value)
        shape, style = self._shape()
        yield format_html(
            '<svg x="{}%" y="{}" overflow="visible"><path d="{}"{}/></svg>',
            f"{x:.2f}",
            MIDDLE,
            shape,
            SafeString(style),
        )
        words = f"{self.shown.value_in_words(self.mark)}: {self._outcome()}"
        yield _text(x, HEIGHT - 5, words)

    def _shape(self) -> tuple[str, str]:
        if self.axis.holds(self.value):
            return SHAPES[self.shown.verdict]
        # An arrow that lies on its side: it is farther away than the picture reaches.
        shape = UP if self.value > self.axis.high else DOWN
        return shape, ' transform="rotate(90)"'


def _rect(start: float, end: float, style: str) -> SafeString:
    return format_html(
        '<rect x="{}%" y="{}" width="{}%" height="{}"{}/>',
        f"{start:.2f}",
        TOP,
        f"{end - start:.2f}",
        BOTTOM - TOP,
        SafeString(style),
    )


def _text(x: float, y: int, words: str) -> SafeString:
    """Return words at a place, near an end turned inwards so that they stay inside."""
    anchor = "start" if x < NEAR else "end" if x > FULL - NEAR else "middle"
    return format_html(
        '<text stroke="none" text-anchor="{}" x="{}%" y="{}">{}</text>',
        anchor,
        f"{x:.2f}",
        y,
        words,
    )
