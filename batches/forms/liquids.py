"""Forms for what is measured of a liquid: hardness of its water, and density."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from batches.chemistry.errors import ChemistryError
from batches.chemistry.hardness import HardnessUnit, to_mmol, unit_named
from batches.models import LiquidReading
from producer.forms.base import ActForm
from producer.forms.fields import NumberField, ObservedField
from producer.models import Instrument

PLACES = Decimal("0.0001")


class _LiquidForm(ActForm):
    """What every such measurement has; ``correcting`` asks why instead of when."""

    method = forms.CharField(
        label="How it was measured", required=False, max_length=120
    )
    observed_at = ObservedField()
    reason = forms.CharField(
        label="Why", widget=forms.Textarea({"rows": 2}), help_text="Stays on record."
    )

    def __init__(self, *args: Any, correcting: bool = False, **options: Any) -> None:
        super().__init__(*args, **options)
        del self.fields["observed_at" if correcting else "reason"]

    def facts(self) -> dict[str, Any]:
        """Return the facts; an empty ± is none."""
        facts = super().facts()
        return {**facts, "half_width": facts["half_width"] or Decimal(0)}


class HardnessForm(_LiquidForm):
    """The hardness of the water that goes into a liquid, in any unit."""

    value = NumberField(label="Hardness of the water")
    unit = forms.ChoiceField(
        label="Unit",
        choices=[(unit.value, f"{unit}: {unit.meaning}") for unit in HardnessUnit],
        initial=HardnessUnit.MMOL.value,
    )
    half_width = NumberField(
        label="May be wrong by up to ±",
        required=False,
        help_text="In the same unit. Of a strip half a step. Empty: not said.",
    )

    field_order = ("value", "unit", "half_width", "method", "observed_at", "reason")

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields[
            "method"
        ].help_text = (
            "A strip, a drop test, or what the waterworks say and of which day."
        )

    def clean(self) -> dict[str, Any]:
        """Turn hardness and its ± into mmol/l."""
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        if "unit" not in cleaned:
            return cleaned
        unit = unit_named(cleaned["unit"])
        for name in ("value", "half_width"):
            number = cleaned.get(name)
            if number is None:
                continue
            try:
                cleaned[name] = to_mmol(number, unit).quantize(PLACES)
            except ChemistryError as error:
                self.add_error(name, ValidationError(str(error)))
        return cleaned

    def facts(self) -> dict[str, Any]:
        """Return the facts in mmol/l; what unit was typed is not kept."""
        return {k: v for k, v in super().facts().items() if k != "unit"}


class DensityForm(_LiquidForm):
    """The density of a liquid, at its temperature."""

    value = NumberField(
        label="Density (g/ml)",
        within=(Decimal("0.8"), Decimal("1.3")),
        places=4,
        help_text="Weigh 100 ml in a measuring flask and divide by 100.",
    )
    temperature = NumberField(
        label="Temperature of the liquid (°C)",
        within=(Decimal(0), Decimal(60)),
        places=1,
        help_text="At 20 °C, for bottles: only then it counts for filling.",
    )
    half_width = NumberField(
        label="May be wrong by up to ± (g/ml)",
        within=(Decimal(0), Decimal("0.2")),
        places=4,
        required=False,
        help_text="1 g and 1 ml in 100 ml are ± 0.02 together. Empty: not said.",
    )
    instrument = forms.ModelChoiceField(
        Instrument.objects.filter(kind=Instrument.Kind.SCALE, in_use=True),
        label="Weighed on",
        required=False,
        empty_label="no scale: a spindle, or another way",
    )

    field_order = (
        *("value", "temperature", "half_width", "instrument"),
        *("method", "observed_at", "reason"),
    )

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["method"].help_text = "Such as: measuring flask of 100 ml."


FORMS: dict[str, type[_LiquidForm]] = {
    LiquidReading.Kind.HARDNESS: HardnessForm,
    LiquidReading.Kind.DENSITY: DensityForm,
}
