"""The form in which a formula is written."""

from __future__ import annotations

import dataclasses
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from batches.models import Formula, FormulaVersion
from batches.services.formulas import Line, Wording
from producer.forms.base import ActForm
from producer.forms.fields import DayField, MassField, NumberField
from producer.models import Material

MOST_LINES = 8


class VersionForm(ActForm):
    """What a version says: wording and up to eight lines."""

    product_name = forms.CharField(label="Name on the label", max_length=80)
    directions = forms.CharField(
        label="Directions for use", required=False, widget=forms.Textarea({"rows": 3})
    )
    cautions = forms.CharField(
        label="Further cautions",
        required=False,
        widget=forms.Textarea({"rows": 3}),
        help_text="Printed below the usual ones.",
    )
    shelf_life_days = forms.IntegerField(label="Life from making (days)", min_value=1)
    ph_method = forms.CharField(
        label="How the pH is taken",
        max_length=120,
        initial=Wording.ph_method,
        help_text="Strength and temperature of the solution.",
    )
    temperature_limit = NumberField(
        label="Hottest allowed (°C)", initial=Wording.temperature_limit
    )
    soap_content_target = NumberField(
        label="Soap content to dilute to (%)",
        required=False,
        help_text=(
            "Only for a dilution. Empty: by ratio, with the water you write below. A"
            " target: the water is computed from the soap content of the very paste,"
            " and the amount you write for it does not count."
        ),
    )
    authority_reference = forms.CharField(
        label="Authority's number for supply as plant protection product",
        required=False,
        max_length=120,
        help_text=(
            "The number itself, as it stands in the authority's letter. Leave empty"
            " unless your authority has given you one: without it a spray is for own"
            " use only. Rules differ by place and change."
        ),
    )
    authority_checked_on = DayField(
        label="Rules last checked on",
        required=False,
        help_text="The day on which you did: today, or before.",
    )

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        ingredients = _ingredients()
        for number in range(1, MOST_LINES + 1):
            self.fields[f"ingredient_{number}"] = forms.ChoiceField(
                label=f"Ingredient {number}", choices=ingredients, required=False
            )
            self.fields[f"per_kg_{number}"] = MassField(
                label=f"Amount {number}, per kilogram of the basis", required=False
            )

    def lines(self) -> list[Line]:
        """Return the lines that were filled in."""
        found = []
        for number in range(1, MOST_LINES + 1):
            key = self.cleaned_data.get(f"ingredient_{number}")
            amount = self.cleaned_data.get(f"per_kg_{number}")
            if key:
                found.append(_line(key, amount))
        return found

    def clean(self) -> dict[str, Any]:
        """Refuse an amount that belongs to nothing."""
        for number in range(1, MOST_LINES + 1):
            if self.cleaned_data.get(f"per_kg_{number}") and not self.cleaned_data.get(
                f"ingredient_{number}"
            ):
                self.add_error(
                    f"ingredient_{number}", ValidationError("Choose the ingredient.")
                )
        return self.cleaned_data

    def facts(self) -> dict[str, Any]:
        """Return wording and lines, as the services take them."""
        facts = super().facts()
        names = {field.name for field in dataclasses.fields(Wording)}
        rest = {
            name: value
            for name, value in facts.items()
            if name not in names and "_kg_" not in name and "ingredient" not in name
        }
        wording = Wording(**{name: facts[name] for name in names})
        return {"wording": wording, "lines": self.lines(), **rest}


class FormulaForm(VersionForm):
    """A new formula with its first version."""

    name = forms.CharField(label="Name of the formula", max_length=120)
    kind = forms.ChoiceField(label="Kind", choices=Formula.Kind.choices)
    purpose = forms.ChoiceField(label="For", choices=Formula.Purpose.choices)

    field_order = ("name", "kind", "purpose")


class NewVersionForm(VersionForm):
    """A new version, filled with what the former one says."""

    reason = forms.CharField(label="Why a new version", max_length=400)

    field_order = ("reason",)


def initial_of(version: FormulaVersion) -> dict[str, Any]:
    """Return the values a new version starts from."""
    values: dict[str, Any] = {
        field.name: getattr(version, field.name)
        for field in dataclasses.fields(Wording)
    }
    for number, line in enumerate(version.lines.all(), start=1):
        key = (
            f"m{line.material_id}" if line.material_id else f"f{line.source_formula_id}"
        )
        values[f"ingredient_{number}"] = key
        if line.per_kg_mg is not None:
            values[f"per_kg_{number}"] = f"{line.per_kg_mg / 1000:g} g"
    return values


def _ingredients() -> list[Any]:
    materials = [(f"m{row.pk}", row.name) for row in Material.objects.all()]
    formulas = [(f"f{row.pk}", row.name) for row in Formula.objects.all()]
    return [
        ("", "–"),
        ("Materials", materials),
        ("What we make", formulas),
    ]


def _line(key: str, amount: int | None) -> Line:
    if key.startswith("m"):
        return Line(material=Material.objects.get(pk=key[1:]), per_kg_mg=amount)
    return Line(source_formula=Formula.objects.get(pk=key[1:]), per_kg_mg=amount)
