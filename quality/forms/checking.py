"""Forms of instrument checks, one for each kind of instrument."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any, cast

from django import forms
from django.utils import timezone

from producer.errors import Refusal
from producer.forms.base import ActForm
from producer.forms.fields import NumberField, ObservedField
from producer.models import Instrument
from producer.quantities import format_number
from producer.services.checks import local_day
from quality.services.checking import Known, TwoBuffers
from quality.services.references import buffer_name, in_hand
from quality.services.tolerances import UNITS
from quality.statistics.buffers import TABLES, BufferSet

USUAL_TOLERANCE = {Instrument.Kind.PH_METER: "0.1", Instrument.Kind.THERMOMETER: "1"}
ROOM = (Decimal(0), Decimal(50))  # °C, the range of the tables of buffers
SEVENTY_KILOGRAMS = Decimal(70_000)


class CheckForm(ActForm):
    """What every check needs: the ± of what it is held against, and the tolerance."""

    half_width = NumberField(
        label="The reference may be wrong by up to ±",
        help_text="From its certificate or class, same unit. Nought if you do not know"
        " is not true: take what its maker says.",
    )
    tolerance = NumberField(
        label="Largest error that passes",
        help_text="Set it before you look: what your work can bear.",
    )
    note = forms.CharField(label="Note", max_length=200, required=False)
    observed_at = ObservedField()

    def __init__(self, *args: Any, instrument: Instrument, **options: Any) -> None:
        super().__init__(*args, **options)
        for name in self.own_unit:
            self.fields[name].unit = UNITS[instrument.kind]  # type: ignore[attr-defined]
        usual = USUAL_TOLERANCE.get(Instrument.Kind(instrument.kind))
        self.fields["tolerance"].initial = usual or str(instrument.resolution * 2)

    own_unit: tuple[str, ...] = ("half_width", "tolerance")

    def shared(self) -> dict[str, Any]:
        """Return the facts of every check."""
        names = ("half_width", "tolerance", "note", "observed_at")
        return {name: self.cleaned_data[name] for name in names}


class KnownForm(CheckForm):
    """Something known in words, with its value."""

    against = forms.CharField(
        label="Held against",
        max_length=120,
        help_text="Which check weight, with its class: one near what you weigh.",
    )
    reference = NumberField(label="What it is known to be")
    shown = NumberField(label="What the instrument shows")

    field_order: tuple[str, ...] = (
        "against",
        "reference",
        "half_width",
        "shown",
        "tolerance",
        "note",
    )
    own_unit = ("reference", "shown", "half_width", "tolerance")

    def facts(self) -> dict[str, Any]:
        """Return the facts as the service takes them."""
        names = ("against", "reference", "shown")
        held = Known(
            **{name: self.cleaned_data[name] for name in names},
            weight=self.cleaned_data.get("weight"),
        )
        return {"held": held, **self.shared()}


class WeightForm(KnownForm):
    """A scale against a check weight, of the register or in words.

    One of the register brings its value and its ±; they are asked of another one.
    """

    weight = forms.ModelChoiceField(
        Instrument.objects.none(),
        label="Check weight of the register",
        required=False,
        empty_label="another one, in words",
        help_text="One near what you weigh. Its mass and ± are in the register.",
    )

    field_order = ("weight", *KnownForm.field_order)
    OF_THE_REGISTER = ("against", "reference", "half_width")

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        weights = in_hand(Instrument.Kind.CHECK_WEIGHT, local_day(timezone.now()))
        choice = cast("Any", self.fields["weight"])
        # All of them: one that is past its date is refused with a sentence.
        choice.queryset = Instrument.objects.filter(kind=Instrument.Kind.CHECK_WEIGHT)
        choice.label_from_instance = _named
        if not weights:
            choice.empty_label = "none in date: another one, in words"
        for name in self.OF_THE_REGISTER:
            self.fields[name].required = False
            self.fields[name].help_text += " Empty for one of the register."

    def clean(self) -> dict[str, Any]:
        """Take from the register what it knows, and ask for the rest."""
        cleaned = super().clean() or self.cleaned_data
        weight = cleaned.get("weight")
        if weight is None:
            for name in self.OF_THE_REGISTER:
                if cleaned.get(name) in {None, ""} and name not in self.errors:
                    self.add_error(name, "This is needed.")
            return cleaned
        known = {"reference": weight.nominal, "half_width": weight.bias_half_width}
        for name, value in known.items():
            if cleaned.get(name) is None:
                cleaned[name] = value
        return cleaned


def _named(instrument: Instrument) -> str:
    return f"{instrument.name}: {format_number(instrument.nominal or Decimal(0))} g"


class IcePointForm(KnownForm):
    """A thermometer at the ice point."""

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["against"].initial = "ice point"
        self.fields["against"].help_text = (
            "Crushed ice of clean water with just enough water to fill the gaps,"
            " stirred, the probe in the middle for some minutes."
        )
        self.fields["reference"].initial = "0"
        self.fields["half_width"].initial = "0.1"


OF_THE_REGISTER = "lot"  # before the key of a lot of buffer, as a choice


def _lots() -> list[tuple[str, str]]:
    """Return the lots of buffer that one of the tables knows, as choices."""
    rows = Instrument.objects.filter(kind=Instrument.Kind.BUFFER, in_use=True)
    return [
        (f"{OF_THE_REGISTER} {row.pk}", f"{row.name}: pH {found[1]} at 25 °C")
        for row in rows.order_by("nominal", "pk")
        if (found := buffer_name(row))
    ]


def _names(which: BufferSet) -> list[tuple[str, str]]:
    return [(f"{which.value} {name}", f"{name} at 25 °C") for name in TABLES[which]]


class BuffersForm(CheckForm):
    """A pH meter against two buffers of one set."""

    CHOICES = tuple((which.label, _names(which)) for which in BufferSet)

    first = forms.ChoiceField(
        label="First buffer",
        choices=CHOICES,
        help_text="As the bottle says. Fresh from the bottle; never poured back.",
    )
    shown = NumberField(label="pH shown in it", within=(Decimal(0), Decimal(14)))
    first_millivolts = NumberField(label="Millivolts in it", required=False)
    second = forms.ChoiceField(
        label="Second buffer",
        choices=CHOICES,
        help_text="Of the same set, so that both lie around 8 to 10: 7 and 10.",
    )
    second_shown = NumberField(label="pH shown in it", within=(Decimal(0), Decimal(14)))
    second_millivolts = NumberField(label="Millivolts in it", required=False)
    temperature = NumberField(
        label="Temperature of both",
        within=ROOM,
        help_text="A buffer has another pH when it is colder or warmer.",
    )

    field_order = (
        "temperature",
        "first",
        "shown",
        "first_millivolts",
        "second",
        "second_shown",
        "second_millivolts",
        "half_width",
        "tolerance",
        "note",
    )

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["temperature"].unit = "°C"  # type: ignore[attr-defined]
        self.fields["first"].initial = f"{BufferSet.TECHNICAL.value} 7.00"
        self.fields["second"].initial = f"{BufferSet.TECHNICAL.value} 10.01"
        if lots := _lots():
            for name in ("first", "second"):
                cast("Any", self.fields[name]).choices = (
                    ("lots of the register", lots),
                    *self.CHOICES,
                )
        self.fields["half_width"].initial = "0.02"
        for name in ("first_millivolts", "second_millivolts"):
            self.fields[name].unit = "mV"  # type: ignore[attr-defined]
        self.fields["first_millivolts"].help_text = (
            "If the meter can show them: right after it was set to these buffers only"
            " the millivolts say anything."
        )

    def clean(self) -> dict[str, Any]:
        """Refuse buffers of two sets: they are different solutions."""
        cleaned = super().clean() or self.cleaned_data
        sets = {
            _buffer(cleaned[name])[0] for name in ("first", "second") if name in cleaned
        }
        if len(sets) > 1:
            self.add_error(
                "second", "Take both buffers from one set: the two are not the same."
            )
        return cleaned

    def facts(self) -> dict[str, Any]:
        """Return the facts as the service takes them."""
        cleaned = self.cleaned_data
        which, first, first_lot = _buffer(cleaned["first"])
        _, second, second_lot = _buffer(cleaned["second"])
        return {
            "held": TwoBuffers(
                which=which,
                names=(first, second),
                lots=(first_lot, second_lot),
                shown=(cleaned["shown"], cleaned["second_shown"]),
                temperature=cleaned["temperature"],
                millivolts=(
                    cleaned["first_millivolts"],
                    cleaned["second_millivolts"],
                ),
            ),
            **self.shared(),
        }


def _buffer(choice: str) -> tuple[BufferSet, str, Instrument | None]:
    """Return the set and the name of a buffer, and its lot if one was chosen."""
    which, _, name = choice.partition(" ")
    if which != OF_THE_REGISTER:
        return BufferSet(which), name, None
    lot = Instrument.objects.get(pk=int(name))
    found = buffer_name(lot)
    if found is None:  # changed in the register while the form was open
        raise Refusal(f"No table has a buffer of the pH that {lot.name} stands for.")
    return *found, lot


FORMS: Mapping[str, type[KnownForm | BuffersForm]] = {
    Instrument.Kind.SCALE: WeightForm,
    Instrument.Kind.THERMOMETER: IcePointForm,
    Instrument.Kind.PH_METER: BuffersForm,
}
