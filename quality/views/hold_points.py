"""The hold points: one screen, one form, one act, before the first charge."""

from __future__ import annotations

from collections.abc import Sequence

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone

from batches.forms.papers import ask_when
from batches.models import Batch, HoldPoint
from batches.services.hold_points import open_points, standing_points
from batches.views import papers
from batches.views.batches import batch_by_number
from producer.models import Instrument, Right
from producer.services.checks import local_day
from producer.views import acts
from producer.views.acts import needs, user_of
from quality.forms.hold_pointing import HoldPointsForm
from quality.services import hold_pointing, lots_before
from quality.services.references import in_hand


@needs(Right.MAKER)
def hold_points(request: HttpRequest, number: str) -> HttpResponse:
    """Go through the hold points of a batch, all or those that are still open."""
    found = batch_by_number(number)
    sheet = papers.sheet_of(request, found)
    now = timezone.now()
    today = local_day(now)
    standing = standing_points(found)
    scale = standing.get(HoldPoint.Point.SCALE)
    form = HoldPointsForm(
        request.POST or None,
        batch=found,
        passed={point for point, row in standing.items() if row.in_order},
        last_scale=scale.scale if scale else None,
        good=hold_pointing.good_today(today),
        weights=in_hand(Instrument.Kind.CHECK_WEIGHT, today),
        found=lots_before.look_at(found, now),
    )
    ask_when(form, sheet)
    here = reverse("quality:hold_points", args=[found.number])
    pot = reverse("batches:pot", args=[found.number])
    home = papers.home_of(found, sheet)
    return acts.handle(
        request,
        form,
        do=lambda facts, submission: hold_pointing.go_through(
            by=user_of(request),
            batch=found,
            transcription=sheet,
            submission=submission,
            **facts,
        ),
        then=lambda _: home if sheet else here if open_points(found) else pot,
        said=lambda rows: _said(found, rows),
        home=home,
        title=f"{found.number}: hold points",
        template="quality/hold_points.html",
        context={
            "batch": found,
            "points": standing.values(),
            "open_points": [
                point.label
                for point in HoldPoint.Point
                if point not in standing or not standing[point].in_order
            ],
            **papers.band(found, sheet),
        },
    )


def _said(batch: Batch, rows: Sequence[HoldPoint]) -> str:
    """Say what was not in order, else what is still open, else that all are passed."""
    wrong = [
        f"{row.get_point_display()}: {row.found or row.note}"
        for row in rows
        if not row.in_order
    ]
    if wrong:
        return acts.Mind(f"Recorded; not in order. {' '.join(wrong)}")
    still = open_points(batch)
    if still:
        return f"Recorded. Still open: {', '.join(point.label for point in still)}."
    return "All hold points are in order. Weigh the first charge."
