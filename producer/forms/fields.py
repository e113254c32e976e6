"""Form fields for numbers with comma or point, masses, volumes and times."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.dateparse import parse_datetime

from producer import wall_clock
from producer.errors import Refusal
from producer.money import parse_money
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


class MoneyField(NumberField):
    """Money as whole hundredths; “12,50” and “12.5” may both be typed."""

    def parse(self, text: str) -> int:
        """Return whole hundredths."""
        return parse_money(text)


class DayField(forms.DateField):
    """A calendar day."""

    def __init__(self, **options: Any) -> None:
        options.setdefault(
            "widget", forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
        )
        super().__init__(**options)


class WallClockInput(forms.DateTimeInput):
    """A wall time, and beside it the question which of two, when there are two.

    The answer travels in a field of its own, named after this one with “_which”, as the
    offset from UTC; together they are one value, “2026-10-25T02:30 +02:00”.
    """

    template_name = "django/forms/widgets/wall_clock.html"

    def __init__(self) -> None:
        super().__init__(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M")

    def value_from_datadict(self, data: Any, files: Any, name: str) -> Any:
        """Return what was typed, with the offset behind it if one was chosen."""
        typed = super().value_from_datadict(data, files, name)
        which = data.get(f"{name}_which")
        return f"{typed} {which}" if typed and which else typed

    def get_context(
        self, name: str, value: Any, attrs: Mapping[str, Any] | None
    ) -> dict[str, Any]:
        """Give the template both moments of a time that the clock shows twice."""
        typed, which = _apart(value) if isinstance(value, str) else (value, "")
        if isinstance(value, datetime.datetime):  # to begin with; fold says which
            zone = timezone.get_current_timezone()
            which = wall_clock.offset_of(value.replace(tzinfo=zone))
        context = super().get_context(name, typed, attrs)  # type: ignore[arg-type]
        context["widget"] |= {
            "twice": _twice(typed),
            "which": which,
            "which_name": f"{name}_which",
            "which_id": f"{context['widget']['attrs'].get('id', name)}_which",
        }
        return context


class ObservedField(forms.DateTimeField):
    """When something happened, by the wall clock; empty means now.

    In the night in which the clock is put back it shows an hour twice: then it asks
    which of the two. A time over which the clock is put forward is refused. The
    moment comes in UTC, where later is later and a difference is a duration; the
    times of one zone are compared by what the clock shows.
    """

    def __init__(self, **options: Any) -> None:
        options.setdefault("label", "When")
        options.setdefault("required", False)
        options.setdefault("help_text", "By the clock on the wall. Empty means now.")
        options.setdefault("widget", WallClockInput())
        super().__init__(**options)

    def to_python(self, value: Any) -> datetime.datetime | None:
        """Return the moment meant in UTC, or None when nothing was typed."""
        if not isinstance(value, str):
            return super().to_python(value)
        typed, offset = _apart(value)
        shown = _parsed(typed)
        if shown is None or timezone.is_aware(shown):
            at = super().to_python(typed)  # says what it cannot read
            return at.astimezone(datetime.UTC) if at else None
        zone = timezone.get_current_timezone()
        try:
            return wall_clock.moment_of(shown, zone, offset=offset)
        except Refusal as refused:
            raise ValidationError(refused.message, code="wall_clock") from refused


def _apart(value: str) -> tuple[str, str]:
    """Return what was typed and the offset chosen; one without the other is typed."""
    typed, _, offset = value.strip().rpartition(" ")
    is_offset = offset[:1] in {"+", "-"}
    return (typed, offset) if typed and is_offset else (value.strip(), "")


def _parsed(typed: str) -> datetime.datetime | None:
    try:
        return parse_datetime(typed)
    except ValueError:  # well formed, and no day or hour there is
        return None


def _twice(typed: Any) -> list[tuple[str, str]]:
    """Return offset and words of both moments, if the clock shows this time twice."""
    shown = _parsed(typed) if isinstance(typed, str) else typed
    if shown is None or timezone.is_aware(shown):
        return []
    shown = shown.replace(fold=0)
    zone = timezone.get_current_timezone()
    found = wall_clock.moments_of(shown, zone)
    if len(found) == 1:
        return []
    offsets = [wall_clock.offset_of(at.astimezone(zone)) for at in found]
    when = ("the first, before the clock was put back", "the second, after it was")
    return [
        (offset, f"{shown:%H:%M} {offset}, {words}")
        for offset, words in zip(offsets, when, strict=False)
    ]
