"""Codes that were scanned and that nobody should hold."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse

from batches.models import Bottle, ScanAlert
from batches.services import scans
from producer.forms.base import ReasonForm
from producer.models import Right
from producer.tables.base import show
from producer.views import acts
from producer.views.acts import needs, read_only, user_of
from quality.services import scan_words
from quality.tables.alerts import AlertTable


@read_only
def scan_alerts(request: HttpRequest) -> HttpResponse:
    """List them, those that nobody has looked into first."""
    return render(
        request,
        "quality/alerts.html",
        {
            "table": show(request, AlertTable(scan_words.listed())),
            "most_unknown": scans.MOST_UNKNOWN,
        },
    )


@needs(Right.MAKER, Right.REVIEWER)
def scan_alert(request: HttpRequest, pk: int) -> HttpResponse:
    """Record what was found out about one."""
    alert = get_object_or_404(ScanAlert, pk=pk)
    home = reverse("quality:scan_alerts")
    bottle = Bottle.objects.listed().filter(code=alert.code).first()
    return acts.handle(
        request,
        ReasonForm(request.POST or None),
        do=lambda facts, submission: scans.look_into(
            by=user_of(request), alert=alert, submission=submission, **facts
        ),
        then=lambda _: home,
        said="It is recorded. If the code is scanned again, it is told again.",
        home=home,
        title=f"What was it with {scan_words.name_of(alert)}?",
        submit="Record what it was",
        context={
            "lead": scan_words.advice(alert),
            "facts": scan_words.facts_of(alert, bottle),
        },
    )
