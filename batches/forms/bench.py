"""Forms at the bench: titrations and containers."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from typing import Any, cast

from django import forms

from batches.chemistry.replicates import Kind
from batches.forms.making import WeighForm, offer
from batches.services.titrating import Replicate, Setup
from producer.forms.base import ActForm, ReasonForm
from producer.forms.fields import MassField, NumberField, ObservedField
from producer.forms.store import offer_containers
from producer.models import Instrument, RawLot

MOST_SAMPLES = 4
VOLUMES = (Decimal(0), Decimal(200))
CONCENTRATIONS = (Decimal(0), Decimal(5))
# °C, settles what “20,005” means; the computation has its own, narrower bounds.
TEMPERATURES = (Decimal(0), Decimal(60))
# Kinds whose result is held against certificate and published range.
HELD_AGAINST = (Kind.POTASH, Kind.SAPONIFICATION_VALUE)
# The fields of one sample, less what a kind does not ask for.
SAMPLE = ("sample", "volume", "second", "excluded")
VOLUME_LABELS = {
    Kind.POTASH: "Acid until the pink of phenolphthalein is gone (ml)",
    Kind.SAPONIFICATION_VALUE: "Acid until the pink is gone (ml)",
    Kind.ACID_VALUE: "Alkali until the pink stays (ml)",
    Kind.FREE_ALKALI: "Acid until the pink is gone (ml)",
}
BLANK_HELP = {
    Kind.SAPONIFICATION_VALUE: "The same potash, boiled just as long without oil.",
    Kind.ACID_VALUE: "What the alcohol alone takes, if it was not neutral.",
    Kind.FREE_ALKALI: "What the alcohol alone takes, if it was not neutral.",
}


class MillilitresField(NumberField):
    """What a burette shows, in ml, to as many decimals as the record keeps."""

    def __init__(self, **options: Any) -> None:
        super().__init__(
            within=VOLUMES,
            places=3,
            too_fine="A burette shows hundredths of a millilitre. Write millilitres,"
            " not litres: 24.1 for 0.0241 l.",
            **options,
        )


class TitrateForm(ActForm):
    """A titration of up to four samples; a sample that is not filled in is none."""

    concentration = NumberField(
        label="Strength of the titrant (mol/l)", within=CONCENTRATIONS, places=5
    )
    half_width = NumberField(
        label="± of its strength (mol/l)",
        within=CONCENTRATIONS,
        places=5,
        help_text="From its label: 0.1 mol/l good to 0.5 % is ± 0.0005.",
    )
    burette_half_width = MillilitresField(
        label="± of the burette (ml)",
        initial="0.05",
        help_text="Printed on it. A common one of 25 ml has 0.05.",
    )
    scale = forms.ModelChoiceField(
        Instrument.objects.none(), label="Samples weighed on", empty_label=None
    )
    indicator = forms.ModelChoiceField(
        Instrument.objects.none(),
        label="Lot of indicator",
        required=False,
        empty_label="not registered",
    )
    blank_ml = MillilitresField(label="Blank (ml)", required=False)
    temperature = NumberField(
        label="Titrant now (°C)",
        within=TEMPERATURES,
        required=False,
        help_text="Only for a titrant in alcohol, which grows when it is warm.",
    )
    standard_temperature = NumberField(
        label="Its strength was determined at (°C)",
        within=TEMPERATURES,
        required=False,
    )
    method = forms.CharField(
        label="Method",
        required=False,
        max_length=120,
        help_text="What was done, or the number of the sheet it stands on.",
    )
    observed_at = ObservedField()
    unusual = forms.CharField(
        label="If this is an unusual result, why",
        required=False,
        help_text="Only when it does not fit the certificate or the published range.",
    )

    def __init__(self, *args: Any, kind: Kind, **options: Any) -> None:
        super().__init__(*args, **options)
        self.kind = kind
        offer(self.fields["scale"], [Instrument.Kind.SCALE])
        indicator = cast("forms.ModelChoiceField[Instrument]", self.fields["indicator"])
        indicator.queryset = Instrument.objects.filter(
            kind=Instrument.Kind.INDICATOR, in_use=True
        )
        self._fit_to_kind(kind)
        for number in range(1, MOST_SAMPLES + 1):
            self._add_sample(number)
        self.groups = self._groups()

    def _fit_to_kind(self, kind: Kind) -> None:
        if kind is Kind.POTASH:
            del self.fields["blank_ml"]
        else:
            self.fields["blank_ml"].help_text = BLANK_HELP[kind]
            self.fields["blank_ml"].required = kind is Kind.SAPONIFICATION_VALUE
        if kind is not Kind.ACID_VALUE:
            del self.fields["temperature"]
            del self.fields["standard_temperature"]
        if kind not in HELD_AGAINST:
            del self.fields["unusual"]

    def _add_sample(self, number: int) -> None:
        self.fields[f"sample_{number}"] = MassField(label="Sample", required=False)
        self.fields[f"volume_{number}"] = MillilitresField(
            label=VOLUME_LABELS[self.kind], required=False
        )
        if self.kind is Kind.POTASH:
            self.fields[f"second_{number}"] = MillilitresField(
                label="Acid in all, until methyl orange turns (ml)",
                required=False,
                help_text="From the start, not only the acid after the first.",
            )
        self.fields[f"excluded_{number}"] = forms.CharField(
            label="If it does not count, why",
            required=False,
            max_length=200,
            help_text="A spill, a bubble. It stays on record. An odd result alone is"
            " no reason.",
        )

    def _groups(self) -> tuple[tuple[str, tuple[str, ...]], ...]:
        samples = [
            (f"Sample {number}", tuple(self._names(number)))
            for number in range(1, MOST_SAMPLES + 1)
        ]
        of_samples = {name for _, names in samples for name in names}
        last = tuple(
            name for name in ("method", "observed_at", "unusual") if name in self.fields
        )
        shared = tuple(
            name
            for name, field in self.fields.items()
            if name not in of_samples
            and name not in last
            and not field.widget.is_hidden
        )
        return (("Titrant and glass", shared), *samples, ("", last))

    def _names(self, number: int) -> Iterator[str]:
        for part in SAMPLE:
            if f"{part}_{number}" in self.fields:
                yield f"{part}_{number}"

    def clean(self) -> dict[str, Any]:
        """Ask for the other half of a sample that is half filled in, and for one."""
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        filled = [
            number
            for number in range(1, MOST_SAMPLES + 1)
            if any(self._has(cleaned, name) for name in self._names(number))
        ]
        if not filled:
            self.add_error("sample_1", "Write at least one sample.")
        for number in filled:
            for name in self._names(number):
                if not name.startswith("excluded") and not self._has(cleaned, name):
                    self.add_error(name, f"This is needed for sample {number}.")
        if self.kind is Kind.ACID_VALUE:
            self._both_temperatures(cleaned)
        return cleaned

    def _both_temperatures(self, cleaned: dict[str, Any]) -> None:
        names = ("temperature", "standard_temperature")
        missing = [name for name in names if not self._has(cleaned, name)]
        if len(missing) == 1:
            self.add_error(missing[0], "A correction needs both temperatures.")

    def _has(self, cleaned: dict[str, Any], name: str) -> bool:
        """Say whether a field says something, be it only something unreadable."""
        return name in self.errors or cleaned.get(name) not in {None, ""}

    def facts(self) -> dict[str, Any]:
        """Return setup, samples, method and time, as the service takes them."""
        said = super().facts()
        now = said.get("temperature")
        return {
            "setup": Setup(
                concentration=said["concentration"],
                half_width=said["half_width"],
                burette_half_width=said["burette_half_width"],
                scale=said["scale"],
                indicator=said["indicator"],
                blank_ml=said.get("blank_ml"),
                temperatures=None
                if now is None
                else (now, said["standard_temperature"]),
            ),
            "replicates": [
                Replicate(
                    sample_mg=said[f"sample_{number}"],
                    volume_ml=said[f"volume_{number}"],
                    second_volume_ml=said.get(f"second_{number}"),
                    excluded_because=said[f"excluded_{number}"],
                )
                for number in range(1, MOST_SAMPLES + 1)
                if said[f"sample_{number}"] is not None
            ],
            "method": said["method"],
            "unusual": said.get("unusual", ""),
            "observed_at": said["observed_at"],
        }


class ContainerForm(WeighForm):
    """What one container of a lot weighs, or all of them together."""

    def __init__(self, *args: Any, lot: RawLot, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["gross_mg"].help_text = "With its lid, as it stands on the shelf."
        self.fields["tare_mg"].help_text = "The empty container with its lid."
        offer_containers(self, lot.pk, nothing="all of the lot together")
        if "container" in self.fields:
            self.fields["tare_mg"].required = False
            self.fields["tare_mg"].help_text = (
                "Empty: the tare of the register; or, if it is not known, the"
                " difference against the first weighing."
            )
            self.fields["opening"] = forms.BooleanField(
                label="It is opened now", required=False, initial=True
            )


class AmendContainerForm(ReasonForm):
    """A correction of such a weighing."""

    gross_mg = MassField(label="Gross, as it should read")
    tare_mg = MassField(label="Tare, as it should read")

    field_order = ("gross_mg", "tare_mg", "reason")

    def __init__(self, *args: Any, of_container: bool = False, **options: Any) -> None:
        super().__init__(*args, **options)
        if of_container:
            self.fields["tare_mg"].required = False
            self.fields["tare_mg"].help_text = "Empty: as for a new weighing of it."
