"""What the pH test sees: a calculator that records nothing."""

from __future__ import annotations

from decimal import Decimal

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from batches.forms.ph import SightForm
from batches.services.ph import Sight, sight
from producer.errors import Refusal
from producer.views.acts import read_only

# The method that formulas have unless they say otherwise.
USUAL = {"strength": Decimal(1), "temperature": Decimal(25)}
EXAMPLE = {**USUAL, "ph": Decimal(10)}


@read_only
def ph(request: HttpRequest) -> HttpResponse:
    """Show what pH a free alkali gives, and what free alkali can be behind a pH."""
    asked = bool(request.GET)
    form = SightForm(request.GET if asked else None, initial=EXAMPLE)
    found: Sight | None = None
    if not asked:
        found = sight(
            strength_percent=USUAL["strength"],
            temperature_c=USUAL["temperature"],
            ph=EXAMPLE["ph"],
        )
    elif form.is_valid():
        try:
            found = sight(
                strength_percent=form.cleaned_data["strength"],
                temperature_c=form.cleaned_data["temperature"],
                free_alkali_percent=form.cleaned_data["free_alkali"],
                ph=form.cleaned_data["ph"],
            )
        except Refusal as refusal:
            form.add_error(refusal.field or None, refusal.message)
    return render(request, "batches/ph.html", {"form": form, "sight": found})
