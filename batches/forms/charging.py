"""Forms for weighings in two parts, and for undoing what was just entered."""

from __future__ import annotations

from typing import Any

from django import forms

from batches.forms.making import ChargeForm
from batches.forms.portions import PortionChoice, offer_portions
from batches.models import Portion, WeighingStart
from batches.services.cooking.how import How
from producer.forms.base import ActForm, PlainForm
from producer.forms.fields import MassField, ObservedField


class BeginForm(ChargeForm):
    """The first half of a weighing: the tare, or the container before."""

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        first, second = ("gross_mg", "tare_mg")
        if not self.is_by_difference:
            first, second = second, first
        self.first = first
        for name in (second, "portion", "passed_over", "unusual"):
            self.fields.pop(name, None)
        self.fields[first].required = True
        if not self.is_by_difference:
            self.fields[first].help_text = "The empty vessel, as the scale shows it."

    def facts(self) -> dict[str, Any]:
        """Return what is stored of a weighing that is not finished."""
        facts = super().facts()
        how: How = facts.pop("how")
        first_mg = facts.pop(self.first)
        return {
            **facts,
            "first_mg": first_mg,
            "by_difference": how.by_difference,
            "container": how.container,
            "vessel": how.vessel,
        }


class FinishForm(ActForm):
    """The second half of a weighing that was begun."""

    other_mg = MassField(label="Gross")
    portion = PortionChoice(Portion.objects.none(), required=False)
    observed_at = ObservedField()
    passed_over = forms.CharField(
        label="If a lot that expires earlier is left, why", required=False
    )
    unusual = forms.CharField(
        label="If this is an unusual amount, why",
        required=False,
        help_text="Only when it is far from what the formula asks for.",
    )

    def __init__(self, *args: Any, start: WeighingStart, **options: Any) -> None:
        super().__init__(*args, **options)
        self._start = start
        offer_portions(self, [start.source])
        if start.by_difference:
            self.fields["other_mg"].label = "The same container after"
            self.fields["other_mg"].help_text = "With the same lid on again."

    def facts(self) -> dict[str, Any]:
        """Return what the charge takes that finishes it."""
        facts = super().facts()
        other, first = facts.pop("other_mg"), self._start.first_mg
        gross, tare = (first, other) if self._start.by_difference else (other, first)
        how = How(
            start=self._start,
            portion=facts.pop("portion", None),
            passed_over=facts.pop("passed_over"),
        )
        return {**facts, "gross_mg": gross, "tare_mg": tare, "how": how}


class UndoForm(PlainForm):
    """One tap; which entry was meant goes with it."""

    entry = forms.CharField(required=False, widget=forms.HiddenInput)
