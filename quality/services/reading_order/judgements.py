"""A judgement as it is shown: by the registers of today, or as it was signed.

Values and limits are numbers here; words that a page writes itself take its decimal
mark. What was signed is never judged again.
"""

from __future__ import annotations

import dataclasses
from decimal import Decimal
from typing import Any, Final

from batches.models import Reading, Titration
from batches.services.entries import Entries, standing
from producer.quantities import format_number
from quality.models import Characteristic, Limit
from quality.services.alkali import FreeAlkali
from quality.services.alkali.judged import NAME
from quality.services.judgement import Finding
from quality.services.reading_order.timeline import anchor_of
from quality.statistics.conformity import (
    RULE,
    RULES,
    DecisionRule,
    Verdict,
    judge,
    method_fit,
)
from quality.statistics.rounding import rounded_up
from quality.statistics.uncertainty import expanded

UNITS: Final[dict[str, str]] = {
    Characteristic.YIELD_VARIANCE: " %",
    Characteristic.FREE_ALKALI: " %",
    Characteristic.SOAP_CONTENT: " %",
}
# Where on the page of a batch the value of a characteristic comes from, where that is
# a computation and not a single entry; and which method the page of methods tells.
COMPUTED: Final[dict[str, str]] = {
    Characteristic.YIELD_VARIANCE: "yield",
    Characteristic.SOAP_CONTENT: "yield",
}
METHODS: Final[dict[str, str]] = {
    Characteristic.YIELD_VARIANCE: "Theoretical and percentage yield",
    Characteristic.FREE_ALKALI: "Free alkali by titration in alcohol",
    Characteristic.SOAP_CONTENT: "Soap content",
}
OUTCOME_METHOD: Final = "Outcome against a limit"
RISK_METHOD: Final = "Risk of a wrong decision"


@dataclasses.dataclass(frozen=True, kw_only=True)
class Shown:
    """One judgement with all that is said of it.

    ``plain`` is for who hates statistics and comes first; ``sentence`` has the numbers,
    and is all there is where it was signed. ``limit`` is set where it is still in the
    tables. ``limit_words`` are its version and method, ``approved_by`` who set it,
    where the record has it. ``source`` is the place on the page where the value stands,
    ``method`` the computation it follows, both may be empty. ``instrument_words``
    complete “By … alone”.
    """

    name: str
    verdict: Verdict | None
    sentence: str
    plain: str = ""
    value: Decimal | None = None
    standard_uncertainty: Decimal | None = None
    lower: Decimal | None = None
    upper: Decimal | None = None
    unit: str = ""
    origin: str = ""
    source: str = ""
    method: str = ""
    limit: Limit | None = None
    limit_words: str = ""
    approved_by: str = ""
    decision_rule: DecisionRule | None = None
    effect: str = ""
    risk: float | None = None
    instrument_words: str = "the instrument’s ±"

    @property
    def rule(self) -> str:
        """The decision rule in one sentence, or nothing."""
        return self.decision_rule.statement if self.decision_rule else ""

    @property
    def expanded_uncertainty(self) -> Decimal:
        """U = 2·u, in the unit of the value; nought where none is known."""
        return expanded(self.standard_uncertainty or Decimal(0))

    @property
    def guard_band(self) -> Decimal:
        """What the rule keeps from a limit, in the unit of the value."""
        if self.decision_rule is None:
            return Decimal(0)
        return self.decision_rule.guard_band(self.expanded_uncertainty)

    @property
    def is_unfit(self) -> bool:
        """Say whether the method is too coarse to tell inside from outside."""
        if self.decision_rule is None:
            return False
        return not method_fit(self.lower, self.upper, self.expanded_uncertainty)

    @property
    def has_limits(self) -> bool:
        """Say whether it has a limit in figures."""
        return self.lower is not None or self.upper is not None

    def value_in_words(self, mark: str = ".") -> str:
        """Return “9.8 ± 0.6” with its unit; the ± has two digits, rounded up."""
        if self.value is None:
            return ""
        shown = format_number(self.value, mark=mark)
        spread = rounded_up(self.expanded_uncertainty)
        if spread:
            shown += f" ± {format_number(spread, mark=mark)}"
        return shown + self.unit

    def limits_in_words(self, mark: str = ".") -> str:
        """Return “8 to 10”, “at most 10” or “at least 8”, with the unit; or nothing."""
        lower, upper = (
            None if side is None else format_number(side, mark=mark)
            for side in (self.lower, self.upper)
        )
        if lower is not None and upper is not None:
            return f"{lower} to {upper}{self.unit}"
        if lower is None and upper is None:
            return ""
        side = "at most" if lower is None else "at least"
        return f"{side} {lower if upper is None else upper}{self.unit}"


