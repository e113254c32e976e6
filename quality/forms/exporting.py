"""What to export: one batch, or those opened in some days."""

from __future__ import annotations

from typing import Any

from django import forms

from producer.errors import Refusal
from producer.forms.fields import DayField
from quality.services import exporting


class ExportForm(forms.Form):
    """A batch number, or a first and a last day."""

    batch = forms.CharField(
        label="Batch number", max_length=30, required=False, help_text="Of one batch."
    )

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        for name, label in (("from", "Or opened from"), ("to", "Opened up to")):
            self.fields[name] = DayField(label=label, required=False)

    def clean(self) -> dict[str, Any]:
        """Find the batches, or say beside the field why there are none."""
        facts: dict[str, Any] = super().clean() or {}
        number, first, last = (facts.get(name) for name in ("batch", "from", "to"))
        if self.errors:
            return facts
        if bool(number) == bool(first or last):
            self.add_error(None, "Give a batch number, or a first and a last day.")
        elif not number and not (first and last):
            missing = "to" if first else "from"
            self.add_error(missing, "This is needed: a period has two ends.")
        else:
            self._find(facts)
        return facts

    def _find(self, facts: dict[str, Any]) -> None:
        try:
            facts["batches"] = (
                [exporting.batch_called(facts["batch"])]
                if facts["batch"]
                else exporting.batches_between(facts["from"], facts["to"])
            )
        except Refusal as refusal:
            self.add_error(refusal.field, refusal.message)
