"""Forms about a filling: the bottles, where the mass went, and the samples kept."""

from __future__ import annotations

from typing import Any

from django import forms

from batches.lifecycle import BottleStatus
from batches.models import Bottle, FillingLot, SampleLook
from batches.services.density import PLAUSIBLE, Density
from batches.services.filling import MOST_BOTTLES
from batches.services.filling_balance import COLDEST, HOTTEST
from producer.codes import grouped
from producer.forms.base import ActForm, ReasonForm
from producer.forms.fields import (
    DayField,
    MassField,
    NumberField,
    ObservedField,
    VolumeField,
)
from producer.models import Place

TOO_MANY = (
    "At most %(limit_value)s bottles in one filling. Number the others in a second one."
)


class FillForm(ActForm):
    """A filling into bottles of one size."""

    count = forms.IntegerField(
        label="Bottles filled",
        min_value=1,
        max_value=MOST_BOTTLES,
        error_messages={"max_value": TOO_MANY},
    )
    planned = forms.IntegerField(
        label="Bottles planned",
        required=False,
        min_value=1,
        max_value=MOST_BOTTLES,
        error_messages={"max_value": TOO_MANY},
        help_text="Where it was another number.",
    )
    nominal_ul = VolumeField(label="Nominal quantity of each")
    density = NumberField(
        label="Density at 20 °C (g/ml)",
        within=PLAUSIBLE,
        help_text="Weigh 100 ml at 20 °C and divide by 100. Cool before filling.",
    )
    density_reason = forms.CharField(
        label="If that is not the density of the book: how you know",
        required=False,
        help_text="Only where it differs by more than a hundredth.",
    )
    temperature = NumberField(
        label="Temperature at filling (°C)",
        required=False,
        within=(COLDEST, HOTTEST),
        places=1,
    )
    place = forms.ModelChoiceField(
        Place.objects.none(),
        label="They stand in",
        required=False,
        empty_label="no place yet",
    )
    loss_mg = MassField(label="Lost in filling", required=False)
    sample_mg = MassField(
        label="Taken as a sample, in a jar",
        required=False,
        help_text="A whole bottle that is kept is named later, not here.",
    )
    rest_gross_mg = MassField(
        label="What is left, with its vessel",
        required=False,
        help_text="Everything of the batch that is left, also what was set aside.",
    )
    rest_tare_mg = MassField(label="The empty vessel", required=False)
    unexplained_reason = forms.CharField(
        label="If mass is missing: what became of it",
        required=False,
        widget=forms.Textarea({"rows": 2}),
        help_text="Spilt, overfilled, stuck to the pot. Only where it is much.",
    )
    observed_at = ObservedField()

    groups = (
        (
            "The bottles",
            ("count", "planned", "nominal_ul", "density", "density_reason"),
        ),
        ("How and where", ("temperature", "place", "observed_at")),
        (
            "Where the mass went",
            (
                "loss_mg",
                "sample_mg",
                "rest_gross_mg",
                "rest_tare_mg",
                "unexplained_reason",
            ),
        ),
    )

    def __init__(
        self, *args: Any, measured: Density | None = None, **options: Any
    ) -> None:
        super().__init__(*args, **options)
        if measured is not None:
            field = self.fields["density"]
            field.initial = measured.value.normalize()
            field.help_text = f"As {measured.origin}. Weigh again if it may be another."
        _offer_places(self.fields["place"])

    def clean(self) -> dict[str, Any]:
        """Ask for the vessel and what it holds together, the heavier one full."""
        gross = self.cleaned_data.get("rest_gross_mg")
        tare = self.cleaned_data.get("rest_tare_mg")
        if gross is None and tare is not None:
            self.add_error("rest_gross_mg", "Weigh it with what is in it, too.")
        elif tare is None and gross is not None:
            self.add_error(
                "rest_tare_mg", "Weigh it empty, too; 0 if the scale was at zero."
            )
        elif gross is not None and tare is not None and gross < tare:
            self.add_error(
                "rest_gross_mg", "The full vessel is lighter than the empty one."
            )
        return self.cleaned_data

    def facts(self) -> dict[str, Any]:
        """Return the facts; what is empty is none, the rest is net."""
        facts = super().facts()
        gross, tare = facts.pop("rest_gross_mg"), facts.pop("rest_tare_mg")
        return {
            **facts,
            "loss_mg": facts["loss_mg"] or 0,
            "sample_mg": facts["sample_mg"] or 0,
            "rest_mg": None if gross is None else gross - (tare or 0),
        }


class SampleForm(ActForm):
    """A bottle or a jar that is kept."""

    bottle = forms.ModelChoiceField(
        Bottle.objects.none(),
        label="The bottle that is kept",
        required=False,
        empty_label="none: a jar",
        to_field_name="code",
    )
    mass_mg = MassField(label="Or the mass in the jar", required=False)
    place = forms.ModelChoiceField(
        Place.objects.none(), label="It stands in", empty_label=None
    )
    look_on = DayField(
        label="Look at it again on",
        required=False,
        help_text="Such as half way to the use-by date, and on it.",
    )
    note = forms.CharField(label="Note", required=False, max_length=200)
    observed_at = ObservedField()

    def __init__(self, *args: Any, lot: FillingLot, **options: Any) -> None:
        super().__init__(*args, **options)
        bottles = self.fields["bottle"]
        bottles.queryset = lot.bottles.filter(  # type: ignore[attr-defined]
            status=BottleStatus.FILLED
        )
        bottles.label_from_instance = (  # type: ignore[attr-defined]
            lambda one: f"number {one.number}, {grouped(one.code)}"
        )
        _offer_places(self.fields["place"])


class SampleLookForm(ActForm):
    """A sample that was looked at."""

    state = forms.ChoiceField(
        label="Beside the day it was filled, it is",
        choices=SampleLook.State.choices,
        widget=forms.RadioSelect,
    )
    found = forms.CharField(
        label="What you found",
        widget=forms.Textarea({"rows": 3}),
        help_text="Clear or cloudy, of one piece or in layers, its colour, its smell,"
        " its cap and label.",
    )
    look_on = DayField(
        label="Look at it again on",
        required=False,
        help_text="Empty: nobody is reminded of it any more.",
    )
    observed_at = ObservedField()

    def clean(self) -> dict[str, Any]:
        """Leave the day out that was filled in beforehand, where it is gone."""
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        is_gone = cleaned.get("state") == SampleLook.State.GONE
        if is_gone and cleaned.get("look_on") == self.initial.get("look_on"):
            cleaned["look_on"] = None
        return cleaned


class AmendSampleLookForm(SampleLookForm):
    """A look as it should have been recorded."""

    observed_at = None  # type: ignore[assignment] # it keeps its time
    reason = ReasonForm.base_fields["reason"]


def _offer_places(field: forms.Field) -> None:
    """Offer the places in use."""
    field.queryset = Place.objects.filter(in_use=True)  # type: ignore[attr-defined]
