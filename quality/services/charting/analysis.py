"""What the chart of a series says, in sentences a maker can act on."""

from __future__ import annotations

import dataclasses
import enum
from collections.abc import Collection, Sequence
from typing import Final

from quality.services.charting.plain import Series
from quality.statistics.capability import Capability, NotAssessable, capability
from quality.statistics.control import (
    FIRM_FROM,
    PROVISIONAL_FROM,
    EwmaChart,
    IndividualsChart,
    Standing,
    ewma_chart,
    individuals_chart,
)
from quality.statistics.errors import NoSpreadError
from quality.statistics.run_rules import WECO_RULES, Rule, signals


@dataclasses.dataclass(frozen=True, kw_only=True)
class Span:
    """Which points set the limits, counted from 1; what comes before is left out.

    ``apart`` are the positions, from 0 on, of points that do not set them.
    """

    first: int
    last: int
    apart: frozenset[int] = frozenset()

    @property
    def setting(self) -> list[int]:
        """The positions, from 0 on, of the points that set the limits."""
        return [
            place
            for place in range(self.first - 1, self.last)
            if place not in self.apart
        ]

    def __str__(self) -> str:
        return f"points {self.first} to {self.last}"


@dataclasses.dataclass(frozen=True, kw_only=True)
class Found:
    """Something that chance alone seldom does: the words, who says so, which points.

    ``points`` are positions in the series of the analysis, from 0 on.
    """

    sentence: str
    origin: str
    points: tuple[int, ...]


class Mark(enum.StrEnum):
    """How a point stands out."""

    NONE = ""
    LEFT_OUT = "left_out"
    BEYOND = "beyond"
    PATTERN = "pattern"


@dataclasses.dataclass(frozen=True, kw_only=True)
class Analysis:
    """The charts of a series with what was found.

    Without enough points, or where they do not move, there is no chart; ``sentence``
    then says why, and else which points set the limits. ``offset`` is how many points
    the span leaves out before the first.
    """

    span: Span
    sentence: str
    chart: IndividualsChart | None
    ewma: EwmaChart | None
    found: list[Found]
    capability: Capability | NotAssessable | None

    @property
    def offset(self) -> int:
        """How many points lie before the first one that counts."""
        return self.span.first - 1

    def drawn(self, places: Collection[int]) -> set[int]:
        """Return positions in the series as positions in the charts."""
        return {place - self.offset for place in places if place >= self.offset}

    @property
    def patterned(self) -> set[int]:
        """The positions of all points of a finding."""
        return {point for found in self.found for point in found.points}

    def mark(self, place: int) -> Mark:
        """Return how the point at this position of the series stands out, if at all."""
        if self.chart is None:
            return Mark.NONE
        if place < self.offset:
            return Mark.LEFT_OUT
        value = self.chart.values[place - self.offset]
        if not self.chart.lower <= value <= self.chart.upper:
            return Mark.BEYOND
        return Mark.PATTERN if place - self.offset in self.patterned else Mark.NONE


RANGE_ORIGIN: Final = "NIST/SEMATECH e-Handbook 6.3.2.2, 3.267 times the mean step"
EWMA_ORIGIN: Final = "NIST/SEMATECH e-Handbook 6.3.2.4, λ = 0.3, three sigma"


def analysis_of(
    series: Series,
    *,
    first: int = 1,
    last: int | None = None,
    rules: Sequence[Rule] = WECO_RULES,
    with_rejected: bool = False,
) -> Analysis:
    """Return charts, findings and capability of a series.

    Limits come from points ``first`` to ``last``: by default from the first twenty,
    and from all while there are fewer. They do not move when a batch is added: other
    points are chosen by somebody, never by the program. Numbers that do not fit the
    series fall back to the nearest that do. A batch that was rejected stays in the
    picture and sets no limit, unless it is asked for ``with_rejected``.
    """
    apart = frozenset() if with_rejected else frozenset(series.apart)
    span = _span(len(series.points), first, last, apart)
    values = series.values[span.first - 1 :]
    chart, sentence = _chart(series, span)
    if chart is None:
        return Analysis(
            span=span,
            sentence=sentence,
            chart=None,
            ewma=None,
            found=[],
            capability=_capability(series, values),
        )
    ewma = ewma_chart(values, start=chart.centre, sigma=chart.sigma)
    return Analysis(
        span=span,
        sentence=sentence,
        chart=chart,
        ewma=ewma,
        found=_found(chart, ewma, rules, span.first),
        capability=_capability(series, values),
    )


