"""Which bottles: by code, one a line, by numbers of a filling lot, or all of it."""

from __future__ import annotations

from django import forms

from producer.forms.base import ActForm
from producer.models import Place

MOST_SIGNS = 100_000  # of some thousand codes


class CollectForm(ActForm):
    """Bottles by their codes, a range of numbers, or a filling lot."""

    codes = forms.CharField(
        label="Bottle codes",
        required=False,
        max_length=MOST_SIGNS,
        widget=forms.Textarea({"rows": 4, "spellcheck": "false"}),
        help_text="Scan or type, one a line. Or give a range below.",
    )
    filling_lot = forms.CharField(
        label="Or filling lot",
        required=False,
        help_text="Without numbers: all its bottles of which this can be recorded.",
    )
    first = forms.IntegerField(label="First bottle", required=False, min_value=1)
    last = forms.IntegerField(label="Last bottle", required=False, min_value=1)


class PlaceForm(CollectForm):
    """Where bottles stand now."""

    place = forms.ModelChoiceField(
        Place.objects.filter(in_use=True),
        label="They stand now in",
        empty_label="choose a place",
    )
    note = forms.CharField(label="Note", required=False, max_length=200)

    field_order = ("place", "codes", "filling_lot", "first", "last", "note")
