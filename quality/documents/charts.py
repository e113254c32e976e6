"""A chart with what it says and its points: the same on the page and on paper."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from typing import Any, Final

from django.utils.safestring import SafeString

from producer import prints
from producer.middleware import decimal_mark
from quality.charts.control import (
    MOST_POINTS,
    ewma_picture,
    individuals_picture,
    ranges_picture,
)
from quality.services.charting import Analysis, Found, Point, Series

TEMPLATE: Final = "quality/chart_print.html"


@dataclasses.dataclass(frozen=True, kw_only=True)
class Picture:
    """A picture with its heading."""

    heading: str
    svg: SafeString


@dataclasses.dataclass(frozen=True, kw_only=True)
class Row:
    """A point with its number and what stands out about it."""

    number: int
    point: Point
    mark: str = ""
    sets_no_limit: bool = False


@dataclasses.dataclass(frozen=True, kw_only=True)
class Signal:
    """A finding with the records it is about."""

    found: Found
    rows: list[Row]


def context_of(series: Series, analysis: Analysis) -> Mapping[str, Any]:
    """Return what the page and the print show of a chart."""
    return {
        "series": series,
        "analysis": analysis,
        "pictures": _pictures(series, analysis),
        "signals": [_signal(series, analysis, found) for found in analysis.found],
        "rows": _rows(series, analysis),
        "most": MOST_POINTS,
    }


def chart_pdf(series: Series, analysis: Analysis, *, printed_by: str) -> bytes:
    """Return the chart on A4 with its table."""
    return prints.pdf(TEMPLATE, context_of(series, analysis), printed_by=printed_by)


def _pictures(series: Series, analysis: Analysis) -> list[Picture]:
    if analysis.chart is None or analysis.ewma is None:
        return []
    settings: dict[str, Any] = {"first": analysis.span.first, "mark": decimal_mark()}
    return [
        Picture(
            heading="Each result",
            svg=individuals_picture(
                analysis.chart,
                series.name,
                patterned=analysis.patterned,
                ringed=analysis.drawn(series.with_others),
                crossed=analysis.drawn(analysis.span.apart),
                **settings,
            ),
        ),
        Picture(
            heading="Steps from one to the next",
            svg=ranges_picture(analysis.chart, series.name, **settings),
        ),
        Picture(
            heading="Weighted mean, for slow drifts",
            svg=ewma_picture(analysis.ewma, series.name, **settings),
        ),
    ]


def _signal(series: Series, analysis: Analysis, found: Found) -> Signal:
    places = [place + analysis.offset for place in found.points]
    return Signal(
        found=found,
        rows=[Row(number=place + 1, point=series.points[place]) for place in places],
    )


def _rows(series: Series, analysis: Analysis) -> list[Row]:
    """Return the points that are drawn, newest first."""
    shown = list(enumerate(series.points))[-MOST_POINTS:]
    return [
        Row(
            number=place + 1,
            point=point,
            mark=analysis.mark(place),
            sets_no_limit=place in analysis.span.apart,
        )
        for place, point in reversed(shown)
    ]
