"""The results of a batch held against its limits, with the measurement's own ±."""

from __future__ import annotations

import dataclasses
import datetime
from collections.abc import Callable
from decimal import Decimal
from typing import Final

from batches.models import Batch, Reading
from batches.services.entries import Entries, standing
from batches.services.results import yield_of
from batches.services.tare_question import tare_question
from producer.models import Instrument
from quality.models import Characteristic, Limit
from quality.services.alkali.judged import judged_by_titration
from quality.services.alkali.titrated import last_titration
from quality.services.judgement import (
    Finding,
    hand_of,
    judged,
    missing,
    outdated,
    plus_minus,
    zone_here,
)
from quality.services.limits import REQUIRED, limits_of
from quality.services.outcome import CameOut, came_out
from quality.statistics.conformity import Verdict
from quality.statistics.rounding import as_decimal
from quality.statistics.uncertainty import expanded

__all__ = ["Finding", "findings", "outdated"]

# What is read from a strip or a meter, and what would be surer.
BY_INSTRUMENT: Final = {
    Instrument.Kind.PH_STRIPS: ("on this strip", "titrate or use the meter"),
    Instrument.Kind.PH_METER: (
        "with this meter",
        "check the meter in its buffers and test again, or titrate",
    ),
}
OIL_LEFT: Final = "There is oil left in it, or it has split: cook on and look again."


@dataclasses.dataclass(frozen=True, kw_only=True)
class _Case:
    """A batch before its judges: its rows, and what came out if that is known yet."""

    entries: Entries
    zone: datetime.tzinfo
    found: CameOut | None

    @property
    def came_out(self) -> CameOut:
        return self.found or came_out(self.entries.batch)


def findings(
    batch: Batch, entries: Entries | None = None, found: CameOut | None = None
) -> list[Finding]:
    """Return a finding for what this kind of batch needs, and for each further limit.

    ``entries`` are its rows and ``found`` what came out, where the caller has them
    already. Net content is judged when bottles are weighed, not here.
    """
    case = _Case(entries=entries or Entries(batch), zone=zone_here(), found=found)
    limits = limits_of(batch)
    needed = REQUIRED[batch.kind]
    further = [one for one in _JUDGES if one in limits and one not in needed]
    return [
        _JUDGES[one](case, limits[one]) if one in limits else _without_limit(one)
        for one in (*needed, *further)
    ]


def _without_limit(characteristic: Characteristic) -> Finding:
    return missing(
        characteristic,
        None,
        f"No limit is set for {characteristic.label}. A reviewer sets it on the page of"
        " the formula.",
    )


def _ph(case: _Case, limit: Limit) -> Finding:
    reading = _last(case.entries, Reading.Characteristic.PH)
    if reading is None or reading.value is None:
        return missing(
            Characteristic.PH, limit, f"No pH is recorded. Take it: {limit.method}."
        )
    if outdated(case.entries, reading):
        return missing(
            Characteristic.PH,
            limit,
            "The pH was taken before the last charge went in. Take it again.",
        )
    if reading.method != limit.method:
        return missing(
            Characteristic.PH,
            limit,
            f"The pH was taken as “{reading.method}”, but the limit holds for"
            f" “{limit.method}”. Repeat the test that way.",
        )
    if reading.standard_uncertainty is None or reading.instrument is None:
        return missing(
            Characteristic.PH,
            limit,
            "The uncertainty of this pH is not known. Repeat it with a registered meter"
            " or strip lot.",
        )
    by, better = BY_INSTRUMENT.get(
        Instrument.Kind(reading.instrument.kind), ("", "titrate the free alkali")
    )
    finding = judged(
        Characteristic.PH,
        limit,
        reading.value,
        reading.standard_uncertainty,
        as_typed=True,
        origin=(
            f"Read with {reading.instrument.name},"
            f" {plus_minus(reading.standard_uncertainty)}, by"
            f" {hand_of(reading, case.zone)}."
        ),
        by=by,
        better=better,
    )
    return _with(finding, _earlier(case.entries, reading), _late(case, limit))


def _clarity(case: _Case, limit: Limit) -> Finding:
    reading = _last(case.entries, Reading.Characteristic.CLARITY)
    if reading is None:
        return missing(
            Characteristic.CLARITY,
            limit,
            "No clarity test is recorded. Dissolve a small portion in hot distilled"
            " water and look: pH cannot see unreacted oil.",
        )
    if outdated(case.entries, reading):
        return missing(
            Characteristic.CLARITY,
            limit,
            "Clarity was tested before the last charge went in. Test it again.",
        )
    clear = reading.clarity == Reading.Clarity.CLEAR
    sentence = (
        "A portion dissolves clear in hot water: pass."
        if clear
        else f"A portion in hot water shows {reading.get_clarity_display()}: fail;"
        " there is unreacted oil, or the soap has split."
    )
    finding = Finding(
        characteristic=Characteristic.CLARITY,
        limit=limit,
        value=None,
        standard_uncertainty=None,
        verdict=Verdict.PASS if clear else Verdict.FAIL,
        sentence=sentence,
        origin=f"Seen by {hand_of(reading, case.zone)}.",
        plain_sentence="Nothing of the oil is left to be seen." if clear else OIL_LEFT,
    )
    return _with(finding, _earlier(case.entries, reading), _late(case, limit))


