"""The form of the page “What the pH test sees”."""

from __future__ import annotations

from decimal import Decimal

from django import forms

from producer.forms.base import say_what_is_missing
from producer.forms.fields import NumberField


class SightForm(forms.Form):
    """A test solution, and a free alkali or a pH to look at; nothing is recorded."""

    strength = NumberField(
        label="Strength of the test solution (%)",
        within=(Decimal(0), Decimal(20)),
        enforced=False,
        help_text="Grams of paste in 100 g of solution, weighed.",
    )
    temperature = NumberField(
        label="Temperature of the solution (°C)", within=(Decimal(0), Decimal(50))
    )
    free_alkali = NumberField(
        label="Free alkali of the paste (% KOH)",
        required=False,
        within=(Decimal(0), Decimal(100)),
    )
    ph = NumberField(label="Or a pH", required=False, within=(Decimal(0), Decimal(14)))

    def __init__(self, *args: object, **options: object) -> None:
        super().__init__(*args, **options)  # type: ignore[arg-type]
        say_what_is_missing(self)
