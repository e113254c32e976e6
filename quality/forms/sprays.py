"""Forms for sprays of one's own: a tank that was mixed, a leaf that was sprayed."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import forms

from batches.chemistry.errors import ChemistryError
from batches.chemistry.hardness import HardnessUnit, to_mmol, unit_named
from batches.forms.portions import PortionChoice, offer_portions
from batches.models import Batch, PatchTest, Portion
from producer.forms.base import ActForm, ReasonForm
from producer.forms.fields import MassField, NumberField, ObservedField, VolumeField

RATE = "Soap in the spray (g per litre)"
HUNDREDTH = Decimal("0.01")
Groups = tuple[tuple[str, tuple[str, ...]], ...]


class WaterHardnessForm(ActForm):
    """A form with the hardness of a water in a unit of one's own."""

    hardness = NumberField(label="Hardness of the water")
    unit = forms.ChoiceField(
        label="Unit of the hardness",
        choices=[(unit.value, f"{unit}: {unit.meaning}") for unit in HardnessUnit],
        initial=HardnessUnit.MMOL.value,
    )

    def clean(self) -> dict[str, Any]:
        """Turn the hardness into mmol/l, to a hundredth."""
        hardness, unit = (self.cleaned_data.get(name) for name in ("hardness", "unit"))
        if hardness is not None and unit:
            try:
                mmol = to_mmol(hardness, unit_named(unit))
            except ChemistryError as error:
                self.add_error("hardness", str(error))
            else:
                self.cleaned_data["hardness"] = mmol.quantize(HUNDREDTH)
        return self.cleaned_data

    def facts(self) -> dict[str, Any]:
        """Return the facts with the hardness in mmol/l."""
        facts = super().facts()
        facts.pop("unit")
        return facts


class MixForm(WaterHardnessForm):
    """A tank that was mixed."""

    portion = PortionChoice(Portion.objects.none(), required=False)
    mass_mg = MassField(label="Product weighed", above_zero=True)
    tank_ul = VolumeField(label="Tank, filled up to", unit="l")
    target_g_per_l = NumberField(label=RATE, places=2, help_text="As aimed at.")
    pre_dissolved = forms.BooleanField(
        label="Dissolved in a little warm soft water first", required=False
    )
    plant = forms.CharField(label="Plant", max_length=120)
    pest = forms.CharField(
        label="Pest", max_length=120, help_text="One, by its name: what you saw."
    )
    where = forms.CharField(
        label="Where on your own land", max_length=120, help_text="Bed, house, tree."
    )
    weather = forms.CharField(
        label="Weather and time of day",
        max_length=200,
        help_text="Such as: 14 °C, overcast, no wind, towards evening.",
    )
    bees = forms.CharField(
        label="Bees and open flowers",
        max_length=200,
        help_text="What you saw, and what you did about it.",
    )
    leftovers = forms.CharField(
        label="What was left, and what became of it",
        required=False,
        max_length=200,
        help_text="Can be added later. A spray is for the day: none is kept.",
    )
    note = forms.CharField(
        label="When to go in and to harvest again, and anything else",
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
    )
    observed_at = ObservedField()

    groups: Groups = (
        (
            "The tank",
            (
                "portion",
                "mass_mg",
                "tank_ul",
                "target_g_per_l",
                "hardness",
                "unit",
                "pre_dissolved",
            ),
        ),
        ("On what", ("plant", "pest", "where")),
        ("How it was", ("weather", "bees", "observed_at")),
        ("Afterwards", ("leftovers", "note")),
    )

    def __init__(self, *args: Any, batch: Batch, **options: Any) -> None:
        super().__init__(*args, **options)
        offer_portions(self, [batch.stock])
        if "portion" not in self.fields:
            (heading, names), *others = MixForm.groups
            self.groups = ((heading, names[1:]), *others)


class AmendMixForm(MixForm, ReasonForm):
    """A correction of a mix; where it was taken from, and when, stay."""

    portion = None  # type: ignore[assignment]
    observed_at = None  # type: ignore[assignment]

    groups = (
        (
            "The tank",
            (
                "mass_mg",
                "tank_ul",
                "target_g_per_l",
                "hardness",
                "unit",
                "pre_dissolved",
            ),
        ),
        ("On what", ("plant", "pest", "where")),
        ("How it was", ("weather", "bees")),
        ("Afterwards", ("leftovers", "note")),
        ("The correction", ("reason",)),
    )

    def __init__(self, *args: Any, **options: Any) -> None:
        super(MixForm, self).__init__(*args, **options)


class LeftoversForm(ActForm):
    """What was left of a tank."""

    leftovers = forms.CharField(
        label="What was left, and what became of it",
        max_length=200,
        help_text="Such as: nothing; or 0.5 l, on the rest of the row. Never a drain.",
    )


class PatchTestForm(ActForm):
    """A leaf that was sprayed first."""

    plant = forms.CharField(
        label="Plant",
        max_length=120,
        help_text="The sort too, where you know it; as you will write it on the mix.",
    )
    target_g_per_l = NumberField(
        label=RATE, places=2, initial=Decimal(5), help_text="Start low. 10 g/l is 1 %."
    )
    note = forms.CharField(label="Note", required=False, max_length=200)
    observed_at = ObservedField(label="When it was sprayed")


class LookForm(ActForm):
    """How the leaf looks."""

    result = forms.ChoiceField(
        label="The leaf is",
        choices=[
            (one.value, one.label)
            for one in PatchTest.Result
            if one != PatchTest.Result.WAITING
        ],
        widget=forms.RadioSelect,
    )
    note = forms.CharField(label="Note", required=False, max_length=200)
    observed_at = ObservedField(label="When you looked")