def _yield_variance(case: _Case, limit: Limit) -> Finding:
    entries = case.entries
    result = yield_of(entries.batch, entries)
    if result.variance_percent is None or entries.weighing is None:
        return missing(
            Characteristic.YIELD_VARIANCE,
            limit,
            "What came out has not been weighed yet.",
        )
    doubt = _weighing_uncertainty(entries, result.theoretical_mg)
    value = result.variance_percent.quantize(Decimal("0.001"))
    found = judged(
        Characteristic.YIELD_VARIANCE,
        limit,
        value,
        doubt,
        as_typed=True,
        origin=(
            f"What came out on {entries.weighing.scale.name} against all that went in,"
            f" {plus_minus(doubt, ' %')} by the scales alone; weighed by"
            f" {hand_of(entries.weighing, case.zone)}."
        ),
        by="by these weighings",
        better="weigh again on a finer scale",
    )
    if result.variance_percent <= expanded(doubt):
        return found
    # Mass does not come from nowhere, whatever the limit allows.
    return dataclasses.replace(
        found,
        verdict=Verdict.FAIL,
        rule=None,
        always_stops=True,
        plain_sentence="No pot makes mass: one of the weighings is wrong.",
        sentence=(
            f"More came out than went in, by {result.variance_percent:.1f} %: fail."
            " That is impossible; check the tare and the unit of every weighing and"
            f" correct the wrong one. {tare_question(entries)}"
        ),
    )


def _free_alkali(case: _Case, limit: Limit) -> Finding:
    titration, why_not = last_titration(case.entries)
    if titration is None:
        return missing(
            Characteristic.FREE_ALKALI,
            limit,
            why_not or "The free alkali has not been titrated. Titrate it.",
        )
    finding = judged_by_titration(titration, limit, case.zone)
    return _with(finding, _late(case, limit))


def _soap_content(case: _Case, limit: Limit) -> Finding:
    found, weighing = case.came_out, case.entries.weighing
    if found.soap_content is None or weighing is None:
        return missing(
            Characteristic.SOAP_CONTENT,
            limit,
            " ".join(["The soap content is not known yet.", *found.notes]),
        )
    budget = found.soap_content
    dominant = budget.dominant
    most = f", most of it from the {dominant.quantity.name}" if dominant else ""
    u = as_decimal(budget.standard_uncertainty)
    finding = judged(
        Characteristic.SOAP_CONTENT,
        limit,
        as_decimal(budget.value),
        u,
        origin=(
            f"Computed from what was weighed in and out, {plus_minus(u, ' %')}{most};"
            f" what came out was weighed by {hand_of(weighing, case.zone)}."
        ),
        by="by these weighings",
        better="get a surer figure for what makes most of its ±",
    )
    return _with(finding, _late(case, limit))


_JUDGES: Final[dict[Characteristic, Callable[[_Case, Limit], Finding]]] = {
    Characteristic.PH: _ph,
    Characteristic.CLARITY: _clarity,
    Characteristic.YIELD_VARIANCE: _yield_variance,
    Characteristic.FREE_ALKALI: _free_alkali,
    Characteristic.SOAP_CONTENT: _soap_content,
}


def _weighing_uncertainty(entries: Entries, theoretical_mg: int) -> Decimal:
    """Return u of the yield variance in percent, from the scales alone.

    Each net mass is two readings of its scale, taken as independent. The ± of a
    scale that is wrong the same way each time largely cancels in the ratio, so
    treating it as independent too errs on the wide side.
    """
    scales = [row.scale for row in entries.standing_charges]
    scales += [row.scale for row in standing(entries.weighings)]
    variance = sum(
        (2 * scale.standard_uncertainty() ** 2 for scale in scales), Decimal(0)
    )
    return (variance.sqrt() * 100_000 / theoretical_mg).quantize(Decimal("0.000001"))


def _last(entries: Entries, characteristic: str) -> Reading | None:
    # In the order of entry: the clock of a device can be wrong, or set.
    return next(reversed(_of(entries, characteristic)), None)


def _of(entries: Entries, characteristic: str) -> list[Reading]:
    rows = standing(entries.readings)
    return [row for row in rows if row.characteristic == characteristic]


def _with(finding: Finding, *more: str) -> Finding:
    return dataclasses.replace(finding, sentence=finding.sentence + "".join(more))


def _earlier(entries: Entries, reading: Reading) -> str:
    """Name the earlier results of the same kind: none of them goes away."""
    words = [
        row.get_clarity_display() if row.value is None else f"{row.value.normalize():f}"
        for row in _of(entries, reading.characteristic)
        if row.pk != reading.pk
    ]
    return f" Before it: {', '.join(words)}." if words else ""


def _late(case: _Case, limit: Limit) -> str:
    if limit.entered_at <= case.entries.batch.entered_at:
        return ""
    return " This limit was set after the batch was opened."
