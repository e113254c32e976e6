"""Reporting a bottle that cannot be where it is, and settling it."""

from __future__ import annotations

from typing import Any

from django import forms

from batches.models import BottleDiscrepancy
from producer.forms.base import ActForm, ReasonForm


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


class SettleForm(ReasonForm):
    """What it was; of one recorded as destroyed, whether that was a mistake."""

    never_destroyed = forms.BooleanField(
        label="It was never destroyed: it is here, and recording that was a mistake",
        required=False,
        help_text=(
            "It goes on hold. Look at it; then put it back to stock, or destroy it."
            " Leave this empty if it is another bottle, or is destroyed now."
        ),
    )

    def __init__(self, *args: Any, doubt: BottleDiscrepancy, **options: Any) -> None:
        super().__init__(*args, **options)
        if doubt.kind != BottleDiscrepancy.Kind.SHOULD_NOT_EXIST:
            del self.fields["never_destroyed"]
