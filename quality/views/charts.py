"""Charts of results: the list of all, each as a page and as a print."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render

from batches.models import Formula
from producer.models import Instrument, Material
from producer.quantities import whole_number
from producer.views.acts import read_only, user_of
from quality.documents import charts as documents
from quality.services import charting
from quality.services.charting import Analysis, Chartable, Kind, Series, Things
from quality.statistics.run_rules import NELSON_RULES, WECO_RULES

RULES = {"weco": WECO_RULES, "nelson": NELSON_RULES}


@read_only
def charts(request: HttpRequest) -> HttpResponse:
    """List all that has points, how firm its limits are and what stood out last."""
    return render(request, "quality/charts.html", {"listed": charting.listed()})


@read_only
def chart(
    request: HttpRequest, pk: int, characteristic: str, kind: str
) -> HttpResponse:
    """Show a series: its charts, what they say, and its points."""
    series = _series(kind, pk, characteristic)
    rules = request.GET.get("rules", "weco")
    return render(
        request,
        "quality/chart.html",
        {
            **documents.context_of(series, _analysis(request, series)),
            "rules": rules if rules in RULES else "weco",
            "with_rejected": _with_rejected(request),
        },
    )


@read_only
def chart_pdf(
    request: HttpRequest, pk: int, characteristic: str, kind: str
) -> HttpResponse:
    """Print a chart with its table, by the points and rules of the address."""
    series = _series(kind, pk, characteristic)
    return HttpResponse(
        documents.chart_pdf(
            series,
            _analysis(request, series),
            printed_by=user_of(request).person.name,
        ),
        content_type="application/pdf",
        headers={
            "Content-Disposition": f'inline; filename="chart-{kind}-{pk}-'
            f'{series.characteristic.value.replace("_", "-")}.pdf"'
        },
    )


def _series(kind: str, pk: int, characteristic: str) -> Series:
    thing = _thing(kind, pk)
    try:
        return charting.series_of(thing, Chartable(characteristic))
    except ValueError as error:
        raise Http404 from error


def _thing(kind: str, pk: int) -> Things:
    if kind == Kind.FORMULA:
        return get_object_or_404(Formula, pk=pk)
    if kind == Kind.MATERIAL:
        return get_object_or_404(Material, pk=pk)
    return get_object_or_404(Instrument, pk=pk)


def _analysis(request: HttpRequest, series: Series) -> Analysis:
    asked = request.GET
    return charting.analysis_of(
        series,
        first=whole_number(asked.get("first"), default=1),
        last=whole_number(asked.get("last"), default=0) or None,
        rules=RULES.get(asked.get("rules", ""), WECO_RULES),
        with_rejected=_with_rejected(request),
    )


def _with_rejected(request: HttpRequest) -> bool:
    return request.GET.get("rejected") == "with"
