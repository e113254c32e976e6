"""Forms for a box of bottles: dispatched, or moved in bulk."""

from __future__ import annotations

from typing import Any

from django import forms

from batches.forms.picking import CollectForm
from batches.lifecycle import BottleStatus
from batches.services import bottle_moves
from producer.forms.fields import ObservedField
from producer.models import Consignee, Place, User


class DispatchForm(CollectForm):
    """Bottles for a consignee."""

    consignee = forms.ModelChoiceField(
        Consignee.objects.filter(erased_at=None), label="To"
    )
    note = forms.CharField(label="Note", required=False)
    observed_at = ObservedField()

    field_order = (
        "consignee",
        "codes",
        "filling_lot",
        "first",
        "last",
        "note",
        "observed_at",
    )


class MovesForm(CollectForm):
    """What became of many bottles."""

    new = forms.ChoiceField(label="What happened", widget=forms.RadioSelect)
    inspection = forms.CharField(
        label="What you found on looking at them",
        required=False,
        widget=forms.Textarea({"rows": 2}),
        help_text=(
            "Needed before a bottle that was out goes back to stock: seal, level,"
            " colour, label."
        ),
    )
    place = forms.ModelChoiceField(
        Place.objects.filter(in_use=True),
        label="Where they stand now",
        required=False,
        empty_label="as before",
    )
    reason = forms.CharField(
        label="Why",
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="Stays on record.",
    )

    field_order = (
        "new",
        "codes",
        "filling_lot",
        "first",
        "last",
        "inspection",
        "place",
        "reason",
    )

    def __init__(self, *args: Any, user: User, **options: Any) -> None:
        super().__init__(*args, **options)
        choices = bottle_moves.choices_for(user)
        self.fields["new"].choices = choices  # type: ignore[attr-defined]
        if BottleStatus.FILLED not in dict(choices):
            del self.fields["inspection"]
