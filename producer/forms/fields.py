"""Form fields for numbers with comma or point, masses, volumes and times."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from producer.quantities import (
    AmbiguousNumber,
    QuantityError,
    format_number,
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
    ambiguity when only one reading lies inside, and what lies outside is refused.
    Not ``enforced``, it only settles: where the computation has the better sentence.
    ``places`` is how many decimals are
    kept; more are refused, with ``too_fine`` as what to do.
    """

    def __init__(
        self,
        *,
        within: tuple[Decimal, Decimal] | None = None,
        enforced: bool = True,
        places: int | None = None,
        too_fine: str = "Type no more digits than the paper or the instrument shows.",
        **options: Any,
    ) -> None:
        self.within = within
        self.enforced = enforced
        self.places = places
        self.too_fine = too_fine
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
        number = parse_number(text, within=self.within)
        if self.within is not None and self.enforced:
            self._check_bounds(number, *self.within)
        if self.places is None:
            return number
        kept = number.quantize(Decimal(1).scaleb(-self.places))
        if kept != number:
            raise QuantityError(
                f"“{text.strip()}” has more than {self.places} decimals."
                f" {self.too_fine}"
            )
        # Zeros typed at the end beyond the places go; none are put there.
        return min(number, kept, key=lambda one: len(one.as_tuple().digits))

    def _check_bounds(self, number: Decimal, low: Decimal, high: Decimal) -> None:
        if not low <= number <= high:
            raise QuantityError(
                f"{format_number(number)} is not between {format_number(low)} and"
                f" {format_number(high)}. Check the number and its unit."
            )


class MassField(NumberField):
    """A mass as whole milligrams; “1,5 kg” and “208 g” may both be typed.

    ``above_zero`` refuses a mass of nought.
    """

    def __init__(
        self, *, unit: str = "g", above_zero: bool = False, **options: Any
    ) -> None:
        self.unit = unit
        self.above_zero = above_zero
        super().__init__(**options)
        self.widget.attrs["data-unit"] = unit

    def parse(self, text: str) -> int:
        """Return whole milligrams."""
        mass = parse_mass(text, unit=self.unit)
        if self.above_zero and not mass:
            raise QuantityError("This is a mass above zero. Weigh again.")
        return mass


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
