"""Checks of instruments: recorded, and what they and the instrument itself say."""

from __future__ import annotations

import dataclasses
import datetime
import uuid
from collections.abc import Sequence
from decimal import Decimal
from typing import Any, Final

from django.db import transaction
from django.db.models import Q
from django.utils import timezone

from producer import journal
from producer.errors import Refusal
from producer.models import Instrument, JournalEntry, Right, User
from producer.services.checks import plausible_time, require
from quality.models import InstrumentCheck
from quality.services.tolerances import UNITS, beyond_words, may_be_tolerated
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

OUT_OF_USE: Final = "It is out of use until it passes."
STAYS_OUT: Final = (
    "It stays out of use, as it was before; what took it out was no check. Put it back"
    " on its entry in the register."
)
BACK_IN_USE: Final = "It is in use again."
LATER_CHECK: Final = "A later check is on record: whether it is in use stays with that."


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
    weight, the ice point or the buffers, in the unit of the instrument. A tolerance
    above :func:`most_tolerance` is refused.

    A check that fails takes the instrument out of use; one that passes puts it back if
    a check took it out. By the clock on the wall: one dated before another changes
    nothing.
    """
    require(by, Right.MAKER)
    instrument = Instrument.objects.select_for_update().get(pk=instrument.pk)
    observed_at = plausible_time(observed_at or timezone.now())
    _fits(instrument, held)
    may_be_tolerated(instrument, tolerance)
    try:
        facts = (
            _meter_facts(instrument, held, tolerance, half_width)
            if isinstance(held, TwoBuffers)
            else _error_facts(instrument, held, tolerance, half_width)
        )
    except StatisticsError as error:
        raise Refusal(str(error)) from error
    was_in_use = instrument.in_use
    words = _put_in_or_out_of_use(instrument, facts["passed"], observed_at)
    check = InstrumentCheck(
        instrument=instrument,
        tolerance=tolerance,
        reference_half_width=half_width,
        note=note.strip(),
        observed_at=observed_at,
        entered_by=by,
        **facts,
    )
    said = (check.sentence, beyond_words(instrument, check), words)
    check.sentence = " ".join(one for one in said if one)
    check.full_clean()
    check.save(force_insert=True)
    instrument.save(update_fields=["in_use"])
    journal.write(
        by=by,
        act="instrument checked",
        subject=check,
        label=instrument.name,
        before={"in_use": was_in_use},
        after={
            "in_use": instrument.in_use,
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


def _put_in_or_out_of_use(
    instrument: Instrument,
    passed: bool,  # noqa: FBT001 - a private helper with one caller
    observed_at: datetime.datetime,
) -> str:
    """Set whether an instrument is in use after a check; return what to say of it."""
    later = InstrumentCheck.objects.filter(
        instrument=instrument, observed_at__gt=observed_at
    )
    if later.exists():
        return LATER_CHECK
    if not passed:
        instrument.in_use = False
        return OUT_OF_USE
    if instrument.in_use:
        return ""
    if not _was_taken_out_by_a_check(instrument):
        return STAYS_OUT
    instrument.in_use = True
    return BACK_IN_USE


def _was_taken_out_by_a_check(instrument: Instrument) -> bool:
    """Say whether the last change of its use in the journal came with a check."""
    failed = InstrumentCheck.objects.filter(instrument=instrument, passed=False)
    check, entry = (
        str(kind._meta.model_name) for kind in (InstrumentCheck, Instrument)
    )
    rows = JournalEntry.objects.filter(
        Q(subject_kind=entry, subject_id=str(instrument.pk))
        | Q(
            subject_kind=check,
            subject_id__in=[str(pk) for pk in failed.values_list("pk", flat=True)],
        )
    )
    for row in rows.order_by("-sequence").iterator():
        # Of an entry of the register they are words, of a check they are true or false.
        before, after = row.before_values, row.after_values
        if str(before.get("in_use")) == "True" and str(after.get("in_use")) == "False":
            return row.subject_kind == check
    return False


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
    _can_be_known(instrument, held.reference)
    check = check_error(
        shown=held.shown,
        reference=held.reference,
        tolerance=tolerance,
        step=instrument.resolution,
        reference_half_width=half_width,
        unit=UNITS[instrument.kind],
    )
    return {
        "against": held.against.strip(),
        "reference": held.reference,
        "shown": held.shown,
        "passed": check.verdict.acceptable,
        "sentence": check.sentence,
    }


def _can_be_known(instrument: Instrument, reference: Decimal) -> None:
    """Refuse what nothing weighs and no thermometer of the kitchen is held against."""
    if instrument.kind == Instrument.Kind.SCALE and reference <= 0:
        raise Refusal(
            "A scale is held against a check weight, which weighs more than nothing."
            " Write what is marked on it.",
            field="reference",
        )
    if reference < 0:
        raise Refusal(
            "A thermometer is held against melting ice, 0 °C, or something warmer."
            " Check the sign.",
            field="reference",
        )


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
        "sentence": check.sentence,
    }


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
