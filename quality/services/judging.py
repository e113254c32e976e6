"""Results held against limits, with the measurement's own uncertainty."""

from __future__ import annotations

import dataclasses
from decimal import Decimal

from batches.models import Batch, Reading
from batches.services.entries import Entries, standing
from batches.services.results import yield_of
from producer.models import Record
from quality.models import Characteristic, Limit
from quality.services.limits import REQUIRED, limit_for
from quality.statistics.conformity import RULE, DecisionRule, Verdict, explain, judge
from quality.statistics.risks import risk_of_wrong_decision
from quality.statistics.uncertainty import expanded


@dataclasses.dataclass(frozen=True, kw_only=True)
class Finding:
    """One characteristic of one batch, judged or said to be missing.

    ``verdict`` is None while a result or a limit is missing; ``sentence`` then says
    what to do.
    """

    characteristic: Characteristic
    limit: Limit | None
    value: Decimal | None
    standard_uncertainty: Decimal | None
    verdict: Verdict | None
    sentence: str
    rule: DecisionRule | None = None

    @property
    def acceptable(self) -> bool:
        """Say whether this finding lets the batch be released."""
        return self.verdict is not None and self.verdict.acceptable

    @property
    def risk(self) -> float | None:
        """The chance, 0 to 1, that taking the value at its word is wrong.

        None where nothing was measured, or no rule with an uncertainty judged it.
        """
        if self.rule is None or self.limit is None or self.value is None:
            return None
        return risk_of_wrong_decision(
            self.value,
            self.standard_uncertainty or 0,
            lower=self.limit.lower,
            upper=self.limit.upper,
        )


def findings(batch: Batch, entries: Entries | None = None) -> list[Finding]:
    """Return a finding for each characteristic that this kind of batch needs.

    ``entries`` are its rows, where the caller has read them already.
    """
    entries = entries or Entries(batch)
    judges = {
        Characteristic.PH: _ph,
        Characteristic.CLARITY: _clarity,
        Characteristic.YIELD_VARIANCE: _yield_variance,
    }
    result = []
    for characteristic in REQUIRED[batch.kind]:
        limit = limit_for(batch, characteristic)
        if limit is None:
            result.append(
                _missing(
                    characteristic,
                    None,
                    f"No limit is set for {characteristic.label}. A reviewer sets it on"
                    " the page of the formula.",
                )
            )
        else:
            result.append(judges[characteristic](entries, limit))
    return result


def _ph(entries: Entries, limit: Limit) -> Finding:
    reading = _last(entries, Reading.Characteristic.PH)
    if reading is None or reading.value is None:
        return _missing(
            Characteristic.PH, limit, f"No pH is recorded. Take it: {limit.method}."
        )
    if outdated(entries, reading):
        return _missing(
            Characteristic.PH,
            limit,
            "The pH was taken before the last charge went in. Take it again.",
        )
    if reading.method != limit.method:
        return _missing(
            Characteristic.PH,
            limit,
            f"The pH was taken as “{reading.method}”, but the limit holds for"
            f" “{limit.method}”. Repeat the test that way.",
        )
    if reading.standard_uncertainty is None:
        return _missing(
            Characteristic.PH,
            limit,
            "The uncertainty of this pH is not known. Repeat it with a registered meter"
            " or strip lot.",
        )
    finding = _judged(
        Characteristic.PH, limit, reading.value, reading.standard_uncertainty, "pH", ""
    )
    added = _earlier(entries, reading) + _late_limit(entries.batch, limit)
    return dataclasses.replace(finding, sentence=finding.sentence + added)


def _clarity(entries: Entries, limit: Limit) -> Finding:
    reading = _last(entries, Reading.Characteristic.CLARITY)
    if reading is None:
        return _missing(
            Characteristic.CLARITY,
            limit,
            "No clarity test is recorded. Dissolve a small portion in hot distilled"
            " water and look: pH cannot see unreacted oil.",
        )
    if outdated(entries, reading):
        return _missing(
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
    return Finding(
        characteristic=Characteristic.CLARITY,
        limit=limit,
        value=None,
        standard_uncertainty=None,
        verdict=Verdict.PASS if clear else Verdict.FAIL,
        sentence=sentence
        + _earlier(entries, reading)
        + _late_limit(entries.batch, limit),
    )


def _yield_variance(entries: Entries, limit: Limit) -> Finding:
    result = yield_of(entries.batch, entries)
    if result.variance_percent is None:
        return _missing(
            Characteristic.YIELD_VARIANCE,
            limit,
            "What came out has not been weighed yet.",
        )
    doubt = _weighing_uncertainty(entries, result.theoretical_mg)
    found = _judged(
        Characteristic.YIELD_VARIANCE,
        limit,
        result.variance_percent.quantize(Decimal("0.001")),
        doubt,
        "Yield variance",
        " %",
    )
    if result.variance_percent <= expanded(doubt):
        return found
    # Mass does not come from nowhere, whatever the limit allows.
    return dataclasses.replace(
        found,
        verdict=Verdict.FAIL,
        rule=None,
        sentence=(
            f"More came out than went in, by {result.variance_percent:.1f} %: fail."
            " That is impossible; check the tare and the unit of every weighing and"
            " correct the wrong one."
        ),
    )


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


def _judged(
    characteristic: Characteristic,
    limit: Limit,
    value: Decimal,
    standard_uncertainty: Decimal,
    name: str,
    unit: str,
) -> Finding:
    band = expanded(standard_uncertainty)
    return Finding(
        characteristic=characteristic,
        limit=limit,
        value=value,
        standard_uncertainty=standard_uncertainty,
        verdict=judge(
            value,
            lower=limit.lower,
            upper=limit.upper,
            guard_band=RULE.guard_band(band),
        ),
        sentence=explain(
            name=name,
            unit=unit,
            value=value,
            lower=limit.lower,
            upper=limit.upper,
            expanded_uncertainty=band,
        ),
        rule=RULE,
    )


def _last(entries: Entries, characteristic: str) -> Reading | None:
    # In the order of entry: the clock of a device can be wrong, or set.
    return next(reversed(_of(entries, characteristic)), None)


def _of(entries: Entries, characteristic: str) -> list[Reading]:
    rows = standing(entries.readings)
    return [row for row in rows if row.characteristic == characteristic]


def outdated(entries: Entries, reading: Record) -> bool:
    """Say whether something was weighed in after this was read or titrated.

    By either clock: a reading dated ahead would else cover a charge that came later.
    A correction is entered later without anything having gone in, so only first
    entries count by that clock.
    """
    return any(
        row.observed_at > reading.observed_at for row in entries.standing_charges
    ) or any(
        row.supersedes_id is None and row.entered_at > reading.entered_at
        for row in entries.charges
    )


def _earlier(entries: Entries, reading: Reading) -> str:
    """Name the earlier results of the same kind: none of them goes away."""
    words = [
        row.get_clarity_display() if row.value is None else f"{row.value.normalize():f}"
        for row in _of(entries, reading.characteristic)
        if row.pk != reading.pk
    ]
    return f" Before it: {', '.join(words)}." if words else ""


def _late_limit(batch: Batch, limit: Limit) -> str:
    if limit.entered_at <= batch.entered_at:
        return ""
    return " This limit was set after the batch was opened."


def _missing(
    characteristic: Characteristic, limit: Limit | None, sentence: str
) -> Finding:
    return Finding(
        characteristic=characteristic,
        limit=limit,
        value=None,
        standard_uncertainty=None,
        verdict=None,
        sentence=sentence,
    )