def _span(count: int, first: int, last: int | None, apart: frozenset[int]) -> Span:
    """Return the span asked for, or the nearest with enough points to set limits."""
    can = [place + 1 for place in range(count) if place not in apart]
    latest = can[-PROVISIONAL_FROM] if len(can) >= PROVISIONAL_FROM else 1
    start = max(1, min(first, latest))
    setting = [place for place in can if place >= start]
    enough = setting[PROVISIONAL_FROM - 1 :][:1] or [count]
    usual = setting[FIRM_FROM - 1 :][:1] or [count]
    end = usual[0] if last is None else max(last, enough[0])
    return Span(first=start, last=min(count, end), apart=apart)


def _chart(series: Series, span: Span) -> tuple[IndividualsChart | None, str]:
    count = len(span.setting)
    if count < PROVISIONAL_FROM:
        results = "1 result" if count == 1 else f"{count} results"
        return None, (
            f"{results} so far{_without(series, span)}: limits from fewer than"
            f" {PROVISIONAL_FROM} would say next to nothing."
        )
    try:
        chart = individuals_chart(
            series.values[span.first - 1 :],
            baseline=span.last - span.first + 1,
            apart={place - span.first + 1 for place in span.apart},
        )
    except NoSpreadError as error:
        return None, str(error)
    firm = chart.standing is Standing.FIRM
    return chart, (
        f"The limits come from {span} and stay as they are when batches are added."
        if firm
        else f"The limits come from {span} and are provisional: firm from {FIRM_FROM}"
        " points on."
    ) + _computed_from(series, span)


def _computed_from(series: Series, span: Span) -> str:
    """Return how many results set the limits, and the first and last of them."""
    ends = [series.points[span.setting[end]].label for end in (0, -1)]
    return (
        f" They are computed from these {len(span.setting)} results,"
        f" {ends[0]} to {ends[1]}{_without(series, span)}."
    )


def _without(series: Series, span: Span) -> str:
    """Return which points between them do not set the limits, and why."""
    named = [
        f"{series.points[place].label} ({series.points[place].apart})"
        for place in sorted(span.apart)
        if span.first <= place + 1 <= span.last
    ]
    return f", without {', '.join(named)}" if named else ""


def _found(
    chart: IndividualsChart, ewma: EwmaChart, rules: Sequence[Rule], first: int
) -> list[Found]:
    runs = [
        Found(
            sentence=f"{signal.told(first)}.",
            origin=f"rule {signal.rule.number}, {signal.rule.origin}",
            points=signal.points,
        )
        for signal in signals(
            chart.values, centre=chart.centre, sigma=chart.sigma, rules=rules
        )
    ]
    steps = [
        Found(
            sentence=f"Point {place + first} lies too far from the one before it.",
            origin=RANGE_ORIGIN,
            points=(place,),
        )
        for place in chart.wide_steps
    ]
    drifts = [
        Found(
            sentence="The weighted mean lies beyond its limits at"
            f" {_places(points, first)}: the level has moved.",
            origin=EWMA_ORIGIN,
            points=points,
        )
        for points in _runs(ewma.beyond)
    ]
    return [*runs, *steps, *drifts]


def _runs(places: Sequence[int]) -> list[tuple[int, ...]]:
    """Return neighbours together: 3, 4, 5, 9 are two runs."""
    runs: list[list[int]] = []
    for place in places:
        if runs and place == runs[-1][-1] + 1:
            runs[-1].append(place)
        else:
            runs.append([place])
    return [tuple(run) for run in runs]


def _places(points: Sequence[int], first: int) -> str:
    if len(points) == 1:
        return f"point {points[0] + first}"
    return f"points {points[0] + first} to {points[-1] + first}"


def _capability(
    series: Series, values: Sequence[float]
) -> Capability | NotAssessable | None:
    """Return the indices against the limits in force; None where there is no limit."""
    lower, upper = series.limits.lower, series.limits.upper
    if lower is None and upper is None:
        return None
    return capability(
        values,
        lower=None if lower is None else float(lower),
        upper=None if upper is None else float(upper),
    )
