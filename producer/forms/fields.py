"""Form fields for numbers with comma or point, masses, volumes and times."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from producer.quantities import (
    AmbiguousNumber,
    QuantityError,
    parse_mass,
    parse_number,
    parse_volume,
)


def _as_validation_error(error: QuantityError) -> ValidationError:
    if isinstance(error, AmbiguousNumber):
        return ValidationError(
            str(error), code="ambiguous", params={"readings": error.choices}
        )
    return ValidationError(str(error), code="unreadable")


class NumberField(forms.CharField):
    """A decimal number, typed with a comma or a point; asks when it is ambiguous.

    ``within`` gives the lowest and highest value that makes sense: it settles an
    ambiguity when only one reading lies inside.
    """

    def __init__(
        self, *, within: tuple[Decimal, Decimal] | None = None, **options: Any
    ) -> None:
        self.within = within
        options.setdefault(
            "widget",
            forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
        )
        super().__init__(**options)

    def to_python(self, value: Any) -> Any:
        """Return a :class:`Decimal`, or None when nothing was typed."""
        text = super().to_python(value)
        if not text:
            return None
        try:
            return self.parse(text)
        except QuantityError as error:
            raise _as_validation_error(error) from error

    def parse(self, text: str) -> Decimal | int:
        """Turn text into the value; subclasses differ here."""
        return parse_number(text, within=self.within)


class MassField(NumberField):
    """A mass as whole milligrams; “1,5 kg” and “208 g” may both be typed."""

    def __init__(self, *, unit: str = "g", **options: Any) -> None:
        self.unit = unit
        super().__init__(**options)
        self.widget.attrs["data-unit"] = unit

    def parse(self, text: str) -> int:
        """Return whole milligrams."""
        return parse_mass(text, unit=self.unit)


class VolumeField(NumberField):
    """A volume as whole microlitres."""

    def __init__(self, *, unit: str = "ml", **options: Any) -> None:
        self.unit = unit
        super().__init__(**options)
        self.widget.attrs["data-unit"] = unit

    def parse(self, text: str) -> int:
        """Return whole microlitres."""
        return parse_volume(text, unit=self.unit)


class DayField(forms.DateField):
    """A calendar day."""

    def __init__(self, **options: Any) -> None:
        options.setdefault(
            "widget", forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
        )
        super().__init__(**options)


class ObservedField(forms.DateTimeField):
    """When something happened, by the wall clock; empty means now."""

    def __init__(self, **options: Any) -> None:
        options.setdefault("label", "When")
        options.setdefault("required", False)
        options.setdefault("help_text", "By the clock on the wall. Empty means now.")
        options.setdefault(
            "widget",
            forms.DateTimeInput(
                attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"
            ),
        )
        super().__init__(**options)
