"""The errors of instruments at their checks: shown less known, of a meter its slope."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal
from typing import Final

from producer.models import Instrument
from quality.models import InstrumentCheck
from quality.services.charting.plain import Chartable, Limits, Point
from quality.services.tolerances import UNITS
from quality.statistics.instruments import LEAST_SLOPE, MOST_SLOPE

PLACES: Final = Decimal("0.01")
PERCENT: Final = 100


def points(characteristic: Chartable, only: int | None = None) -> Iterable[Point]:
    """Return a point for each check of all instruments, or of the one with this key.

    Against another check weight or another buffer it is another quantity.
    """
    rows = InstrumentCheck.objects.select_related("instrument")
    for check in rows if only is None else rows.filter(instrument=only):
        found = _value(check, characteristic)
        if found is not None:
            value, method = found
            yield Point(
                of=check.instrument_id,
                key=check.pk,
                label=check.against,
                page="quality:instrument",
                argument=check.instrument_id,
                anchor=f"check-{check.pk}",
                at=check.observed_at,
                value=value,
                origin="passed" if check.passed else "failed",
                method=method,
            )


def limits(characteristic: Chartable, only: int | None = None) -> dict[int, Limits]:
    """Return by instrument the largest error that passes, as at its newest check.

    For the slope what a good electrode has: common practice, no source.
    """
    rows = InstrumentCheck.objects.order_by("observed_at", "pk")
    rows = rows if only is None else rows.filter(instrument=only)
    if characteristic is Chartable.SLOPE:
        slope = Limits(
            lower=Decimal(str(LEAST_SLOPE)),
            upper=Decimal(str(MOST_SLOPE)),
            words="of a good electrode, common practice",
        )
        return {check.instrument_id: slope for check in rows}
    return {
        check.instrument_id: Limits(
            lower=-check.tolerance,
            upper=check.tolerance,
            words="the largest error that passes, as at the newest check",
        )
        for check in rows
    }


def unit_of(instrument: Instrument, characteristic: Chartable) -> str:
    """Return the unit of an error of this instrument."""
    return characteristic.unit or UNITS[instrument.kind]


def _value(
    check: InstrumentCheck, characteristic: Chartable
) -> tuple[Decimal, str] | None:
    """Return the value of a check and what it was held against; None without one."""
    first = (check.reference, check.shown)
    if check.second_reference is None or check.second_shown is None:
        if characteristic is not Chartable.ERROR:
            return None
        return check.shown - check.reference, _held_against(check)
    second = (check.second_reference, check.second_shown)
    low, high = sorted((first, second))
    if characteristic is Chartable.ERROR_ACID:
        return low[1] - low[0], f"buffer {low[0]:.0f}"
    if characteristic is Chartable.ERROR_ALKALINE:
        return high[1] - high[0], f"buffer {high[0]:.0f}"
    if characteristic is Chartable.SLOPE:
        slope = (high[1] - low[1]) / (high[0] - low[0]) * PERCENT
        return slope.quantize(PLACES), f"buffers {low[0]:.0f} and {high[0]:.0f}"
    return None


def _held_against(check: InstrumentCheck) -> str:
    unit = UNITS[check.instrument.kind]
    return f"held against {check.reference:.0f} {unit}"
