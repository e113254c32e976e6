"""Charts of results, and the page of an instrument with its checks."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse

from batches.models import Formula
from producer.middleware import decimal_mark
from producer.models import Instrument, Right
from producer.quantities import whole_number
from producer.views import acts
from producer.views.acts import needs, read_only, user_of
from quality.charts.control import (
    MOST_POINTS,
    errors_picture,
    ewma_picture,
    individuals_picture,
    ranges_picture,
)
from quality.forms.checking import FORMS
from quality.services import charting, checking
from quality.services.charting import Analysis, Chartable, Point, Series
from quality.statistics.run_rules import NELSON_RULES, WECO_RULES

RULES = {"weco": WECO_RULES, "nelson": NELSON_RULES}
FEWEST_ERRORS = 2


@read_only
def charts(request: HttpRequest) -> HttpResponse:
    """List what can be charted, with how many results there are."""
    return render(request, "quality/charts.html", {"formulas": charting.counts()})


@read_only
def chart(request: HttpRequest, pk: int, characteristic: str) -> HttpResponse:
    """Show a series of a formula: its charts, what they say, and its points."""
    formula = get_object_or_404(Formula, pk=pk)
    try:
        series = charting.series_of(formula, Chartable(characteristic))
    except ValueError as error:
        raise Http404 from error
    asked = request.GET
    rules = asked.get("rules", "weco")
    analysis = charting.analysis_of(
        series,
        first=whole_number(asked.get("first"), default=1),
        last=whole_number(asked.get("last"), default=0) or None,
        rules=RULES.get(rules, WECO_RULES),
    )
    return render(
        request,
        "quality/chart.html",
        {
            "formula": formula,
            "series": series,
            "analysis": analysis,
            "pictures": _pictures(series, analysis),
            "rows": _rows(series, analysis),
            "most": MOST_POINTS,
            "rules": rules if rules in RULES else "weco",
        },
    )


def _pictures(series: Series, analysis: Analysis) -> list[Mapping[str, Any]]:
    if analysis.chart is None or analysis.ewma is None:
        return []
    name = f"{series.characteristic.label} of {series.formula.name}"
    settings: dict[str, Any] = {"first": analysis.span.first, "mark": decimal_mark()}
    return [
        {
            "heading": "Each result",
            "svg": individuals_picture(
                analysis.chart, name, patterned=_patterned(analysis), **settings
            ),
        },
        {
            "heading": "Steps from one to the next",
            "svg": ranges_picture(analysis.chart, name, **settings),
        },
        {
            "heading": "Weighted mean, for slow drifts",
            "svg": ewma_picture(analysis.ewma, name, **settings),
        },
    ]


def _patterned(analysis: Analysis) -> set[int]:
    return {point for found in analysis.found for point in found.points}


def _rows(series: Series, analysis: Analysis) -> list[tuple[int, Point, str]]:
    """Return number, point and what stands out, newest first."""
    shown = list(enumerate(series.points))[-MOST_POINTS:]
    return [
        (place + 1, point, _remark(place - analysis.offset, analysis))
        for place, point in reversed(shown)
    ]


def _remark(place: int, analysis: Analysis) -> str:
    drawn = analysis.chart
    if drawn is None:
        return ""
    if place < 0:
        return "left out"
    if not drawn.lower <= drawn.values[place] <= drawn.upper:
        return "beyond a limit"
    return "part of a pattern" if place in _patterned(analysis) else ""


@read_only
def instrument(request: HttpRequest, pk: int) -> HttpResponse:
    """Show what a reading of an instrument is worth, and its checks."""
    entry = get_object_or_404(Instrument, pk=pk)
    worth = checking.worth_of(entry)
    picture = ""
    if worth.newest is not None and len(worth.errors) >= FEWEST_ERRORS:
        picture = errors_picture(
            [float(error) for error in worth.errors],
            float(worth.newest.tolerance),
            entry.name,
            mark=decimal_mark(),
        )
    return render(
        request,
        "quality/instrument.html",
        {
            "instrument": entry,
            "kind": checking.kind_words(entry),
            "worth": worth,
            "picture": picture,
            "checks": [
                (check, checking.error_of(check), checking.outcome_of(check))
                for check in reversed(worth.checks)
            ],
            "can_check": entry.kind in FORMS and user_of(request).may(Right.MAKER),
        },
    )


@needs(Right.MAKER)
def instrument_check(request: HttpRequest, pk: int) -> HttpResponse:
    """Record a check, by the form of the kind of instrument."""
    entry = get_object_or_404(Instrument, pk=pk)
    if entry.kind not in FORMS:
        raise Http404
    home = reverse("quality:instrument", args=[pk])
    return acts.handle(
        request,
        FORMS[entry.kind](request.POST or None, instrument=entry),
        do=lambda facts, submission: checking.record_check(
            by=user_of(request), instrument=entry, submission=submission, **facts
        ),
        then=lambda _: home,
        said=lambda check: check.sentence,
        home=home,
        title=f"Check {entry.name}",
        context={
            "lead": f"{checking.kind_words(entry)} with steps of"
            f" {entry.resolution.normalize():f} {checking.UNITS[entry.kind]}."
        },
    )
