"""Which bottles: by code, one a line, or by numbers of a filling lot."""

from __future__ import annotations

from typing import Any

from django import forms

from batches.models import Bottle, FillingLot
from batches.services import dispatching
from producer.errors import Refusal
from producer.forms.base import ActForm
from producer.models import Place


class PickForm(ActForm):
    """Bottles by code, or by range of a filling lot, or both."""

    codes = forms.CharField(
        label="Bottle codes",
        required=False,
        widget=forms.Textarea({"rows": 4}),
        help_text="Scan or type, one a line. Or give a range below.",
    )
    filling_lot = forms.CharField(label="Or filling lot", required=False)
    first = forms.IntegerField(label="First bottle", required=False, min_value=1)
    last = forms.IntegerField(label="Last bottle", required=False, min_value=1)


def picked(facts: dict[str, Any]) -> list[Bottle]:
    """Take what :class:`PickForm` asks out of the facts and return the bottles."""
    codes, lot_code = facts.pop("codes"), facts.pop("filling_lot")
    first, last = facts.pop("first"), facts.pop("last")
    chosen = dispatching.bottles_by_codes(codes) if codes.strip() else []
    if lot_code.strip():
        lot = FillingLot.objects.filter(code=lot_code.strip().upper()).first()
        if lot is None:
            raise Refusal("No filling lot has this code.", field="filling_lot")
        chosen += dispatching.bottles_by_range(lot, first or 1, last or lot.count)
    return chosen


class PlaceForm(PickForm):
    """Where bottles stand now."""

    place = forms.ModelChoiceField(
        Place.objects.filter(in_use=True),
        label="They stand now in",
        empty_label="choose a place",
    )
    note = forms.CharField(label="Note", required=False, max_length=200)

    field_order = ("place", "codes", "filling_lot", "first", "last", "note")
