"""The form of the calculator for corrections; it records nothing."""

from __future__ import annotations

from django import forms


class ShareForm(forms.Form):
    """At which share of the computed dose to weigh."""

    share = forms.IntegerField(
        label="Dose at this share of the computed one (%)",
        min_value=1,
        max_value=100,
        help_text="90 leaves a little, to be found by the next test.",
    )
