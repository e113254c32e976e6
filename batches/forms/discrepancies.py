"""Settling what was kept on a device and does not fit the book."""

from __future__ import annotations

from typing import Any

from django import forms

from producer.forms.base import ReasonForm


class ExplainForm(ReasonForm):
    """What happened, and of what was taken whether it went in."""

    went_in = forms.ChoiceField(
        label="Did it go into this batch?",
        choices=[
            ("yes", "Yes, or nobody knows: a recall of the lot goes on finding it"),
            ("no", "No, nothing of it went in"),
        ],
        widget=forms.RadioSelect,
    )

    field_order = ("went_in", "reason")

    def __init__(self, *args: Any, is_taken: bool, **options: Any) -> None:
        super().__init__(*args, **options)
        if not is_taken:
            del self.fields["went_in"]

    def facts(self) -> dict[str, Any]:
        """Return the facts; what took nothing of a stock moves nothing."""
        facts = super().facts()
        return {**facts, "went_in": facts.get("went_in", "yes") == "yes"}
