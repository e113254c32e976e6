"""Forms of the audit: that it was held, and the correction of what was found."""

from __future__ import annotations

from django import forms

from producer.forms.base import ActForm, ReasonForm
from producer.forms.fields import ObservedField

HELP = (
    "What lacks, what was in order, who does what about it by when. When you last ran"
    " “verify”, made a backup and restored one, since the program keeps no record of"
    " that. No names of customers."
)


class InspectionForm(ActForm):
    """That an audit was held, and what was found."""

    findings = forms.CharField(
        label="What was found",
        widget=forms.Textarea({"rows": 6}),
        help_text=HELP,
    )
    observed_at = ObservedField(label="When it was held")


class AmendInspectionForm(ReasonForm):
    """What should have been written, and why."""

    findings = forms.CharField(
        label="What was found", widget=forms.Textarea({"rows": 6}), help_text=HELP
    )
    field_order = ("findings", "reason")
