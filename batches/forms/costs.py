"""Forms for what a batch cost besides its raw lots."""

from __future__ import annotations

from django import forms

from batches.models import Cost
from producer.forms.base import ActForm, ReasonForm
from producer.forms.fields import MoneyField, ObservedField

NOTE_LENGTH = 200


class CostForm(ActForm):
    """What was spent, and on what."""

    kind = forms.ChoiceField(
        label="On what", choices=Cost.Kind.choices, widget=forms.RadioSelect
    )
    amount_hundredths = MoneyField(
        label="Amount", help_text="In the currency of the premises."
    )
    note = forms.CharField(
        label="Note",
        required=False,
        max_length=NOTE_LENGTH,
        help_text="Such as 3 hours, or 12 bottles of 0.45.",
    )
    observed_at = ObservedField()


class AmendCostForm(ReasonForm):
    """A correction of a cost."""

    amount_hundredths = MoneyField(label="Amount")
    note = forms.CharField(label="Note", required=False, max_length=NOTE_LENGTH)

    field_order = ("amount_hundredths", "note", "reason")
