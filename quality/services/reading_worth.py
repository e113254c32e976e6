"""What a reading of an instrument is worth, and what its checks say of it."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from decimal import Decimal

from producer.models import Instrument
from quality.models import InstrumentCheck
from quality.services.references import REFERENCES
from quality.services.tolerances import UNITS
from quality.statistics.budgets import Budget, budget, rectangular, resolution
from quality.statistics.conformity import Verdict
from quality.statistics.instruments import StripFit, smallest_net_mass, strip_fit


@dataclasses.dataclass(frozen=True, kw_only=True)
class Worth:
    """What a reading of an instrument is worth.

    ``smallest_net`` is for scales, in grams; ``strips`` for strips; ``budget`` for what
    is read from. ``errors`` are those of the checks, oldest first, of a meter at the
    more alkaline buffer.
    """

    unit: str
    budget: Budget | None
    smallest_net: Decimal | None
    strips: StripFit | None
    checks: Sequence[InstrumentCheck]
    errors: list[Decimal]
    newest: InstrumentCheck | None
    last_good: InstrumentCheck | None


def worth_of(instrument: Instrument) -> Worth:
    """Return budget, limits and checks of an instrument; the checks oldest first."""
    unit = UNITS[instrument.kind]
    is_scale = instrument.kind == Instrument.Kind.SCALE
    is_strips = instrument.kind == Instrument.Kind.PH_STRIPS
    is_read = instrument.kind not in REFERENCES
    step, half_width = instrument.resolution, instrument.bias_half_width
    checks = list(
        InstrumentCheck.objects.filter(instrument=instrument)
        .select_related(
            "entered_by__person", "reference_instrument", "second_reference_instrument"
        )
        .order_by("observed_at", "pk")
    )
    return Worth(
        unit=unit,
        budget=_reading_budget(step, half_width, unit) if is_read else None,
        smallest_net=smallest_net_mass(step, half_width) if is_scale else None,
        strips=strip_fit(step, half_width) if is_strips else None,
        checks=checks,
        errors=[error_of(check) for check in checks],
        newest=checks[-1] if checks else None,
        last_good=next((one for one in reversed(checks) if one.passed), None),
    )


def error_of(check: InstrumentCheck) -> Decimal:
    """Return shown less reference; of a meter at the more alkaline buffer."""
    first = check.shown - check.reference
    if check.second_reference is None or check.second_shown is None:
        return first
    second = check.second_shown - check.second_reference
    return second if check.second_reference > check.reference else first


def _reading_budget(step: Decimal, half_width: Decimal, unit: str) -> Budget:
    """Return what one reading may be off by: half a step, and the ± of the maker."""
    shown = resolution(
        "step of the display",
        0,
        step,
        unit=unit,
        origin="smallest step, from the register",
    )
    stated = rectangular(
        "± of the instrument", 0, half_width, unit=unit, origin="from the register"
    )
    return budget(lambda a, b: a + b, [shown, stated], unit=unit)


def outcome_of(check: InstrumentCheck) -> Verdict:
    """Return pass or fail as the register of outcomes shows it."""
    return Verdict.PASS if check.passed else Verdict.FAIL