def of_finding(finding: Finding, entries: Entries, *, mark: str = ".") -> Shown:
    """Return a finding of today as it is shown."""
    limit, characteristic = finding.limit, finding.characteristic
    return Shown(
        name=characteristic.label,
        verdict=finding.verdict,
        sentence=finding.sentence,
        plain=finding.in_plain_words(mark),
        value=finding.value,
        standard_uncertainty=finding.standard_uncertainty,
        lower=limit.lower if limit else None,
        upper=limit.upper if limit else None,
        unit=UNITS.get(characteristic, ""),
        origin=finding.origin,
        source=_source(characteristic, entries),
        method=METHODS.get(characteristic, ""),
        limit=limit,
        limit_words=_limit_words(limit.version, limit.method) if limit else "",
        approved_by=limit.entered_by.person.name if limit else "",
        decision_rule=finding.rule,
        effect=Limit.Effect(finding.effect).label,
        risk=finding.risk,
    )


def of_free_alkali(free: FreeAlkali, entries: Entries) -> Shown:
    """Return the titrated free alkali, judged by what the premises allows."""
    return Shown(
        name=NAME,
        verdict=free.verdict,
        sentence=free.sentence,
        value=free.value,
        standard_uncertainty=free.standard_uncertainty,
        upper=free.upper,
        unit=" %",
        source=_source(Characteristic.FREE_ALKALI, entries),
        method=METHODS[Characteristic.FREE_ALKALI],
        limit_words="Limit of the premises",
        decision_rule=free.rule,
        risk=free.risk,
        instrument_words="the ± of the titration",
    )


def of_record(one: dict[str, Any]) -> Shown:
    """Return a judgement of a signed record as it is shown.

    Records from before rule, risk and origin were kept lack them.
    """
    characteristic = Characteristic(one["characteristic"])
    version, method = one["limit_version"], one["method"]
    return Shown(
        name=characteristic.label,
        verdict=Verdict(one["verdict"]) if one["verdict"] else None,
        sentence=one["sentence"],
        value=_decimal(one["value"]),
        standard_uncertainty=_decimal(one["standard_uncertainty"]),
        lower=_decimal(one["lower"]),
        upper=_decimal(one["upper"]),
        unit=UNITS.get(characteristic, ""),
        origin=one.get("origin", ""),
        source=COMPUTED.get(characteristic, "process"),
        method=METHODS.get(characteristic, ""),
        limit_words=_limit_words(version, method) if version else "",
        approved_by=(one.get("limit_approved_by") or {}).get("name", ""),
        decision_rule=_rule_of(one),
        effect=Limit.Effect(one["effect"]).label if one.get("effect") else "",
        risk=float(one["risk"]) if one.get("risk") else None,
    )


def of_signed_alkali(free: dict[str, Any]) -> Shown:
    """Return the titrated free alkali of a signed record as it is shown."""
    return Shown(
        name=NAME,
        verdict=Verdict(free["verdict"]),
        sentence=free["sentence"],
        value=_decimal(free["value"]),
        standard_uncertainty=_decimal(free["standard_uncertainty"]),
        upper=_decimal(free["upper"]),
        unit=" %",
        source="process",
        method=METHODS[Characteristic.FREE_ALKALI],
        limit_words="Limit of the premises",
        decision_rule=next(
            (rule for rule in RULES.values() if rule.statement == free["rule"]), None
        ),
    )


def _source(characteristic: str, entries: Entries) -> str:
    """Return the anchor of what a value was read from; the newest entry counts."""
    if characteristic in COMPUTED:
        return COMPUTED[characteristic]
    rows: list[Reading] | list[Titration]
    if characteristic == Characteristic.FREE_ALKALI:
        kind = Titration.Kind.FREE_ALKALI
        rows = [row for row in standing(entries.titrations) if row.kind == kind]
    else:
        rows = [
            row
            for row in standing(entries.readings)
            if row.characteristic == characteristic
        ]
    return anchor_of(rows[-1]) if rows else ""


def _rule_of(one: dict[str, Any]) -> DecisionRule | None:
    """Return the rule of a signed judgement, None where no rule decided.

    Records from before the rule was kept had but one, and no effect beside it; where
    that rule says something else, the judgement did not follow from it.
    """
    if "effect" in one or "rule" in one:
        return RULES.get(one.get("rule", ""))
    value, lower, upper = (_decimal(one[key]) for key in ("value", "lower", "upper"))
    if value is None or (lower is None and upper is None):
        return None
    band = RULE.guard_band(
        expanded(_decimal(one["standard_uncertainty"]) or Decimal(0))
    )
    outcome = judge(value, lower=lower, upper=upper, guard_band=band)
    return RULE if outcome == one["verdict"] else None


def _limit_words(version: int, method: str) -> str:
    return ": ".join(part for part in (f"Limit version {version}", method) if part)


def _decimal(value: str | None) -> Decimal | None:
    return None if value is None else Decimal(value)
