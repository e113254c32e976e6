"""Forms about liquids: doses to compute, bottles weighed against their label."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from batches.chemistry.doses import USUAL_SOAP_PER_LOAD_G, USUAL_SUDS_L
from batches.chemistry.hardness import HardnessUnit
from batches.forms.labelling import numbers_in
from batches.forms.making import offer, scales
from producer.forms.base import ActForm, say_what_is_missing
from producer.forms.fields import MassField, NumberField, ObservedField
from producer.models import Instrument
from producer.quantities import QuantityError, parse_mass

MOST_WEIGHED = 2000


class MassesField(forms.CharField):
    """Masses, one a line, as whole milligrams; a wrong line is named by its number."""

    def __init__(self, **options: Any) -> None:
        options.setdefault(
            "widget",
            forms.Textarea(
                attrs={"rows": 8, "inputmode": "decimal", "autocomplete": "off"}
            ),
        )
        super().__init__(**options)

    def to_python(self, value: Any) -> Any:
        """Return a list of milligrams, empty when nothing was typed."""
        text = super().to_python(value) or ""
        lines = [line.strip() for line in text.replace(";", "\n").splitlines()]
        lines = [line for line in lines if line]
        if len(lines) > MOST_WEIGHED:
            raise ValidationError(f"These are more than {MOST_WEIGHED} masses.")
        masses = []
        for number, line in enumerate(lines, start=1):
            try:
                masses.append(parse_mass(line))
            except QuantityError as error:
                raise ValidationError(f"Mass {number}: {error}") from error
        return masses


class FillCheckForm(ActForm):
    """Bottles of a lot, weighed."""

    scale = forms.ModelChoiceField(
        Instrument.objects.none(), label="Scale", empty_label=None
    )
    tare_mg = MassField(
        label="Empty bottle with cap",
        above_zero=True,
        help_text="The mean of ten, where they differ a little.",
    )
    masses = MassesField(
        label="Masses in grams, one a line",
        help_text=(
            "Bottles taken at random; below 100, all that are here. At 20 °C, or as"
            " near as it gets."
        ),
    )
    are_gross = forms.ChoiceField(
        label="These are",
        choices=[
            ("gross", "full bottles with cap; the empty one is taken off"),
            ("net", "net: the scale stood at zero with an empty bottle on it"),
        ],
        initial="gross",
        widget=forms.RadioSelect,
    )
    opened = forms.BooleanField(
        label="The bottles were opened and emptied for it",
        required=False,
        help_text="They then count as destroyed and cannot leave any more.",
    )
    numbers = forms.CharField(
        label="If so: the numbers of these bottles",
        required=False,
        help_text="Such as 1-20, or 3, 7: as many as there are masses.",
    )
    since = forms.CharField(
        label="What was done since the last weighing, which was not accepted",
        help_text="Topped up, or what was wrong with it. It stays on record.",
        max_length=500,
    )
    note = forms.CharField(label="Note", required=False, max_length=200)
    observed_at = ObservedField()

    def __init__(
        self, *args: Any, count: int, is_again: bool = False, **options: Any
    ) -> None:
        super().__init__(*args, **options)
        self._count = count
        offer(self.fields["scale"], [Instrument.Kind.SCALE])
        if not is_again:
            del self.fields["since"]

    def clean_numbers(self) -> list[int]:
        """Return the numbers of the bottles."""
        return numbers_in(self.cleaned_data["numbers"], most=self._count)

    def clean(self) -> dict[str, Any]:
        """Refuse a bottle that is lighter than it would be empty."""
        tare, masses = self.cleaned_data.get("tare_mg"), self.cleaned_data.get("masses")
        if tare is None or not masses or self.cleaned_data.get("are_gross") != "gross":
            return self.cleaned_data
        lighter = [str(n) for n, mass in enumerate(masses, start=1) if mass <= tare]
        if lighter:
            self.add_error(
                "masses",
                f"Mass {', '.join(lighter)}: not above that of the empty bottle. If"
                " these are net masses, say so below.",
            )
        return self.cleaned_data

    def facts(self) -> dict[str, Any]:
        """Return the facts with net masses."""
        facts = super().facts()
        tare = facts["tare_mg"] if facts.pop("are_gross") == "gross" else 0
        masses = facts.pop("masses")
        return {**facts, "net_mg": [mass - tare for mass in masses]}


class DoseForm(forms.Form):
    """A question whose answer is computed and not recorded; sent by GET.

    ``of`` says which of the forms on a page was sent. ``prefix`` keeps the ids apart.
    """

    KIND = ""

    of = forms.CharField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["of"].initial = self.KIND
        self.auto_id = f"{self.KIND}_%s"
        say_what_is_missing(self)

    def facts(self) -> dict[str, Any]:
        """Return what the answer takes."""
        return {
            name: value for name, value in self.cleaned_data.items() if name != "of"
        }


class WaterForm(DoseForm):
    """A dose that hardness takes part of."""

    litres = NumberField(label="Water (l)")
    hardness = NumberField(label="Hardness of the water")
    unit = forms.ChoiceField(
        label="Unit of the hardness",
        choices=[(unit.value, f"{unit}: {unit.meaning}") for unit in HardnessUnit],
        initial=HardnessUnit.MMOL.value,
    )


class DilutionForm(DoseForm):
    """Paste to thin, to a ratio or to a soap content."""

    KIND = "dilution"

    paste_mg = MassField(label="Paste to dilute", unit="kg")
    parts = NumberField(label="Parts of water to one of paste, by mass", required=False)
    target = NumberField(
        label="Or soap content to bring it to (%)",
        required=False,
        help_text="One of the two.",
    )
    scale = forms.ModelChoiceField(
        Instrument.objects.none(),
        label="Both weighed on",
        required=False,
        empty_label="an exact scale",
    )

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["scale"].queryset = scales()  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        """Ask for one of ratio and content, not both."""
        given = [
            name
            for name in ("parts", "target")
            if self.cleaned_data.get(name) is not None
        ]
        if len(given) != 1 and not self.errors:
            self.add_error("parts", "Write the ratio or the soap content, one of them.")
        return self.cleaned_data


class SprayForm(WaterForm):
    """A tank of spray."""

    KIND = "spray"

    rate = NumberField(
        label="Soap in the spray (g per litre)",
        initial=Decimal(5),
        help_text="Start low. 10 g/l is 1 %.",
    )

    field_order = ("litres", "rate", "hardness", "unit")


class WashForm(WaterForm):
    """A load of washing."""

    KIND = "wash"

    base = NumberField(
        label="Soap that shall work in a load (g)",
        initial=USUAL_SOAP_PER_LOAD_G,
        help_text="Common practice, no source. Go by what your washing needs.",
    )
    density = NumberField(
        label="Density of the liquid (g/ml)",
        required=False,
        within=(Decimal("0.8"), Decimal("1.3")),
        help_text="For millilitres. Weigh 100 ml at 20 °C and divide by 100.",
    )

    field_order = ("base", "litres", "density", "hardness", "unit")

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["litres"].label = "Water of the main wash (l)"
        self.fields["litres"].initial = USUAL_SUDS_L
        self.fields["hardness"].required = False
        self.fields["hardness"].label = "Hardness of your water, if known"
