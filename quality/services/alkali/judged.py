"""A titrated free alkali held against what is allowed, and against the pH.

Where the formula version has a limit of its own, the titration is a finding like any
other. Where it has none, the figure of the premises counts, which is no limit with a
version, so that is no :class:`.Judgement`; rule and words are the same.
"""

from __future__ import annotations

import dataclasses
import datetime
from collections.abc import Iterator
from decimal import Decimal

from batches.chemistry.ph import expected_ph
from batches.models import Batch, FormulaVersion, Titration
from quality.models import Characteristic, Limit
from quality.services.alkali.balance import Alkali
from quality.services.judgement import Finding, hand_of, plus_minus
from quality.services.judgement import judged as held_against
from quality.statistics.conformity import (
    RULE,
    RULES,
    DecisionRule,
    Verdict,
    explain,
    judge,
)
from quality.statistics.risks import risk_of_wrong_decision
from quality.statistics.rounding import as_decimal, rounded
from quality.statistics.uncertainty import expanded

NAME = "Free potassium hydroxide by titration"
USUAL_METHOD = FormulaVersion._meta.get_field("ph_method").get_default()
USUAL_STRENGTH = 1.0  # percent of paste in the solution of that method, at 25 °C
# More than any paste holds, and within what the formula of the pH covers at 1 %.
MOST_PERCENT = Decimal(50)


@dataclasses.dataclass(frozen=True, kw_only=True)
class FreeAlkali:
    """Titrated free KOH in percent, judged.

    ``upper`` is the limit of the formula version where it has one (``by_formula``),
    else that of the premises.
    """

    value: Decimal
    standard_uncertainty: Decimal
    upper: Decimal
    verdict: Verdict
    sentence: str
    rule: DecisionRule
    by_formula: bool = False

    @property
    def acceptable(self) -> bool:
        """Say whether the value itself lies inside the limit."""
        return self.verdict.acceptable

    @property
    def highest(self) -> Decimal:
        """What the true value could be up to: value + U, k = 2."""
        return self.value + expanded(self.standard_uncertainty)

    @property
    def risk(self) -> float:
        """The chance, 0 to 1, that taking the value at its word is wrong."""
        return risk_of_wrong_decision(
            self.value, self.standard_uncertainty, upper=self.upper
        )


def free_alkali_of(batch: Batch, known: Alkali) -> FreeAlkali | None:
    """Return the titrated free alkali judged; None while no titration counts."""
    if known.titrated is None:
        return None
    value, u = known.titrated.percent, known.titrated.uncertainty_percent
    rule = RULES[known.own_limit.rule] if known.own_limit else RULE
    upper, band = as_decimal(known.limits.free_alkali_percent), expanded(u)
    guard = rule.guard_band(band)
    verdict = judge(value, lower=None, upper=upper, guard_band=guard)
    shown = rounded(value, band).value
    if judge(shown, lower=None, upper=upper, guard_band=guard) is not verdict:
        shown = value  # rounding must not change what is said
    sentence = explain(
        name=NAME,
        unit=" %",
        value=shown,
        lower=None,
        upper=upper,
        expanded_uncertainty=band,
        guard_band=guard,
    )
    return FreeAlkali(
        value=value,
        standard_uncertainty=u,
        upper=upper,
        verdict=verdict,
        sentence=sentence + _earlier(batch.pk),
        rule=rule,
        by_formula=known.own_limit is not None,
    )


def judged_by_titration(
    titration: Titration, limit: Limit, zone: datetime.tzinfo
) -> Finding:
    """Return a titration of the free alkali held against the formula's own limit."""
    u = titration.standard_uncertainty or Decimal(0)
    counted = sum(not one.excluded_because for one in titration.replicates.all())
    found = held_against(
        Characteristic.FREE_ALKALI,
        limit,
        titration.value or Decimal(0),
        u,
        origin=(
            f"Titration, {counted} {'sample' if counted == 1 else 'samples'},"
            f" {plus_minus(u, ' %')}, by {hand_of(titration, zone)}."
        ),
        by="by this titration",
        better="titrate more samples",
    )
    earlier = _earlier(titration.stock_id)
    return dataclasses.replace(found, sentence=found.sentence + earlier)


def taken_back(batch: Batch) -> Iterator[str]:
    """Yield a sentence for each titration of free alkali that was taken back.

    It counts no more, but whoever signs sees what it said and why it went.
    """
    rows = Titration.objects.filter(
        stock_id=batch.pk,
        kind=Titration.Kind.FREE_ALKALI,
        is_void=True,
    )
    before = Titration.objects.in_bulk([row.supersedes_id for row in rows])
    for row in rows.order_by("pk"):
        yield (
            "A titration of the free alkali that said"
            f" {_result(before[row.supersedes_id])} was taken back: {row.reason}"
        )


def contradiction(known: Alkali, judged: list[Finding]) -> str:
    """Return that titration and pH cannot both be right, or nothing.

    The least pH of the least alkali (value − U) against the most that the reading
    allows (pH + U). Only for the usual method, whose strength and temperature are
    known; soap's own alkalinity would only lift the pH further.
    """
    ph = next((one for one in judged if one.characteristic == Characteristic.PH), None)
    if known.titrated is None or ph is None or ph.value is None or ph.limit is None:
        return ""
    titrated = known.titrated
    least = titrated.percent - expanded(titrated.uncertainty_percent)
    if ph.limit.method != USUAL_METHOD or least <= 0:
        return ""
    expected = expected_ph(
        free_alkali_percent=float(min(least, MOST_PERCENT)),
        strength_percent=USUAL_STRENGTH,
    )
    spread = expanded(ph.standard_uncertainty or Decimal(0))
    if expected <= ph.value + spread:
        return ""
    reading = rounded(ph.value, spread).text()
    return (
        f"The titrated alkali would give at least pH {expected:.1f} in a 1 % solution,"
        f" but the test says {reading}: one of the two is wrong. Repeat both."
    )


def _earlier(stock_id: int) -> str:
    """Name the earlier titrations that stand: none of them goes away."""
    rows = list(
        Titration.objects.current()
        .filter(stock_id=stock_id, kind=Titration.Kind.FREE_ALKALI)
        .order_by("pk")
    )
    words = [_result(row) for row in rows[:-1]]
    return f" Before it: {', '.join(words)}." if words else ""


def _result(row: Titration) -> str:
    spread = expanded(row.standard_uncertainty or Decimal(0))
    return f"{rounded(row.value or Decimal(0), spread).text()} %"
