"""What a signature signed, read from its record: never computed again.

A register may be corrected after a signature, such as the ± of a scale; the figures of
the day stay what they were. Records from before a figure was kept lack it, and then it
is not shown.
"""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Iterable, Iterator
from decimal import Decimal
from typing import Any

from producer.quantities import format_number
from quality.models import Signature
from quality.services.alkali import words
from quality.services.alkali.judged import NAME
from quality.services.marks import JUDGING, is_void
from quality.services.reading_order.judgements import (
    Shown,
    of_record,
    of_signed_alkali,
)
from quality.services.reviewing import Review
from quality.statistics.conformity import Verdict
from quality.statistics.rounding import rounded

Meaning = Signature.Meaning
LEVELS = {"good": "low risk", "warn": "some risk", "stop": "high risk"}
WAYS = {"by_weighing": "weighing", "by_titration": "titration"}


@dataclasses.dataclass(frozen=True, kw_only=True)
class AsSigned:
    """What stood under a signature: its judgements, and figures by their names."""

    signature: Signature
    rows: list[Shown]
    figures: list[tuple[str, str]]
    level: str


def as_signed(signature: Signature, *, mark: str = ".") -> AsSigned:
    """Return what a signature signed; ``mark`` is the decimal mark of the figures."""
    signed: dict[str, Any] = json.loads(signature.record)
    computed: dict[str, Any] = signed.get("computed") or {}
    return AsSigned(
        signature=signature,
        rows=list(_rows(signed["judgements"], computed.get("free_alkali"))),
        figures=[*_alkali(computed, mark), *_soap(computed, mark)],
        level=computed.get("level", ""),
    )


def signatures_of(batch_ids: Iterable[int]) -> list[Signature]:
    """Return the signatures of these batches with their marks, the oldest first."""
    rows = Signature.objects.filter(batch__in=list(batch_ids)).order_by("pk")
    rows = rows.select_related("batch__stock")
    return list(rows.prefetch_related("marks__entered_by__person"))


def deciding(signatures: Iterable[Signature]) -> Signature | None:
    """Return the last signature that looked at the findings, or None if it is void."""
    rows = [row for row in signatures if row.meaning in JUDGING and not is_void(row)]
    return rows[-1] if rows else None


def differences(signed: AsSigned, review: Review) -> list[str]:
    """Return a sentence for each outcome that would not be the same today."""
    today = {
        finding.characteristic.label: finding.verdict for finding in review.findings
    }
    today[NAME] = review.free_alkali.verdict if review.free_alkali else None
    said = [
        _differs(row.name, _label(row.verdict), _label(today.get(row.name)))
        for row in signed.rows
    ]
    level = review.computed["level"]
    if signed.level:
        before, now = (LEVELS.get(one, "not known") for one in (signed.level, level))
        said.append(_differs("Excess alkali", before, now))
    return [sentence for sentence in said if sentence]


def _label(verdict: Verdict | None) -> str:
    return verdict.label if verdict else "missing"


def _differs(name: str, signed: str, today: str) -> str:
    if signed == today:
        return ""
    return (
        f"{name} was signed as “{signed}”; by the registers as they are today it would"
        f" be “{today}”. What was signed stands."
    )


def _rows(
    judgements: list[dict[str, Any]], free: dict[str, Any] | None
) -> Iterator[Shown]:
    for one in judgements:
        yield of_record(one)
    if free is not None:
        yield of_signed_alkali(free)


def _alkali(computed: dict[str, Any], mark: str) -> Iterator[tuple[str, str]]:
    if computed.get("level"):
        yield "Excess alkali", LEVELS[computed["level"]]
    for way, kept in computed.get("excess_alkali_g", {}).items():
        spread = float(kept["standard_uncertainty"]) * float(kept["coverage_factor"])
        amount = words.grams_in_words(float(kept["value"]), spread, mark=mark)
        factor = _number(kept["coverage_factor"], mark)
        yield f"Potassium hydroxide by {WAYS[way]}", f"{amount} (k = {factor})"
    if "risks" not in computed:
        return
    limits, risks = computed["limits"], computed["risks"]
    for name, what in (
        ("free_alkali", "free potassium hydroxide"),
        ("unsaponified", "unsaponified oil"),
    ):
        if risks[name] is not None:
            most = _number(limits[f"{name}_percent"], mark)
            chance = words.chance_in_words(float(risks[name]), mark=mark)
            yield f"Risk of more than {most} % {what}", chance
    levels = [
        f"{_number(Decimal(limits[name]) * 100, mark)} %"
        for name in ("risk_to_warn", "risk_to_stop")
    ]
    yield "Warned of from, not to cook from", " and ".join(levels)


def _soap(computed: dict[str, Any], mark: str) -> Iterator[tuple[str, str]]:
    kept = computed.get("soap_content_percent")
    if kept is None:
        return
    spread = float(kept["standard_uncertainty"]) * float(kept["coverage_factor"])
    both = rounded(float(kept["value"]), spread).text(mark=mark)
    yield "Soap content", f"{both} % (k = {_number(kept['coverage_factor'], mark)})"
    lowest = computed.get("lowest_soap_content_percent")
    if lowest is not None:
        shown = format_number(Decimal(lowest), mark=mark, places=1)
        yield (
            "Soap content, if no loss here or of a paste in it was water",
            f"{shown} %",
        )


def _number(value: str | Decimal, mark: str) -> str:
    return format_number(Decimal(value), mark=mark)
