"""How far off an instrument may be: what a check lets pass, what its register says."""

from __future__ import annotations

from decimal import Decimal
from typing import Final

from producer.errors import Refusal
from producer.models import Instrument
from producer.quantities import format_number
from quality.models import InstrumentCheck

UNITS: Final[dict[str, str]] = {
    Instrument.Kind.SCALE: "g",
    Instrument.Kind.THERMOMETER: "°C",
    Instrument.Kind.PH_METER: "pH",
    Instrument.Kind.PH_STRIPS: "pH",
    Instrument.Kind.CHECK_WEIGHT: "g",
    Instrument.Kind.BUFFER: "pH",
    Instrument.Kind.INDICATOR: "",
}
# The largest error that a check may let pass: more would not be a check. Common
# practice, no source; that a meter should be within 0.1 pH is in requirements C34.
MOST_TOLERANCE: Final[dict[str, Decimal]] = {
    Instrument.Kind.PH_METER: Decimal("0.2"),
    Instrument.Kind.THERMOMETER: Decimal(2),
}
SCALE_TIMES: Final = 3  # of its step or of its ±; common practice, no source


def most_tolerance(instrument: Instrument) -> Decimal:
    """Return the largest tolerance that a check of it may have, in its unit.

    A pH meter 0.2 pH, a thermometer 2 °C, a scale three of its steps or three times its
    registered ±, whichever is more.
    """
    if instrument.kind == Instrument.Kind.SCALE:
        return SCALE_TIMES * max(instrument.resolution, instrument.bias_half_width)
    return MOST_TOLERANCE[instrument.kind]


def may_be_tolerated(instrument: Instrument, tolerance: Decimal) -> None:
    """Refuse a tolerance above :func:`most_tolerance`."""
    most, unit = most_tolerance(instrument), UNITS[instrument.kind]
    if tolerance <= most:
        return
    advice = (
        " If your work can bear more, its ± in the register is raised first, so that"
        " every result says so."
        if instrument.kind == Instrument.Kind.SCALE
        else " One that is farther off is not good; have it adjusted or replace it."
    )
    raise Refusal(
        f"No check of {instrument.name} lets more than {format_number(most)} {unit}"
        f" pass.{advice}",
        field="tolerance",
    )


def beyond_register(instrument: Instrument, check: InstrumentCheck) -> Decimal | None:
    """Return the error of a good check that the registered ± does not cover, or None.

    Beyond what half a step and the ± of the reference explain. Of two buffers the one
    that is farther off.
    """
    if not check.passed:
        return None
    error = largest_error(check)
    known = instrument.resolution / 2 + check.reference_half_width
    return error if abs(error) - known > instrument.bias_half_width else None


def beyond_words(instrument: Instrument, check: InstrumentCheck) -> str:
    """Return what to do where a good check shows the registered ± too small."""
    error = beyond_register(instrument, check)
    if error is None:
        return ""
    unit = UNITS[instrument.kind]
    return (
        f"Registered ± {format_number(instrument.bias_half_width)} {unit}, but"
        f" {format_number(abs(error))} {unit} off: raise the ± in the register."
    )


def largest_error(check: InstrumentCheck) -> Decimal:
    """Return shown less known; of two buffers the one that is farther off."""
    errors = [check.shown - check.reference]
    if check.second_shown is not None and check.second_reference is not None:
        errors.append(check.second_shown - check.second_reference)
    return max(errors, key=abs)
