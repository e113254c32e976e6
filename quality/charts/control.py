"""A series in time as a picture: its points, its lines, and what stands out.

Drawn in percent of the width and pixels of the height, so that it fits a phone and a
print while its words keep their size. No colour but that of the words around it: a
point beyond a limit is a diamond with its number, one of a pattern a square, any other
a dot. A ring around it says that its record has other results too, a cross over it that
it sets no limit.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Collection, Iterable, Iterator, Sequence
from decimal import Decimal

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from producer.quantities import format_number
from quality.statistics.control import EwmaChart, IndividualsChart

MOST_POINTS = 60  # more than a phone can part; the older ones stay in the table
HEIGHT, TOP, BOTTOM = 272, 22, 244  # pixels: of all, of the highest and lowest point
LEFT, RIGHT = 27.0, 98.0  # percent: before it the words of the lines
FARTHEST = 6.0  # σ: what lies farther is drawn at the edge, with a triangle

DOT = "M0-3.2A3.2 3.2 0 1 1 0 3.2 3.2 3.2 0 1 1 0-3.2Z"
DIAMOND = "M0-8 8 0 0 8-8 0Z"
SQUARE = "M-5.5-5.5h11v11h-11Z"
RING = "M0-11A11 11 0 1 1 0 11 11 11 0 1 1 0-11Z"
CROSS = "M-8-8 8 8M8-8-8 8"
UP, DOWN = "M0-9 8 6H-8Z", "M0 9-8-6H8Z"


@dataclasses.dataclass(frozen=True, kw_only=True)
class Level:
    """A line across: its words and its height; the centre is whole, a limit dashed."""

    words: str
    value: float
    is_limit: bool = True


@dataclasses.dataclass(frozen=True, kw_only=True)
class Picture:
    """What is drawn.

    ``first`` is the number of the first value, ``patterned`` are positions of values
    that belong to a finding, ``ringed`` of those with other results, ``crossed`` of
    those that set no limit; ``spread`` is the σ of a value, which sets the scale.
    """

    title: str
    values: Sequence[float]
    levels: Sequence[Level]
    spread: float
    first: int = 1
    patterned: Collection[int] = ()
    ringed: Collection[int] = ()
    crossed: Collection[int] = ()
    mark: str = "."

    @property
    def places(self) -> int:
        """How many decimals the lines are told with: two digits of the spread."""
        return max(0, 1 - math.floor(math.log10(self.spread)))

    def told(self, value: float) -> str:
        """Return a value with these decimals."""
        number = Decimal(f"{value:.12g}")
        return format_number(number, mark=self.mark, places=self.places)

    def beyond(self, place: int) -> bool:
        """Say whether a value lies beyond a limit."""
        limits = [level.value for level in self.levels if level.is_limit]
        centre = next(x.value for x in self.levels if not x.is_limit)
        value = self.values[place]
        return any(
            value > limit >= centre or value < limit <= centre for limit in limits
        )


def individuals_picture(
    chart: IndividualsChart,
    name: str,
    *,
    first: int = 1,
    patterned: Collection[int] = (),
    ringed: Collection[int] = (),
    crossed: Collection[int] = (),
    mark: str = ".",
) -> SafeString:
    """Return the values with their limits."""
    return draw(
        Picture(
            title=f"Individuals chart of {name}",
            values=chart.values,
            levels=_levels(chart.centre, chart.lower, chart.upper),
            spread=chart.sigma,
            first=first,
            patterned=patterned,
            ringed=ringed,
            crossed=crossed,
            mark=mark,
        )
    )


def ranges_picture(
    chart: IndividualsChart, name: str, *, first: int = 1, mark: str = "."
) -> SafeString:
    """Return the steps from each value to the next, with their upper limit."""
    return draw(
        Picture(
            title=f"Moving ranges of {name}",
            values=chart.moving_ranges,
            levels=[
                Level(words="upper limit", value=chart.range_limit),
                Level(words="mean step", value=chart.mean_range, is_limit=False),
                Level(words="no step", value=0),
            ],
            spread=chart.sigma,
            first=first + 1,
            mark=mark,
        )
    )


def ewma_picture(
    chart: EwmaChart, name: str, *, first: int = 1, mark: str = "."
) -> SafeString:
    """Return the weighted means with their limits, which must be the asymptotic ones.

    Limits that open from the first point on are no lines; they are drawn as they are
    at the last point.
    """
    return draw(
        Picture(
            title=f"Weighted means of {name}",
            values=chart.smoothed,
            levels=_levels(chart.start, chart.lower[-1], chart.upper[-1]),
            spread=(chart.upper[-1] - chart.start) / 3,
            first=first,
            mark=mark,
        )
    )


def errors_picture(
    errors: Sequence[float], tolerance: float, name: str, *, mark: str = "."
) -> SafeString:
    """Return the errors of an instrument at its checks, with the largest that pass."""
    return draw(
        Picture(
            title=f"Errors of {name}",
            values=errors,
            levels=[
                Level(words="most", value=tolerance),
                Level(words="no error", value=0, is_limit=False),
                Level(words="least", value=-tolerance),
            ],
            spread=tolerance / 3,
            mark=mark,
        )
    )


def _levels(centre: float, lower: float, upper: float) -> list[Level]:
    return [
        Level(words="upper limit", value=upper),
        Level(words="centre", value=centre, is_limit=False),
        Level(words="lower limit", value=lower),
    ]


# ------------------------------------------------------------------ drawing


def draw(picture: Picture) -> SafeString:
    """Return the picture as SVG, with what it shows in words for who cannot see it.

    The newest ``MOST_POINTS`` are drawn; the words are about all of them.
    """
    scale = _Scale(picture)
    shown = range(max(0, len(picture.values) - MOST_POINTS), len(picture.values))
    places = {place: _across(place - shown.start, len(shown)) for place in shown}
    return format_html(
        '<svg class="series" role="img" width="100%" height="{}" fill="currentColor"'
        ' stroke="currentColor" font-size="13" font-family="sans-serif"'
        ' aria-label="{}">{}{}{}{}{}</svg>',
        HEIGHT,
        _alternative(picture),
        _joined(_line(picture, scale, level) for level in picture.levels),
        _joined(_strokes(picture, scale, places)),
        _joined(_marker(picture, scale, place, x) for place, x in places.items()),
        _joined(_numbers(picture, scale, places)),
        _joined(_ends(picture, places)),
    )


class _Scale:
    """Heights of values in pixels from the top."""

    def __init__(self, picture: Picture) -> None:
        centre = next(x.value for x in picture.levels if not x.is_limit)
        reach = FARTHEST * picture.spread
        inside = [
            min(max(value, centre - reach), centre + reach) for value in picture.values
        ]
        lines = [level.value for level in picture.levels]
        self.high, self.low = max(*inside, *lines), min(*inside, *lines)

    def y(self, value: float) -> float:
        share = (self.high - value) / (self.high - self.low)
        return TOP + min(max(share, 0.0), 1.0) * (BOTTOM - TOP)

    def holds(self, value: float) -> bool:
        slack = 1e-9 * (self.high - self.low)
        return self.low - slack <= value <= self.high + slack


def _across(place: int, count: int) -> float:
    if count == 1:
        return (LEFT + RIGHT) / 2
    inset = 2.0
    return LEFT + inset + (RIGHT - LEFT - inset) * place / (count - 1)


def _line(picture: Picture, scale: _Scale, level: Level) -> SafeString:
    y = scale.y(level.value)
    return format_html(
        '<line x1="{}%" x2="100%" y1="{}" y2="{}" stroke-width="{}"{}/>'
        '<text stroke="none" x="0" y="{}">{}</text>'
        '<text class="number" stroke="none" x="0" y="{}">{}</text>',
        LEFT,
        f"{y:.1f}",
        f"{y:.1f}",
        "1.6" if level.is_limit else "1",
        SafeString(' stroke-dasharray="7 4"') if level.is_limit else "",
        f"{y - 4:.1f}",
        level.words,
        f"{y + 14:.1f}",
        picture.told(level.value),
    )


def _strokes(
    picture: Picture, scale: _Scale, places: dict[int, float]
) -> Iterator[SafeString]:
    for place, x in places.items():
        if place + 1 in places:
            yield format_html(
                '<line x1="{}%" y1="{}" x2="{}%" y2="{}" stroke-opacity="0.6"/>',
                f"{x:.2f}",
                f"{scale.y(picture.values[place]):.1f}",
                f"{places[place + 1]:.2f}",
                f"{scale.y(picture.values[place + 1]):.1f}",
            )


def _marker(picture: Picture, scale: _Scale, place: int, x: float) -> SafeString:
    value = picture.values[place]
    shape, style = DOT, ""
    if not scale.holds(value):
        shape = UP if value > scale.high else DOWN
    elif picture.beyond(place):
        shape = DIAMOND
    elif place in picture.patterned:
        shape, style = SQUARE, ' fill-opacity="0.25" stroke-width="1.6"'
    around = [(RING, picture.ringed), (CROSS, picture.crossed)]
    return format_html(
        '<svg x="{}%" y="{}" overflow="visible"><path d="{}"{}/>{}</svg>',
        f"{x:.2f}",
        f"{scale.y(value):.1f}",
        shape,
        SafeString(style),
        _joined(
            format_html('<path d="{}" fill="none" stroke-width="1.4"/>', path)
            for path, places in around
            if place in places
        ),
    )


def _numbers(
    picture: Picture, scale: _Scale, places: dict[int, float]
) -> Iterator[SafeString]:
    """Return the number of each point beyond a limit, on the side away from the centre.

    The first and the last point have theirs at the foot of the picture.
    """
    centre = next(x.value for x in picture.levels if not x.is_limit)
    for place, x in places.items():
        if picture.beyond(place) and min(places) < place < max(places):
            value = picture.values[place]
            yield format_html(
                '<text class="number" stroke="none" text-anchor="middle" x="{}%"'
                ' y="{}">{}</text>',
                f"{x:.2f}",
                f"{scale.y(value) + (-12 if value > centre else 22):.1f}",
                place + picture.first,
            )


def _ends(picture: Picture, places: dict[int, float]) -> Iterator[SafeString]:
    """Return the numbers of the first and the last point, to stand under them."""
    for place in sorted({min(places), max(places)}):
        yield format_html(
            '<text class="number" stroke="none" text-anchor="middle" x="{}%" y="{}">'
            "{}</text>",
            f"{places[place]:.2f}",
            HEIGHT - 4,
            place + picture.first,
        )


def _joined(parts: Iterable[SafeString]) -> SafeString:
    return format_html_join("", "{}", ((part,) for part in parts))


def _alternative(picture: Picture) -> str:
    beyond = filter(picture.beyond, range(len(picture.values)))
    lines = ", ".join(
        f"{level.words} {picture.told(level.value)}" for level in picture.levels
    )
    last = picture.first + len(picture.values) - 1
    return (
        f"{picture.title}: points {picture.first} to {last}; {lines}. Beyond a limit:"
        f" {_told_places(picture, beyond) or 'none'}."
        + _of_which("With other results too", _told_places(picture, picture.ringed))
        + _of_which("Setting no limit", _told_places(picture, picture.crossed))
        + f" The newest is {picture.told(picture.values[-1])}."
    )


def _told_places(picture: Picture, places: Iterable[int]) -> str:
    return ", ".join(str(place + picture.first) for place in sorted(places))


def _of_which(words: str, places: str) -> str:
    return f" {words}: {places}." if places else ""
