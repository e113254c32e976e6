"""Whether an instrument is in doubt, and from when to when."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from django.db.models import Max

from producer.models import Instrument
from quality.models import DeviationStep, InstrumentCheck
from quality.services.checking import UNITS
from quality.services.impact.plain import Doubt


def doubt_of(instrument: Instrument, check_id: int | None = None) -> Doubt | None:
    """Return the doubt that the newest failed check raises, or the one with this key.

    None where no such check failed. A lot of strips is never checked: that it expired
    or was recalled puts all in doubt that was ever read from it.
    """
    if instrument.kind == Instrument.Kind.PH_STRIPS:
        return Doubt(
            instrument=instrument,
            check=None,
            since=None,
            until=None,
            error=instrument.resolution / 2 + instrument.bias_half_width,
            unit=UNITS[instrument.kind],
        )
    checks = list(
        InstrumentCheck.objects.filter(instrument=instrument).order_by(
            "observed_at", "pk"
        )
    )
    failed = [
        place
        for place, check in enumerate(checks)
        if not check.passed and check_id in {None, check.pk}
    ]
    return _around(instrument, checks, failed[-1]) if failed else None


def _around(
    instrument: Instrument, checks: Sequence[InstrumentCheck], place: int
) -> Doubt:
    """Return the doubt between the good checks before and after a failed one."""
    first, last = place, place
    while first and not checks[first - 1].passed:
        first -= 1
    while last + 1 < len(checks) and not checks[last + 1].passed:
        last += 1
    is_scale = instrument.kind == Instrument.Kind.SCALE
    worst = max(
        checks[first : last + 1],
        key=lambda one: abs(_share(one) if is_scale else largest_error(one)),
    )
    return Doubt(
        instrument=instrument,
        check=worst,
        since=checks[first - 1].observed_at if first else None,
        until=checks[last + 1].observed_at if last + 1 < len(checks) else None,
        error=largest_error(worst),
        unit=UNITS[instrument.kind],
        share=_share(worst) if is_scale else Decimal(0),
    )


def largest_error(check: InstrumentCheck) -> Decimal:
    """Return shown less known; of two buffers the one that is farther off."""
    errors = [check.shown - check.reference]
    if check.second_shown is not None and check.second_reference is not None:
        errors.append(check.second_shown - check.second_reference)
    return max(errors, key=abs)


def _share(check: InstrumentCheck) -> Decimal:
    return (check.shown - check.reference) / check.reference


def not_looked_into() -> list[InstrumentCheck]:
    """Return the newest failed check of each instrument that nobody has looked into.

    Somebody has when a deviation about the instrument was closed after the check.
    Two queries, however many instruments there are.
    """
    failed = {
        check.instrument_id: check
        for check in InstrumentCheck.objects.filter(passed=False)
        .select_related("instrument")
        .order_by("observed_at", "pk")
    }
    closed = dict(
        DeviationStep.objects.filter(
            kind=DeviationStep.Kind.CLOSED, deviation__instrument__in=failed
        )
        .order_by()
        .values_list("deviation__instrument")
        .annotate(Max("entered_at"))
    )
    return [
        check
        for key, check in failed.items()
        if key not in closed or closed[key] < check.entered_at
    ]
