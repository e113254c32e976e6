"""Checks of instruments: recorded, and what they and the instrument itself say."""

from __future__ import annotations

import dataclasses
import datetime
import uuid
from collections.abc import Sequence
from decimal import Decimal
from typing import Any, Final

from django.db import transaction
from django.utils import timezone

from producer import journal
from producer.errors import Refusal
from producer.models import Instrument, Right, User
from producer.services.checks import plausible_time, require
from quality.models import InstrumentCheck
from quality.statistics.budgets import Budget, budget, rectangular, resolution
from quality.statistics.buffers import BufferSet, buffer_ph
from quality.statistics.conformity import Verdict
from quality.statistics.errors import StatisticsError
from quality.statistics.instruments import (
    BufferReading,
    StripFit,
    check_error,
    check_meter,
    smallest_net_mass,
    strip_fit,
)

UNITS: Final[dict[str, str]] = {
    Instrument.Kind.SCALE: "g",
    Instrument.Kind.THERMOMETER: "°C",
    Instrument.Kind.PH_METER: "pH",
    Instrument.Kind.PH_STRIPS: "pH",
}
OUT_OF_USE: Final = "Take it out of use until it passes."


def kind_words(instrument: Instrument) -> str:
    """Return the kind at the head of a sentence; pH keeps its small p."""
    words = instrument.get_kind_display()
    return words if words.startswith("pH") else words.capitalize().replace("ph ", "pH ")


@dataclasses.dataclass(frozen=True, kw_only=True)
class Known:
    """Something known held against a scale or a thermometer, in its unit."""

    against: str
    reference: Decimal
    shown: Decimal


@dataclasses.dataclass(frozen=True, kw_only=True)
class TwoBuffers:
    """Two buffers of one set at one temperature in °C, and what the meter shows."""

    which: BufferSet
    names: tuple[str, str]
    shown: tuple[Decimal, Decimal]
    temperature: Decimal
    millivolts: tuple[Decimal | None, Decimal | None] = (None, None)

    @property
    def against(self) -> str:
        """The buffers in words."""
        return f"{self.which.value} buffers {self.names[0]} and {self.names[1]}"


@transaction.atomic
def record_check(
    *,
    by: User,
    instrument: Instrument,
    held: Known | TwoBuffers,
    tolerance: Decimal,
    half_width: Decimal = Decimal(0),
    note: str = "",
    observed_at: datetime.datetime | None = None,
    submission: uuid.UUID | None = None,
) -> InstrumentCheck:
    """Record a check of a scale, a thermometer or a pH meter, judged on the day.

    ``tolerance`` is the largest error that passes, ``half_width`` the ± of the check
    weight, the ice point or the buffers, in the unit of the instrument.
    """
    require(by, Right.MAKER)
    _fits(instrument, held)
    try:
        facts = (
            _meter_facts(instrument, held, tolerance, half_width)
            if isinstance(held, TwoBuffers)
            else _error_facts(instrument, held, tolerance, half_width)
        )
    except StatisticsError as error:
        raise Refusal(str(error)) from error
    check = InstrumentCheck(
        instrument=instrument,
        tolerance=tolerance,
        reference_half_width=half_width,
        note=note.strip(),
        observed_at=plausible_time(observed_at or timezone.now()),
        entered_by=by,
        **facts,
    )
    check.full_clean()
    check.save(force_insert=True)
    journal.write(
        by=by,
        act="instrument checked",
        subject=check,
        label=instrument.name,
        after={
            "against": check.against,
            "reference": str(check.reference),
            "shown": str(check.shown),
            "second_reference": _text(check.second_reference),
            "second_shown": _text(check.second_shown),
            "tolerance": str(check.tolerance),
            "passed": check.passed,
            "sentence": check.sentence,
        },
        submission=submission,
    )
    return check


def _fits(instrument: Instrument, held: Known | TwoBuffers) -> None:
    if instrument.kind == Instrument.Kind.PH_STRIPS:
        raise Refusal(
            "Strips are used up by reading them and are not checked. What they can"
            " decide follows from their step and ±."
        )
    is_meter = instrument.kind == Instrument.Kind.PH_METER
    if is_meter != isinstance(held, TwoBuffers):
        raise Refusal(
            f"{instrument.name} is a {instrument.get_kind_display()}: a pH meter is"
            " held against two buffers, a scale or a thermometer against one known"
            " value."
        )


def _error_facts(
    instrument: Instrument, held: Known, tolerance: Decimal, half_width: Decimal
) -> dict[str, Any]:
    check = check_error(
        shown=held.shown,
        reference=held.reference,
        tolerance=tolerance,
        step=instrument.resolution,
        reference_half_width=half_width,
        unit=UNITS[instrument.kind],
    )
    passed = check.verdict.acceptable
    return {
        "against": held.against.strip(),
        "reference": held.reference,
        "shown": held.shown,
        "passed": passed,
        "sentence": _told(check.sentence, passed=passed),
    }


def _meter_facts(
    instrument: Instrument, held: TwoBuffers, tolerance: Decimal, half_width: Decimal
) -> dict[str, Any]:
    if (held.millivolts[0] is None) != (held.millivolts[1] is None):
        raise Refusal("Give the millivolts of both buffers, or of neither.")
    first, second = (
        BufferReading(
            reference=buffer_ph(held.which, held.names[place], held.temperature),
            shown=held.shown[place],
            millivolts=held.millivolts[place],
        )
        for place in (0, 1)
    )
    check = check_meter(
        first,
        second,
        temperature=held.temperature,
        tolerance=tolerance,
        step=instrument.resolution,
        reference_half_width=half_width,
    )
    return {
        "against": held.against,
        "reference": first.reference,
        "shown": first.shown,
        "second_reference": second.reference,
        "second_shown": second.shown,
        "temperature": held.temperature,
        "passed": check.passed,
        "sentence": _told(check.sentence, passed=check.passed),
    }


def _told(sentence: str, *, passed: bool) -> str:
    return sentence if passed else f"{sentence} {OUT_OF_USE}"


def _text(value: Decimal | None) -> str | None:
    return None if value is None else str(value)


# ------------------------------------------------------------------ what it is worth


@dataclasses.dataclass(frozen=True, kw_only=True)
class Worth:
    """What a reading of an instrument is worth.

    ``smallest_net`` is for scales, in grams; ``strips`` for strips. ``errors`` are
    those of the checks, oldest first, of a meter at the more alkaline buffer.
    """

    unit: str
    budget: Budget
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
    step, half_width = instrument.resolution, instrument.bias_half_width
    checks = list(
        InstrumentCheck.objects.filter(instrument=instrument)
        .select_related("entered_by__person")
        .order_by("observed_at", "pk")
    )
    return Worth(
        unit=unit,
        budget=_reading_budget(step, half_width, unit),
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
