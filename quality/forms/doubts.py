"""Reporting a bottle that cannot be where it is, and settling it."""

from __future__ import annotations

from django import forms

from batches.models import BottleDiscrepancy
from producer.forms.base import ActForm


class DoubtForm(ActForm):
    """What does not fit about a bottle, and where it was found."""

    kind = forms.ChoiceField(
        label="What does not fit",
        choices=BottleDiscrepancy.Kind.choices,
        widget=forms.RadioSelect,
    )
    found = forms.CharField(
        label="Where and how it was found",
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="Of two bottles with one code: where each of them is now.",
    )
