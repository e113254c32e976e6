"""Whether an instrument is in doubt, and from when to when."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from decimal import Decimal

from django.db.models import Max, Q

from producer.models import Instrument
from quality.models import DeviationStep, InstrumentCheck
from quality.services.impact.plain import Doubt
from quality.services.references import REFERENCES
from quality.services.tolerances import UNITS, largest_error

Good = Callable[[InstrumentCheck], bool]


def doubt_of(instrument: Instrument, check_id: int | None = None) -> Doubt | None:
    """Return the doubt that the newest failed check raises, or the one with this key.

    None where no such check failed. A lot of strips is never checked: that it expired
    or was recalled puts all in doubt that was ever read from it. So it is with a check
    weight, a buffer and an indicator; by how much nobody knows.
    """
    if instrument.kind in REFERENCES:
        return Doubt(
            instrument=instrument,
            check=None,
            since=None,
            until=None,
            error=Decimal(0),
            unit=UNITS[instrument.kind],
        )
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
        InstrumentCheck.objects.filter(instrument=instrument)
        .select_related("entered_by__person")
        .order_by("observed_at", "pk")
    )
    if check_id is None:
        return next(reversed(doubts_in(instrument, checks)), None)
    places = [place for place, one in enumerate(checks) if one.pk == check_id]
    if not places or checks[places[0]].passed:
        return None
    return _around(instrument, checks, places[0])


def _passed(check: InstrumentCheck) -> bool:
    return check.passed


def doubts_in(
    instrument: Instrument, checks: Sequence[InstrumentCheck], good: Good = _passed
) -> list[Doubt]:
    """Return every time in which an instrument is in doubt, the oldest first.

    ``checks`` are all of it, by when they were made. A good check ends a doubt at
    either end only by both clocks: it was made and entered before the failed one, or
    made and entered after it. One that was entered late, when the failure was known
    already, changes nothing. ``good`` says which checks are.
    """
    found: list[Doubt] = []
    for place, check in enumerate(checks):
        if not good(check):
            doubt = _around(instrument, checks, place, good)
            if not found or found[-1].failed != doubt.failed:
                found.append(doubt)
    return found


def _around(
    instrument: Instrument,
    checks: Sequence[InstrumentCheck],
    place: int,
    good: Good = _passed,
) -> Doubt:
    """Return the doubt between the good checks before and after a failed one."""
    failed, late = [checks[place]], []
    since = until = None
    for one in reversed(checks[:place]):
        if not good(one):
            failed.append(one)
        elif all(one.pk < bad.pk for bad in failed):
            since = one
            break
        else:
            late.append(one)
    for one in checks[place + 1 :]:
        if not good(one):
            failed.append(one)
        elif all(one.pk > bad.pk for bad in failed):
            until = one
            break
        else:
            late.append(one)
    is_scale = instrument.kind == Instrument.Kind.SCALE
    worst = max(
        failed,
        key=lambda one: abs(_share(one) if is_scale else largest_error(one)),
    )
    return Doubt(
        instrument=instrument,
        check=worst,
        since=since.observed_at if since else None,
        until=until.observed_at if until else None,
        error=largest_error(worst),
        unit=UNITS[instrument.kind],
        share=_share(worst) if is_scale else Decimal(0),
        until_entered=until.entered_at if until else None,
        failed=sorted(failed, key=lambda one: one.pk),
        entered_late=sorted(late, key=lambda one: one.pk),
    )


def resting_on(reference: Instrument) -> Iterator[Doubt]:
    """Yield when each instrument had nothing but checks with this reference.

    A check weight or a lot of buffer that is not what it says proves nothing, so what
    an instrument showed from the last good check with another one to the next is in
    doubt. How far off it was nobody knows.
    """

    def good(check: InstrumentCheck) -> bool:
        return check.passed and not _held_against(check, reference)

    held = Q(reference_instrument=reference) | Q(second_reference_instrument=reference)
    instruments = InstrumentCheck.objects.filter(held).values("instrument")
    checks: dict[Instrument, list[InstrumentCheck]] = defaultdict(list)
    rows = InstrumentCheck.objects.filter(instrument__in=instruments)
    for row in rows.select_related("instrument", "entered_by__person").order_by(
        "instrument", "observed_at", "pk"
    ):
        checks[row.instrument].append(row)
    for instrument, all_ in checks.items():
        for doubt in doubts_in(instrument, all_, good):
            if any(_held_against(one, reference) for one in doubt.failed):
                yield doubt


def checks_with(reference: Instrument) -> list[InstrumentCheck]:
    """Return every check that was made with this weight or buffer, oldest first."""
    held = Q(reference_instrument=reference) | Q(second_reference_instrument=reference)
    rows = InstrumentCheck.objects.filter(held).order_by("observed_at", "pk")
    return list(rows.select_related("instrument", "entered_by__person"))


def _held_against(check: InstrumentCheck, reference: Instrument) -> bool:
    return reference.pk in {
        check.reference_instrument_id,
        check.second_reference_instrument_id,
    }


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
