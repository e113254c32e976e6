"""Forms for corrections of the alkali, and for losses."""

from __future__ import annotations

from typing import Any

from django import forms

from batches.forms.how import HowFields
from batches.forms.making import WeighForm
from batches.models import Loss
from producer.forms.base import ActForm, ReasonForm
from producer.forms.fields import MassField, ObservedField
from producer.models import RawLot


class CorrectForm(HowFields, WeighForm):
    """A weighed correction, of a lot that is chosen already."""

    reason = forms.CharField(
        label="Why it is corrected",
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="What was measured, and the cause if you know it. Stays on record.",
    )

    field_order = (
        "container",
        "scale",
        "vessel",
        "gross_mg",
        "tare_mg",
        "reason",
        "observed_at",
    )

    def __init__(self, *args: Any, lot: RawLot, **options: Any) -> None:
        super().__init__(*args, **options)
        self.ask_how([lot.stock])


class _LossFacts(ActForm):
    """How much was lost and how well that is known."""

    mass_mg = MassField(label="How much")
    half_width_mg = MassField(
        label="May be wrong by up to ±",
        required=False,
        help_text="Above all where it was estimated. Empty: exact.",
    )
    note = forms.CharField(label="Note", required=False, max_length=200)

    def facts(self) -> dict[str, Any]:
        """Return the facts; an empty ± is none."""
        facts = super().facts()
        return {**facts, "half_width_mg": facts["half_width_mg"] or 0}


class LossForm(_LossFacts):
    """A loss before the yield was weighed."""

    kind = forms.ChoiceField(
        label="Where it went", choices=Loss.Kind.choices, widget=forms.RadioSelect
    )
    observed_at = ObservedField()

    field_order = ("kind", "mass_mg", "half_width_mg", "note", "observed_at")


class AmendLossForm(_LossFacts, ReasonForm):
    """A correction of a loss."""

    field_order = ("mass_mg", "half_width_mg", "note", "reason")
