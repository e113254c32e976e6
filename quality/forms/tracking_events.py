"""Of which days to hand out events."""

from __future__ import annotations

from typing import Any

from django import forms

from producer.errors import Refusal
from producer.forms.fields import DayField
from quality.services import tracking_events


class DaysForm(forms.Form):
    """A first and a last day; finds the scope between them."""

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        for name, label in (("from", "Happened from"), ("to", "Up to")):
            self.fields[name] = DayField(label=label)

    def clean(self) -> dict[str, Any]:
        """Find the scope, or say beside the day what is wrong with it."""
        facts: dict[str, Any] = super().clean() or {}
        if self.errors:
            return facts
        try:
            facts["scope"] = tracking_events.between(facts["from"], facts["to"])
        except Refusal as refusal:
            self.add_error(refusal.field, refusal.message)
        return facts
