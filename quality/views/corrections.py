"""What would bring the alkali of a batch back."""

from __future__ import annotations

from decimal import Decimal

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from batches.chemistry.constants import PERCENT
from batches.chemistry.correction import USUAL_SHARE
from batches.views.batches import batch_by_number
from producer.services.checks import local_day
from producer.views.acts import read_only
from quality.forms.correcting import ShareForm
from quality.services.correction import correction_of

USUAL_PERCENT = int(USUAL_SHARE * PERCENT)


@read_only
def correction(request: HttpRequest, number: str) -> HttpResponse:
    """Show the excess, and the dose of each lot that could correct it."""
    batch = batch_by_number(number)
    asked = "share" in request.GET
    form = ShareForm(request.GET if asked else None, initial={"share": USUAL_PERCENT})
    share = USUAL_PERCENT
    if asked and form.is_valid():
        share = form.cleaned_data["share"]
    found = correction_of(
        batch, on=local_day(timezone.now()), share=Decimal(share) / PERCENT
    )
    return render(
        request,
        "quality/correction.html",
        {"batch": batch, "form": form, "share": share, "found": found},
    )
