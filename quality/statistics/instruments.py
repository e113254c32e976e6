"""Instruments held against something known, and what they can weigh or decide.

Decimal where a reading is held against a limit, as in :mod:`.conformity`. Only the
Nernst slope and what follows from it is float: it comes from physical constants, and
its limits are 5 % wide. All lengths of ± are half widths of a rectangle (GUM 4.3.7); a
display that moves in steps adds step/√12 (GUM F.2.2.1); U = 2u.

>>> check_error(
...     shown=Decimal("500.4"), reference=Decimal(500), tolerance=Decimal(1),
...     step=Decimal("0.1"), reference_half_width=Decimal("0.05"), unit="g",
... ).sentence
'Error 0.4 g ± 0.082 g lies inside −1 g to 1 g: pass.'
"""

from __future__ import annotations

import dataclasses
import math
from decimal import ROUND_UP, Decimal
from typing import Final

from producer.quantities import format_number
from quality.statistics.conformity import Verdict, explain, judge, method_fit
from quality.statistics.errors import OutsideTableError, StatisticsError
from quality.statistics.uncertainty import (
    combine,
    expanded,
    from_half_width_rectangular,
    from_resolution,
)

# CODATA 2018, exact since the SI of 2019; in J/(mol·K), C/mol, K.
GAS_CONSTANT: Final = 8.314462618
FARADAY_CONSTANT: Final = 96485.33212
ZERO_CELSIUS: Final = 273.15

SMALLEST_SHARE: Final = Decimal("0.01")  # requirements C29: U is 1 % of the mass
# Slope of a good electrode, in % of the Nernst slope: common practice, no source.
LEAST_SLOPE: Final = 95.0
MOST_SLOPE: Final = 105.0
# Offset at pH 7 of a good electrode, in mV and in pH: common practice, no source.
MOST_OFFSET_MILLIVOLTS: Final = 30.0
MOST_OFFSET_PH: Final = 0.5
SOAP_WINDOW: Final = (Decimal(8), Decimal(10))  # of a 1 % solution, in which we judge
COLDEST, HOTTEST = 0.0, 100.0  # liquid water, in °C


@dataclasses.dataclass(frozen=True, kw_only=True)
class ErrorCheck:
    """The error of an instrument against a reference, judged.

    ``error`` is shown − reference; u has the step and the ± of the reference in it.
    """

    error: Decimal
    standard_uncertainty: Decimal
    verdict: Verdict
    sentence: str


def check_error(
    *,
    shown: Decimal,
    reference: Decimal,
    tolerance: Decimal,
    step: Decimal,
    reference_half_width: Decimal = Decimal(0),
    unit: str = "",
    name: str = "Error",
) -> ErrorCheck:
    """Return the error of a scale, thermometer or meter, and one of four outcomes.

    Everything is in ``unit``. ``tolerance`` is the largest error that passes, ``step``
    the smallest step of the display. The guard band is U, as for every judgement here
    (ILAC-G8:09/2019, 4.2.3). Where U is as wide as the tolerance, the sentence says
    that the reference is too coarse.

    Raises :class:`StatisticsError` for a tolerance or step that is not above zero, or
    a ± below zero.

    >>> check = check_error(
    ...     shown=Decimal("1.2"), reference=Decimal(0), tolerance=Decimal(1),
    ...     step=Decimal("0.1"), reference_half_width=Decimal("0.2"), unit="°C",
    ... )
    >>> check.error, check.verdict.label
    (Decimal('1.2'), 'conditional fail')
    """
    if tolerance <= 0:
        raise StatisticsError("The largest error that passes must be above zero.")
    uncertainty = reading_uncertainty(step, reference_half_width)
    error = shown - reference
    band = expanded(uncertainty)
    return ErrorCheck(
        error=error,
        standard_uncertainty=uncertainty,
        verdict=judge(error, lower=-tolerance, upper=tolerance, guard_band=band),
        sentence=explain(
            name=name,
            unit=f" {unit}" if unit else "",
            value=error,
            lower=-tolerance,
            upper=tolerance,
            expanded_uncertainty=band,
        ),
    )


def reading_uncertainty(step: Decimal, half_width: Decimal = Decimal(0)) -> Decimal:
    """Return u of one reading, from the step of the display and a ±.

    >>> reading_uncertainty(Decimal(1), Decimal(1)).quantize(Decimal("0.0001"))
    Decimal('0.6455')
    """
    if step <= 0:
        raise StatisticsError("The smallest step of an instrument is above zero.")
    if half_width < 0:
        raise StatisticsError("Write the ± without a sign.")
    return combine(from_resolution(step), from_half_width_rectangular(half_width))


