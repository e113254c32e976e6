"""The page of an instrument with its checks, and what a failed one means."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse, StreamingHttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone

from producer.middleware import decimal_mark
from producer.models import Instrument, Right
from producer.quantities import whole_number
from producer.services.checks import local_day
from producer.views import acts
from producer.views.acts import needs, read_only, user_of
from quality.charts.control import errors_picture
from quality.documents import impact as documents
from quality.forms.checking import FORMS
from quality.models import InstrumentCheck
from quality.services import checking, impact
from quality.services.charting import Chartable, Kind
from quality.services.due_checks import due_of
from quality.services.impact import Doubt
from quality.services.tolerances import UNITS, beyond_words

FEWEST_ERRORS = 2


@read_only
def instrument(request: HttpRequest, pk: int) -> HttpResponse:
    """Show what a reading of an instrument is worth, and its checks."""
    entry = get_object_or_404(Instrument, pk=pk)
    worth = checking.worth_of(entry)
    doubt = impact.doubt_of(entry)
    picture, today = "", local_day(timezone.now())
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
            "doubt": doubt,
            "beyond": beyond_words(entry, worth.last_good) if worth.last_good else "",
            "in_doubt": impact.count(doubt) if doubt else 0,
            "is_expired": entry.is_expired(today),
            "today": today,
            "due": due_of(entry) if entry.in_use else None,
            "used_in_checks": bool(impact.checks_with(entry)),
            "charts": _charts(entry, has_checks=bool(worth.checks)),
            "picture": picture,
            "checks": [
                (
                    check,
                    checking.error_of(check),
                    checking.outcome_of(check),
                    _references(check),
                )
                for check in reversed(worth.checks)
            ],
            "can_check": entry.kind in FORMS and user_of(request).may(Right.MAKER),
        },
    )


def _references(check: InstrumentCheck) -> list[Instrument]:
    """Return the weight or the buffers of the register that a check was made with."""
    both = (check.reference_instrument, check.second_reference_instrument)
    return [one for one in both if one is not None]


def _charts(entry: Instrument, *, has_checks: bool) -> list[Chartable]:
    """Return what is charted of the checks of an instrument."""
    if not has_checks:
        return []
    is_meter = entry.kind == Instrument.Kind.PH_METER
    return [
        one
        for one in Chartable
        if one.kind == Kind.INSTRUMENT and is_meter == (one is not Chartable.ERROR)
    ]


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
            f" {entry.resolution.normalize():f} {UNITS[entry.kind]}."
        },
    )


@read_only
def instrument_impact(request: HttpRequest, pk: int) -> HttpResponse:
    """List all that an instrument in doubt showed, with the size of the effect."""
    entry = get_object_or_404(Instrument, pk=pk)
    doubt = _doubt(request, entry)
    return render(
        request,
        "quality/instrument_impact.html",
        {
            "instrument": entry,
            "kind": checking.kind_words(entry),
            "doubt": doubt,
            "impact": impact.impact_of(doubt, mark=decimal_mark()) if doubt else None,
        },
    )


@read_only
def instrument_impact_pdf(request: HttpRequest, pk: int) -> HttpResponse:
    """Print it."""
    doubt = _doubt_or_404(request, pk)
    return HttpResponse(
        documents.impact_pdf(doubt, printed_by=user_of(request).person.name),
        content_type="application/pdf",
        headers={"Content-Disposition": f'inline; filename="impact-{pk}.pdf"'},
    )


@read_only
def instrument_impact_csv(request: HttpRequest, pk: int) -> StreamingHttpResponse:
    """Stream it as CSV, a result a line."""
    doubt = _doubt_or_404(request, pk)
    return StreamingHttpResponse(
        documents.impact_csv(impact.impact_of(doubt)),
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="impact-{pk}.csv"'},
    )


def _doubt(request: HttpRequest, entry: Instrument) -> Doubt | None:
    """Return the doubt of the failed check that the address names, or of the newest."""
    asked = whole_number(request.GET.get("check"), default=0)
    return impact.doubt_of(entry, asked or None)


def _doubt_or_404(request: HttpRequest, pk: int) -> Doubt:
    doubt = _doubt(request, get_object_or_404(Instrument, pk=pk))
    if doubt is None:
        raise Http404
    return doubt
