"""A value held against a limit: the outcome, its origin, and what to do about it.

The base of :mod:`.judging` (batches), :mod:`.goods` (raw lots) and
:mod:`.filling_checks` (bottles).
"""

from __future__ import annotations

import dataclasses
import datetime
import zoneinfo
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, Decimal

from batches.models import Reading, Titration
from batches.services.entries import Entries, first_keys
from producer.models import Premises, Record
from quality.models import Characteristic, Limit
from quality.services import plainly
from quality.statistics.conformity import (
    RULES,
    DecisionRule,
    Verdict,
    explain,
    judge,
    method_fit,
)
from quality.statistics.risks import risk_of_wrong_decision
from quality.statistics.rounding import rounded
from quality.statistics.uncertainty import expanded

VALUE_PLACES = Decimal("0.001")  # as a judgement is kept
UNCERTAINTY_PLACES = Decimal("0.000001")
NAMES = {
    Characteristic.PH: ("pH", ""),
    Characteristic.YIELD_VARIANCE: ("Yield variance", " %"),
    Characteristic.FREE_ALKALI: ("Free potassium hydroxide by titration", " %"),
    Characteristic.SOAP_CONTENT: ("Soap content", " %"),
    Characteristic.NET_CONTENT: ("Mean content, of the nominal one,", " %"),
    Characteristic.ASSAY: ("Assay, as potassium hydroxide that can react,", " %"),
    Characteristic.SAPONIFICATION_VALUE: ("Saponification value", " mg KOH/g"),
}


@dataclasses.dataclass(frozen=True, kw_only=True)
class Finding:
    """One characteristic of a batch, lot or filling lot, judged or said to be missing.

    ``verdict`` is None while a result or a limit is missing; ``sentence`` then says
    what to do. ``origin`` says which instrument or titration value and ± come from, who
    entered it and when. ``by`` are words for that in a sentence (“on this strip”), and
    ``better`` is what would be surer. ``plain_sentence`` stands where there is nothing
    to say in numbers. ``always_stops`` is for what no limit can allow.
    """

    characteristic: Characteristic
    limit: Limit | None
    value: Decimal | None
    standard_uncertainty: Decimal | None
    verdict: Verdict | None
    sentence: str
    rule: DecisionRule | None = None
    origin: str = ""
    by: str = ""
    better: str = ""
    plain_sentence: str = ""
    always_stops: bool = False

    @property
    def acceptable(self) -> bool:
        """Say whether this finding is as it should be."""
        return self.verdict is not None and self.verdict.acceptable

    @property
    def effect(self) -> str:
        """What a value outside does: “hold” or “warn”; hold where no limit is set."""
        return self.limit.effect if self.limit else Limit.Effect.HOLD

    @property
    def stops(self) -> bool:
        """Say whether this finding stands in the way of a release."""
        holds = self.always_stops or self.effect == Limit.Effect.HOLD
        return holds and not self.acceptable

    @property
    def warns(self) -> bool:
        """Say whether it is not as it should be and only needs a reason."""
        return not self.acceptable and not self.stops

    @property
    def rule_slug(self) -> str:
        """The name of the rule on a record; empty where none judged it."""
        return self.rule.slug if self.rule else ""

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

    @property
    def is_unfit(self) -> bool:
        """Say whether the method is too coarse to tell inside from outside."""
        if self.rule is None or self.limit is None:
            return False
        band = expanded(self.standard_uncertainty or Decimal(0))
        return not method_fit(self.limit.lower, self.limit.upper, band)

    @property
    def plain(self) -> str:
        """The judgement in a sentence for somebody who hates statistics."""
        return self.in_plain_words()

    def in_plain_words(self, mark: str = ".") -> str:
        """Return :attr:`plain` with this decimal mark; empty while it is missing."""
        if self.rule is None or self.limit is None or self.value is None:
            return self.plain_sentence
        return plainly.said(
            self.characteristic,
            value=self.value,
            expanded_uncertainty=expanded(self.standard_uncertainty or Decimal(0)),
            limit=self.limit,
            unit=NAMES[self.characteristic][1],
            by=self.by,
            better=self.better,
            mark=mark,
        )