def smallest_net_mass(
    step: Decimal,
    half_width: Decimal = Decimal(0),
    *,
    repeatability: Decimal = Decimal(0),
    share: Decimal = SMALLEST_SHARE,
) -> Decimal:
    """Return the smallest net mass whose U is no more than ``share`` of it.

    A net mass is two readings, gross and tare, taken as independent, the ± of the
    scale with them: a ± that is the same at both partly cancels, so this errs on the
    wide side. ``repeatability`` is the standard deviation of one reading. Requirements
    C29; rounded up to the step of the scale. All in the unit of the scale.

    >>> smallest_net_mass(Decimal(1)), smallest_net_mass(Decimal("0.01"))
    (Decimal('82'), Decimal('0.82'))
    """
    if not 0 < share < 1:
        raise StatisticsError("The share must lie between 0 and 1, for example 0.01.")
    if repeatability < 0:
        raise StatisticsError("A standard deviation is not below zero.")
    once = combine(reading_uncertainty(step, half_width), repeatability)
    net = expanded(combine(once, once)) / share
    return (net / step).to_integral_value(ROUND_UP) * step


def nernst_slope(temperature: float) -> float:
    """Return the slope of an ideal pH electrode, R·T·ln 10/F, in mV per pH.

    ``temperature`` in °C, 0 to 100; outside raises :class:`OutsideTableError`.

    >>> round(nernst_slope(25), 2), round(nernst_slope(20), 2)
    (59.16, 58.17)
    """
    if not COLDEST <= temperature <= HOTTEST:
        raise OutsideTableError(
            "A pH is measured in water between 0 and 100 °C. Check the temperature."
        )
    kelvin = temperature + ZERO_CELSIUS
    return 1000 * GAS_CONSTANT * kelvin * math.log(10) / FARADAY_CONSTANT


@dataclasses.dataclass(frozen=True, kw_only=True)
class BufferReading:
    """One buffer: the pH it has at its temperature, and what the meter shows in it."""

    reference: Decimal
    shown: Decimal
    millivolts: Decimal | None = None


@dataclasses.dataclass(frozen=True, kw_only=True)
class MeterCheck:
    """A pH meter held against two buffers.

    ``slope_percent`` is the slope in % of the Nernst slope at the temperature, from
    the millivolts where both are known, else from the pH shown. ``offset`` is how far
    the line through both readings is off at pH 7: in mV, or in pH. ``brackets`` says
    whether the buffers lie on both sides of the window.
    """

    errors: tuple[ErrorCheck, ErrorCheck]
    slope_percent: float
    offset: float
    from_millivolts: bool
    brackets: bool
    passed: bool
    sentence: str


def check_meter(
    first: BufferReading,
    second: BufferReading,
    *,
    temperature: Decimal,
    tolerance: Decimal,
    step: Decimal,
    reference_half_width: Decimal = Decimal(0),
    window: tuple[Decimal, Decimal] = SOAP_WINDOW,
) -> MeterCheck:
    """Return slope, offset and errors of a pH meter, and whether it passes.

    It passes where both errors are acceptable, the slope lies at 95 to 105 % of the
    Nernst slope and the offset at pH 7 is no more than 30 mV, or 0.5 pH where no
    millivolts are known (both common practice, no source). Right after the meter was
    set to these very buffers the pH shown says nothing; the millivolts still do.

    Raises :class:`StatisticsError` for two buffers that are less than 1 pH apart, or
    both readings nearer to the other buffer: they were swapped.

    >>> check = check_meter(
    ...     BufferReading(reference=Decimal("7.02"), shown=Decimal("7.03")),
    ...     BufferReading(reference=Decimal("10.06"), shown=Decimal("9.99")),
    ...     temperature=Decimal(20), tolerance=Decimal("0.1"), step=Decimal("0.01"),
    ... )
    >>> round(check.slope_percent, 1), check.passed, check.brackets
    (97.4, True, True)
    """
    distance = second.reference - first.reference
    if abs(distance) < 1:
        raise StatisticsError(
            "The two buffers are less than 1 pH apart. Take two like 7 and 10."
        )
    if _are_swapped(first, second):
        raise StatisticsError(
            f"What was shown in buffer {format_number(first.reference)} is nearer to"
            f" {format_number(second.reference)}, and the other way round: the two are"
            " swapped. Put each reading beside its own buffer."
        )
    errors = (
        _buffer_error(first, tolerance, step, reference_half_width),
        _buffer_error(second, tolerance, step, reference_half_width),
    )
    slope, offset, from_millivolts = _line(first, second, float(temperature))
    most = MOST_OFFSET_MILLIVOLTS if from_millivolts else MOST_OFFSET_PH
    straight = LEAST_SLOPE <= slope <= MOST_SLOPE
    centred = abs(offset) <= most
    low, high = sorted((first.reference, second.reference))
    # The window is meant at 25 °C, where a buffer called 10 has 10.01; warmer it has a
    # little less and still does its work.
    brackets = low <= window[0] and high >= window[1] - Decimal("0.2")
    return MeterCheck(
        errors=errors,
        slope_percent=slope,
        offset=offset,
        from_millivolts=from_millivolts,
        brackets=brackets,
        passed=straight
        and centred
        and all(error.verdict.acceptable for error in errors),
        sentence=" ".join(
            [
                *(error.sentence for error in errors),
                _slope_words(slope, offset, from_millivolts)
                + _line_verdict(straight, centred, from_millivolts),
                *([] if brackets else [_bracket_words(window)]),
            ]
        ),
    )


