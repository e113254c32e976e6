"""Whether the error of an instrument can carry a judged result across its limit.

How each result shifts is that of :mod:`.taken`, with one difference: a scale that went
wrong between two weighings was off in some of them only, so each is taken as off by
anything from nothing to the whole share. Only from inside to outside counts: what lies
outside already stands in the way by itself.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence
from decimal import Decimal

from batches.models import BulkWeighing, Charge, Reading, Titration
from batches.services.entries import Entries, standing
from producer.quantities import format_number, grams
from quality.models import Characteristic
from quality.services.alkali import Alkali
from quality.services.impact.plain import PERCENT, Doubt
from quality.services.impact.taken import koh_of
from quality.services.impact.tools import Tool
from quality.services.judgement import Finding

Sides = tuple[Decimal | None, Decimal | None]
Ends = tuple[Decimal, Decimal]
# Of what came out. From 0.5 % on a mixture counts as irritant in CLP Annex VI, index
# 019-002-00-8 (seen at second hand; check the authority's list).
MOST_FREE_ALKALI_PERCENT = Decimal("0.5")
# From 11.5 on a mixture counts as corrosive in CLP by its pH alone, unless a test says
# otherwise (from memory; the authority's list decides).
MOST_PH = Decimal("11.5")


@dataclasses.dataclass(frozen=True, kw_only=True)
class Judged:
    """The results of a batch as they are judged, and what they were judged from."""

    entries: Entries
    findings: Sequence[Finding]
    known: Alkali
    is_rework: bool

    def finding(self, characteristic: str) -> Finding | None:
        """Return the finding about this, if it has a value and a limit."""
        return next(
            (
                one
                for one in self.findings
                if one.characteristic == characteristic
                and one.value is not None
                and one.limit is not None
            ),
            None,
        )


def carried(doubt: Doubt, tool: Tool, judged: Judged) -> Iterator[str]:
    """Yield in words each judged result that the error can carry out of its limits.

    Nothing for a thermometer: no temperature is judged at a release.
    """
    rows = [row for row in tool.rows if doubt.covers(row)]
    if doubt.is_scale:
        yield from _yield_variance(doubt, rows, judged)
        yield from _soap_content(doubt, rows, judged)
        yield from _excess(doubt, rows, judged)
        yield from _free_alkali(doubt, rows, judged)
    elif not doubt.is_thermometer:
        yield from _ph(doubt, rows, judged)


def _ph(doubt: Doubt, rows: Sequence[object], judged: Judged) -> Iterator[str]:
    finding = judged.finding(Characteristic.PH)
    readings = [
        row
        for row in standing(judged.entries.readings)
        if row.characteristic == Reading.Characteristic.PH
    ]
    if finding is None or not readings or readings[-1] not in rows:
        return
    value = finding.value or Decimal(0)
    ends = (value - doubt.size, value + doubt.size)
    yield from _said("pH", "", value, ends, _sides(finding), hard=MOST_PH)


def _yield_variance(
    doubt: Doubt, rows: Sequence[object], judged: Judged
) -> Iterator[str]:
    finding, weighing = judged.finding(Characteristic.YIELD_VARIANCE), None
    weighing = judged.entries.weighing
    if finding is None or weighing is None:
        return
    put_in = grams(sum(row.net_mg for row in judged.entries.standing_charges))
    doubtful = sum(row.net_mg for row in rows if isinstance(row, Charge))
    less_in = grams(doubtful) * doubt.share
    out = grams(weighing.net_mg)
    less_out = out * doubt.share if weighing in rows else Decimal(0)
    corners = [
        (made / went - 1) * PERCENT
        for made in (out, out - less_out)
        for went in (put_in, put_in - less_in)
    ]
    value = finding.value or Decimal(0)
    ends = (min(corners), max(corners))
    yield from _said("yield variance", " %", value, ends, _sides(finding))


def _soap_content(
    doubt: Doubt, rows: Sequence[object], judged: Judged
) -> Iterator[str]:
    finding = judged.finding(Characteristic.SOAP_CONTENT)
    weighed = [row for row in rows if isinstance(row, Charge | BulkWeighing)]
    if finding is None or not weighed:
        return
    # A ratio of masses: oils over what came out, either of which may be off alone.
    value, share = finding.value or Decimal(0), abs(doubt.share)
    ends = (value * (1 - share), value * (1 + share))
    yield from _said("soap content", " %", value, ends, _sides(finding))


def _excess(doubt: Doubt, rows: Sequence[object], judged: Judged) -> Iterator[str]:
    """Yield what the error can do to excess alkali by weighing; grams of KOH.

    A titration decides about alkali where there is one, and weighings about oil.
    """
    weighed = judged.known.weighed
    if weighed is None or judged.is_rework:
        return
    changes = [
        -brought * doubt.share
        for row in rows
        if isinstance(row, Charge) and (brought := koh_of(row)) is not None
    ]
    if not changes:
        return
    value = Decimal(str(weighed.budget.value))
    least = value + sum((one for one in changes if one < 0), Decimal(0))
    most = value + sum((one for one in changes if one > 0), Decimal(0))
    paste_g = weighed.paste_mg / 1000
    limits = judged.known.limits
    lacking = limits.lacking_g(paste_g, weighed.mean_saponification_value)
    upper, hard = None, None
    if judged.known.titrated is None:
        upper = Decimal(str(limits.free_alkali_g(paste_g)))
        hard = grams(weighed.paste_mg) * MOST_FREE_ALKALI_PERCENT / PERCENT
    yield from _said(
        "excess alkali by the weighings",
        " g KOH",
        value,
        (least, most),
        (-Decimal(str(lacking)), upper),
        hard=hard,
    )


def _free_alkali(doubt: Doubt, rows: Sequence[object], judged: Judged) -> Iterator[str]:
    free = [
        row
        for row in standing(judged.entries.titrations)
        if row.kind == Titration.Kind.FREE_ALKALI
    ]
    if not free or free[-1] not in rows or judged.known.titrated is None:
        return
    value = free[-1].value or Decimal(0)
    finding = judged.finding(Characteristic.FREE_ALKALI)
    sides: Sides = (None, Decimal(str(judged.known.limits.free_alkali_percent)))
    if finding is not None:
        sides = _sides(finding)
    ends = sorted((value, value * (1 + doubt.share)))
    yield from _said(
        "titrated free alkali",
        " %",
        value,
        (ends[0], ends[1]),
        sides,
        hard=MOST_FREE_ALKALI_PERCENT,
    )


def _sides(finding: Finding) -> Sides:
    limit = finding.limit
    return (limit.lower, limit.upper) if limit else (None, None)


def _said(
    name: str,
    unit: str,
    value: Decimal,
    ends: Ends,
    sides: Sides,
    *,
    hard: Decimal | None = None,
) -> Iterator[str]:
    """Yield in words that a result can lie outside, where one of the ends does.

    ``hard`` is the figure that no limit and no concession lifts; it is reached, not
    only passed.
    """
    (least, most), (lower, upper) = ends, sides
    out = (
        (lower is not None and value >= lower > least)
        or (upper is not None and value <= upper < most)
        or (hard is not None and value < hard <= most)
    )
    if out:
        low, high = (_short(one) for one in ends)
        against = _against(lower, upper, hard if hard and hard <= most else None)
        yield f"{name} {_short(value)}{unit} can be {low} to {high}{unit}, {against}"


def _against(lower: Decimal | None, upper: Decimal | None, hard: Decimal | None) -> str:
    said = [
        *([] if lower is None else [f"at least {_short(lower)}"]),
        *([] if upper is None else [f"at most {_short(upper)}"]),
    ]
    words = f"against {' and '.join(said)}" if said else "without a limit"
    return words + (f", and {_short(hard)} is caustic" if hard is not None else "")


def _short(value: Decimal) -> str:
    return format_number(round(value, 3))