def judged(
    characteristic: Characteristic,
    limit: Limit,
    value: Decimal,
    standard_uncertainty: Decimal,
    *,
    as_typed: bool = False,
    origin: str = "",
    by: str = "",
    better: str = "",
) -> Finding:
    """Return a value held against its limit by the rule of the limit.

    Judged before any rounding. The value kept has three decimals, and the one in the
    sentence the digits that are known, or with ``as_typed`` all of them; neither is
    rounded across a limit.
    """
    name, unit = NAMES[characteristic]
    rule, band = RULES[limit.rule], expanded(standard_uncertainty)
    shown = value if as_typed else rounded(value, band).value
    return Finding(
        characteristic=characteristic,
        limit=limit,
        value=_kept(value, limit, rule.guard_band(band)),
        standard_uncertainty=standard_uncertainty.quantize(UNCERTAINTY_PLACES),
        verdict=_outcome(value, limit, rule.guard_band(band)),
        sentence=explain(
            name=name,
            unit=unit,
            value=_or_exact(shown, value, limit, rule.guard_band(band)),
            lower=limit.lower,
            upper=limit.upper,
            expanded_uncertainty=band,
            guard_band=rule.guard_band(band),
        ),
        rule=rule,
        origin=origin,
        by=by,
        better=better,
    )


def missing(
    characteristic: Characteristic, limit: Limit | None, sentence: str
) -> Finding:
    """Return that there is nothing to judge, and what to do."""
    return Finding(
        characteristic=characteristic,
        limit=limit,
        value=None,
        standard_uncertainty=None,
        verdict=None,
        sentence=sentence,
    )


def outdated(entries: Entries, reading: Reading | Titration) -> bool:
    """Say whether something was weighed in after this was read or titrated.

    By either clock: a reading dated ahead would else cover a charge that came later.
    A correction is entered later without anything having gone in or been read again,
    so only first entries count by that clock.
    """
    rows: list[Reading | Titration] = [
        *(entries.readings if isinstance(reading, Reading) else entries.titrations)
    ]
    first = first_keys(rows)[reading.pk]
    read_at = next((row.entered_at for row in rows if row.pk == first), None)
    return any(
        row.observed_at > reading.observed_at for row in entries.standing_charges
    ) or any(
        row.supersedes_id is None and row.entered_at > (read_at or reading.entered_at)
        for row in entries.charges
    )


def zone_here() -> zoneinfo.ZoneInfo:
    """Return the time zone of the premises."""
    return Premises.objects.get().zone


def hand_of(row: Record, zone: datetime.tzinfo) -> str:
    """Return who entered a row, and when it happened by the clock of the premises."""
    local = row.observed_at.astimezone(zone)
    return f"{row.entered_by.person.name}, {local.day} {local:%b %Y, %H:%M}"


def plus_minus(standard_uncertainty: Decimal, unit: str = "") -> str:
    """Return “± U (k = 2)” with two digits, rounded up."""
    spread = rounded(Decimal(0), expanded(standard_uncertainty)).uncertainty
    return f"± {spread:f}{unit} (k = 2)"


def _outcome(value: Decimal, limit: Limit, guard_band: Decimal) -> Verdict:
    return judge(value, lower=limit.lower, upper=limit.upper, guard_band=guard_band)


def _or_exact(
    shown: Decimal, value: Decimal, limit: Limit, guard_band: Decimal
) -> Decimal:
    """Return what is shown, or the exact value where rounding changes the outcome."""
    same = _outcome(shown, limit, guard_band) is _outcome(value, limit, guard_band)
    return shown if same else value


def _kept(value: Decimal, limit: Limit, guard_band: Decimal) -> Decimal:
    """Return the value with three decimals, rounded so that the outcome stays."""
    outcome = _outcome(value, limit, guard_band)
    ways = (ROUND_HALF_EVEN, ROUND_FLOOR, ROUND_CEILING)
    rounded_values = [value.quantize(VALUE_PLACES, way) for way in ways]
    same = (
        one for one in rounded_values if _outcome(one, limit, guard_band) is outcome
    )
    return next(same, rounded_values[0])