def _are_swapped(first: BufferReading, second: BufferReading) -> bool:
    """Say whether both readings lie nearer to the other buffer than to their own."""
    return all(
        abs(own.shown - other.reference) < abs(own.shown - own.reference)
        for own, other in ((first, second), (second, first))
    )


def _buffer_error(
    buffer: BufferReading, tolerance: Decimal, step: Decimal, half_width: Decimal
) -> ErrorCheck:
    return check_error(
        shown=buffer.shown,
        reference=buffer.reference,
        tolerance=tolerance,
        step=step,
        reference_half_width=half_width,
        name=f"Error at pH {format_number(buffer.reference)}:",
    )


def _line(
    first: BufferReading, second: BufferReading, temperature: float
) -> tuple[float, float, bool]:
    """Return slope in % of the ideal one, offset at pH 7, and whether from mV."""
    distance = float(second.reference - first.reference)
    if first.millivolts is None or second.millivolts is None:
        slope = float(second.shown - first.shown) / distance
        offset = float(first.shown) - 7 - slope * (float(first.reference) - 7)
        return 100 * slope, offset, False
    # An alkaline buffer has the lower voltage.
    rise = float(first.millivolts - second.millivolts) / distance
    offset = float(first.millivolts) + rise * (float(first.reference) - 7)
    return 100 * rise / nernst_slope(temperature), offset, True


def _slope_words(
    slope: float,
    offset: float,
    from_millivolts: bool,  # noqa: FBT001 - a private helper with one caller
) -> str:
    unit = " mV" if from_millivolts else " pH"
    places = 0 if from_millivolts else 2
    ideal = "of the ideal slope" if from_millivolts else "of the slope it was set to"
    shown = format_number(Decimal(str(round(slope, 1))))
    off = format_number(Decimal(str(round(offset, places))), places=places)
    return f"Slope {shown} % {ideal}, offset {off}{unit} at pH 7: "


def _line_verdict(
    straight: bool,  # noqa: FBT001 - a private helper with one caller
    centred: bool,  # noqa: FBT001
    from_millivolts: bool,  # noqa: FBT001
) -> str:
    if straight and centred:
        return "good."
    most = f"{MOST_OFFSET_MILLIVOLTS:.0f} mV" if from_millivolts else "0.5 pH"
    faults = [
        *([] if straight else ["outside 95 to 105 %"]),
        *([] if centred else [f"more than {most} off"]),
    ]
    return f"{', '.join(faults)}: clean or replace the electrode."


def _bracket_words(window: tuple[Decimal, Decimal]) -> str:
    low, high = (format_number(end) for end in window)
    return (
        f"These buffers do not lie on both sides of {low} to {high}, where soap is"
        " judged: repeat it with 7 and 10."
    )


@dataclasses.dataclass(frozen=True, kw_only=True)
class StripFit:
    """What the step of a pH strip leaves of a window."""

    standard_uncertainty: Decimal
    expanded_uncertainty: Decimal
    decides: bool
    surely_from: Decimal
    surely_to: Decimal
    sentence: str


def strip_fit(
    step: Decimal,
    half_width: Decimal = Decimal(0),
    *,
    window: tuple[Decimal, Decimal] = SOAP_WINDOW,
) -> StripFit:
    """Return whether strips of this step and ± can decide a window of pH.

    u = √(step²/12 + ±²/3); the window must be wider than 2U. A reading from
    ``surely_from`` to ``surely_to`` is a pass without condition.

    >>> strip_fit(Decimal("0.5")).sentence
    'One reading is good to ± 0.29 (k = 2). Of 8 to 10 that leaves 8.29 to 9.71 as a \
pass without condition.'
    >>> strip_fit(Decimal(1), Decimal(1)).decides
    False
    """
    lower, upper = window
    if not lower < upper:
        raise StatisticsError("The lower end of the window must be below the upper.")
    uncertainty = reading_uncertainty(step, half_width)
    spread = expanded(uncertainty)
    decides = method_fit(lower, upper, spread)
    shown = spread.quantize(Decimal("0.01"), ROUND_UP)
    ends = f"{format_number(lower)} to {format_number(upper)}"
    kept = f"{format_number(lower + shown)} to {format_number(upper - shown)}"
    return StripFit(
        standard_uncertainty=uncertainty,
        expanded_uncertainty=spread,
        decides=decides,
        surely_from=lower + spread,
        surely_to=upper - spread,
        sentence=f"One reading is good to ± {format_number(shown)} (k = 2). "
        + (
            f"Of {ends} that leaves {kept} as a pass without condition."
            if decides
            else f"That is too coarse to decide {ends}: take finer strips or a meter."
        ),
    )
