"""What became of one bottle."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse

from batches.forms.making import BottleMoveForm
from batches.lifecycle import BottleStatus
from batches.models import Bottle
from batches.services import bottle_moves
from producer.codes import grouped
from producer.models import Right
from producer.views import acts
from producer.views.acts import needs, user_of
from quality.services.under_recall import recalled


@needs(Right.MAKER, Right.REVIEWER)
def bottle_move(request: HttpRequest, code: str) -> HttpResponse:
    """Record what became of a bottle."""
    found = get_object_or_404(Bottle.objects.listed(), code=code.upper())
    user = user_of(request)
    form = BottleMoveForm(
        request.POST or None,
        bottle=found,
        user=user,
        is_recalled=bool(recalled([found])),
    )
    return acts.handle(
        request,
        form,
        do=lambda facts, submission: bottle_moves.move_bottles(
            by=user, bottles=[found], recalled=recalled, submission=submission, **facts
        ),
        then=lambda _: reverse("quality:bottle", args=[found.code]),
        said="It is recorded.",
        home=reverse("quality:bottle", args=[found.code]),
        title=f"Bottle {grouped(found.code)}",
        template="quality/bottle_move.html",
        context={
            "bottle": found,
            "is_destroyed": found.status == BottleStatus.DESTROYED,
            "lead": bottle_moves.of_others(user, found.status),
        },
    )
