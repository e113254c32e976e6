"""Whether an instrument is in doubt, and from when to when."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from django.db.models import Max

from producer.models import Instrument
from quality.models import DeviationStep, InstrumentCheck
from quality.services.impact.plain import Doubt
from quality.services.tolerances import UNITS, largest_error


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


def doubts_in(instrument: Instrument, checks: Sequence[InstrumentCheck]) -> list[Doubt]:
    """Return every time in which an instrument is in doubt, the oldest first.

    ``checks`` are all of it, by when they were made. A good check ends a doubt at
    either end only by both clocks: it was made and entered before the failed one, or
    made and entered after it. One that was entered late, when the failure was known
    already, changes nothing.
    """
    found: list[Doubt] = []
    for place, check in enumerate(checks):
        if not check.passed:
            doubt = _around(instrument, checks, place)
            if not found or found[-1].failed != doubt.failed:
                found.append(doubt)
    return found


def _around(
    instrument: Instrument, checks: Sequence[InstrumentCheck], place: int
) -> Doubt:
    """Return the doubt between the good checks before and after a failed one."""
    failed, late = [checks[place]], []
    since = until = None
    for one in reversed(checks[:place]):
        if not one.passed:
            failed.append(one)
        elif all(one.pk < bad.pk for bad in failed):
            since = one
            break
        else:
            late.append(one)
    for one in checks[place + 1 :]:
        if not one.passed:
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
