"""Checks of instruments: recorded, and what they and the instrument itself say."""

from __future__ import annotations

import dataclasses
import datetime
import uuid
from decimal import Decimal
from typing import Any, Final

from django.db import transaction
from django.db.models import Q
from django.utils import timezone

from batches.models import HoldPoint
from batches.services.hold_points import GONE_THROUGH
from producer import journal
from producer.errors import Refusal
from producer.models import Instrument, JournalEntry, Right, User
from producer.services.checks import local_day, plausible_time, require
from quality.models import InstrumentCheck
from quality.services.due_checks import CheckDue, checks_due
from quality.services.reading_worth import Worth, error_of, outcome_of, worth_of
from quality.services.references import (
    REFERENCES,
    must_be_good,
    must_be_what_it_says,
)
from quality.services.scale_checks import must_test
from quality.services.tolerances import UNITS, beyond_words, may_be_tolerated
from quality.statistics.buffers import BufferSet, buffer_ph
from quality.statistics.errors import StatisticsError
from quality.statistics.instruments import BufferReading, check_error, check_meter

__all__ = [
    "BACK_IN_USE",
    "LATER_CHECK",
    "OUT_OF_USE",
    "STAYS_OUT",
    "Check",
    "CheckDue",
    "Known",
    "TwoBuffers",
    "Worth",
    "check_within",
    "checks_due",
    "error_of",
    "kind_words",
    "outcome_of",
    "record_check",
    "worth_of",
]

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
    """Something known held against a scale or a thermometer, in its unit.

    ``weight`` is the check weight of the register, where it was one of these.
    """

    against: str
    reference: Decimal
    shown: Decimal
    weight: Instrument | None = None


@dataclasses.dataclass(frozen=True, kw_only=True)
class TwoBuffers:
    """Two buffers of one set at one temperature in °C, and what the meter shows.

    ``lots`` are those of the register that they were taken from, where known.
    """

    which: BufferSet
    names: tuple[str, str]
    shown: tuple[Decimal, Decimal]
    temperature: Decimal
    millivolts: tuple[Decimal | None, Decimal | None] = (None, None)
    lots: tuple[Instrument | None, Instrument | None] = (None, None)

    @property
    def against(self) -> str:
        """The buffers in words."""
        return f"{self.which.value} buffers {self.names[0]} and {self.names[1]}"


@dataclasses.dataclass(frozen=True, kw_only=True)
class Check:
    """A check that was written, and what the journal says of it before and after."""

    row: InstrumentCheck
    before: dict[str, Any]
    after: dict[str, Any]


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
    check = check_within(
        by=by,
        instrument=instrument,
        held=held,
        tolerance=tolerance,
        half_width=half_width,
        note=note,
        observed_at=observed_at,
    )
    journal.write(
        by=by,
        act="instrument checked",
        subject=check.row,
        label=check.row.instrument.name,
        before=check.before,
        after=check.after,
        submission=submission,
    )
    return check.row


def check_within(
    *,
    by: User,
    instrument: Instrument,
    held: Known | TwoBuffers,
    tolerance: Decimal,
    half_width: Decimal = Decimal(0),
    note: str = "",
    observed_at: datetime.datetime | None = None,
) -> Check:
    """Write a check within the act of a caller, who writes the journal row.

    That row carries ``after``, which says whether the check took the instrument out of
    use: :func:`_was_taken_out_by_a_check` reads it there.
    """
    require(by, Right.MAKER)
    instrument = Instrument.objects.select_for_update().get(pk=instrument.pk)
    observed_at = plausible_time(observed_at or timezone.now())
    _fits(instrument, held)
    _references_are_good(instrument, held, local_day(observed_at))
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
    return Check(
        row=check, before={"in_use": was_in_use}, after=_check_facts(instrument, check)
    )


def _check_facts(instrument: Instrument, check: InstrumentCheck) -> dict[str, Any]:
    return {
        "in_use": instrument.in_use,
        "against": check.against,
        "reference": str(check.reference),
        "shown": str(check.shown),
        "second_reference": _text(check.second_reference),
        "second_shown": _text(check.second_shown),
        "tolerance": str(check.tolerance),
        "passed": check.passed,
        "sentence": check.sentence,
    }


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
    checks = InstrumentCheck.objects.filter(instrument=instrument)
    failed = [
        str(pk) for pk in checks.filter(passed=False).values_list("pk", flat=True)
    ]
    entry = str(Instrument._meta.model_name)
    rows = JournalEntry.objects.filter(
        Q(subject_kind=entry, subject_id=str(instrument.pk))
        | Q(
            subject_kind=str(InstrumentCheck._meta.model_name),
            subject_id__in=failed,
        )
        # A check among the hold points of a batch, which are its journal row.
        | Q(
            act=GONE_THROUGH,
            subject_id__in=[
                str(pk)
                for pk in HoldPoint.objects.filter(scale=instrument).values_list(
                    "batch", flat=True
                )
            ],
        )
    )
    for row in rows.order_by("-sequence").iterator():
        before, after = row.before_values, row.after_values
        if row.act == GONE_THROUGH:
            said = after.get("scale_check") or {}
            if said.get("instrument") != instrument.pk:
                continue
            before, after = {"in_use": said["was_in_use"]}, said
        # Of an entry of the register they are words, of a check they are true or false.
        if str(before.get("in_use")) == "True" and str(after.get("in_use")) == "False":
            return row.subject_kind != entry
    return False


def _fits(instrument: Instrument, held: Known | TwoBuffers) -> None:
    if instrument.kind in REFERENCES:
        raise Refusal(
            f"{instrument.name} is a {instrument.get_kind_display()}: it is not read"
            " from. Others are held against it, or it shows an end point."
        )
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


def _references_are_good(
    instrument: Instrument, held: Known | TwoBuffers, on: datetime.date
) -> None:
    """Refuse a weight or a buffer of the register that cannot be held against."""
    if isinstance(held, Known):
        if held.weight is not None:
            must_be_good(held.weight, of=instrument, on=on, field="weight")
            must_be_what_it_says(held.weight, held.reference, field="reference")
        return
    for place, field in enumerate(("first", "second")):
        lot = held.lots[place]
        if lot is not None:
            must_be_good(lot, of=instrument, on=on, field=field)
            must_be_what_it_says(lot, Decimal(held.names[place]), field=field)


def _error_facts(
    instrument: Instrument, held: Known, tolerance: Decimal, half_width: Decimal
) -> dict[str, Any]:
    _can_be_known(instrument, held.reference)
    if instrument.kind == Instrument.Kind.SCALE:
        must_test(instrument, held.reference, tolerance)
    check = check_error(
        shown=held.shown,
        reference=held.reference,
        tolerance=tolerance,
        step=instrument.resolution,
        reference_half_width=half_width,
        unit=UNITS[instrument.kind],
    )
    return {
        "against": held.against.strip() or (held.weight.name if held.weight else ""),
        "reference_instrument": held.weight,
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
        "reference_instrument": held.lots[0],
        "second_reference_instrument": held.lots[1],
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
