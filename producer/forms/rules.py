"""Forms for rules that were looked up."""

from __future__ import annotations

from django import forms

from producer.forms.base import ActForm, ReasonForm
from producer.forms.fields import DayField, ObservedField
from producer.models import RulesCheck


class RulesCheckForm(ActForm):
    """What was read, where it holds, and when to read it again."""

    topic = forms.ChoiceField(label="About", choices=RulesCheck.Topic.choices)
    country = forms.CharField(
        label="Where these rules hold",
        max_length=80,
        help_text="Country, and region if it has rules of its own.",
    )
    page = forms.CharField(
        label="What you read",
        max_length=300,
        help_text="Office, page or leaflet: so that somebody else finds it again.",
    )
    says = forms.CharField(
        label="What it says, in your words",
        required=False,
        widget=forms.Textarea(attrs={"rows": 4}),
    )
    again_on = DayField(label="Look again on", required=False)
    observed_at = ObservedField()


class AmendRulesCheckForm(RulesCheckForm, ReasonForm):
    """A correction; when it was read stays."""

    observed_at = None  # type: ignore[assignment]
    field_order = ("topic", "country", "page", "says", "again_on", "reason")
