"""The canonical record of a batch: what a signature signs.

``facts`` are codes, whole milligrams, decimals as text and ids, all read from rows
that are never changed, so the same facts can be read again at any time and compared.
``words`` are the names those ids had on the day, for people. ``computed`` is what was
computed from the facts on that day, with its uncertainty: it is kept as it was signed
and never compared, because a better formula may come later. ``deviations``, a part of
its own and only there when there are any, names those of the batch and of all that is
in it as they stood at the signature; more may be opened later, so they are not compared
either: each is signed by itself. ``around``, also a part of its own and only there
when there is anything, is what else the page showed to whoever signed: the notes, how
many entries are corrections, the instruments in doubt with their failed checks, and the
open deviations of instruments. It is kept as it was shown and never compared. Each
judgement names under ``limit_approved_by`` who set its limit, as an account and a name;
records from before that have no such key.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from batches import trace
from batches.models import Batch, Charge
from batches.services.entries import Entries
from batches.services.results import yield_of
from producer.models.journal import canonical
from quality.models import Judgement, Limit, Signature
from quality.services.alkali import Alkali, FreeAlkali, free_alkali_of
from quality.services.deviations import Standing, of_stocks
from quality.services.impact.release import AboutTools
from quality.services.judging import Finding
from quality.services.outcome import CameOut
from quality.services.record_rows import (
    charge_of,
    decimal_text,
    digits,
    hold_points_of,
    liquid_readings_of,
    losses_of,
    lye_discount_of,
    moment_text,
    reading_of,
    sheets_of,
    starts_of,
    titrations_of,
    vessel_of,
    weighing_of,
)
from quality.statistics.budgets import Budget

FORMAT = "kettlebook batch record 1"
APPROVED_BY = "limit_approved_by"


def facts_of(batch: Batch, entries: Entries | None = None) -> dict[str, Any]:
    """Return what was weighed and measured, with every superseded row.

    ``entries`` are the rows of the batch, where the caller has read them already.
    """
    entries = entries or Entries(batch)
    result = yield_of(batch, entries)
    return {
        "batch": batch.number,
        "formula": batch.formula_version.formula_id,
        "formula_version": batch.formula_version.version,
        "basis_mg": batch.basis_mg,
        "is_rework": batch.is_rework,
        "maker": batch.maker_id,
        "opened_at": moment_text(batch.opened_at),
        "charges": [charge_of(row) for row in entries.charges],
        "readings": [reading_of(row) for row in entries.readings],
        "weighings": [
            {**weighing_of(row), "scale": row.scale_id, **vessel_of(row)}
            for row in entries.weighings
        ],
        "theoretical_mg": result.theoretical_mg,
        "actual_mg": result.actual_mg,
        **lye_discount_of(batch),
        **titrations_of(entries),
        **losses_of(entries),
        **liquid_readings_of(entries),
        **hold_points_of(entries),
        **starts_of(entries),
        **sheets_of(entries),
    }


def computed_of(batch: Batch, known: Alkali, found: CameOut) -> dict[str, Any]:
    """Return excess alkali and soap content as computed, with inputs; all as text.

    With them the limits and levels of the day, the risks, and the judgement of a
    titrated free alkali, since registers and premises may say otherwise tomorrow.
    """
    content, lowest = found.soap_content, found.lowest
    ways = {"by_weighing": known.weighed, "by_titration": known.titrated}
    return {
        "lye_discount": decimal_text(batch.lye_discount),
        "excess_alkali_g": {
            name: _budget(way.budget) for name, way in ways.items() if way is not None
        },
        "soap_content_percent": None if content is None else _budget(content),
        "lowest_soap_content_percent": None if lowest is None else f"{lowest:.6g}",
        "limits": {
            "free_alkali_percent": digits(known.limits.free_alkali_percent),
            "unsaponified_percent": digits(known.limits.unsaponified_percent),
            "risk_to_warn": digits(known.warn),
            "risk_to_stop": digits(known.stop),
        },
        "risks": {
            "free_alkali": None if known.over is None else digits(known.over),
            "unsaponified": None if known.under is None else digits(known.under),
        },
        "level": known.level,
        "free_alkali": _free_alkali(free_alkali_of(batch, known)),
    }


def _free_alkali(free: FreeAlkali | None) -> dict[str, Any] | None:
    if free is None or free.by_formula:  # then it is among the judgements
        return None
    return {
        "value": decimal_text(free.value),
        "standard_uncertainty": decimal_text(free.standard_uncertainty),
        "upper": decimal_text(free.upper),
        "verdict": str(free.verdict),
        "sentence": free.sentence,
        "rule": free.rule.statement,
    }


def _budget(budget: Budget) -> dict[str, Any]:
    return {
        "value": digits(budget.value),
        "standard_uncertainty": digits(budget.standard_uncertainty),
        "coverage_factor": digits(budget.coverage_factor),
        "inputs": [
            {
                "name": line.quantity.name,
                "value": digits(line.quantity.value),
                "standard_uncertainty": digits(line.quantity.standard_uncertainty),
                "unit": line.quantity.unit,
                "distribution": str(line.quantity.distribution),
                "origin": line.quantity.origin,
            }
            for line in budget.lines
        ],
    }


def decision_of(
    signature: Signature, beside: Mapping[str, Any] | None = None
) -> dict[str, Any]:
    """Return who decided what, when and why; ``beside`` is what stands with the name.

    See :mod:`quality.services.signers`.
    """
    return {
        **(beside or {}),
        "meaning": signature.meaning,
        "signer": signature.signer_id,
        "printed_name": signature.printed_name,
        "self_reviewed": signature.self_reviewed,
        "reason": signature.reason,
        "signed_at": moment_text(signature.observed_at),
    }


def canonical_record(
    signature: Signature,
    findings: list[Finding],
    computed: dict[str, Any],
    around: dict[str, Any],
    beside: Mapping[str, Any] | None = None,
) -> str:
    """Return the record as canonical JSON: sorted keys, no blanks, UTF-8.

    ``computed`` and ``around`` are those of the review, so that what is kept is what
    was read. ``beside`` goes into the decision: who set the password, the pause.
    """
    batch = signature.batch
    charges = Charge.objects.filter(batch=batch).select_related(
        "source__lot__material", "source__lot__supplier", "scale"
    )
    return canonical(
        {
            "format": FORMAT,
            "facts": facts_of(batch),
            "decision": decision_of(signature, beside),
            "judgements": [_judgement(finding) for finding in findings],
            "computed": computed,
            **({"around": around} if around else {}),
            **_deviations(batch),
            "words": {
                "formula": batch.formula_version.formula.name,
                "product": batch.formula_version.product_name,
                "maker": batch.maker.person.name,
                "sources": {
                    charge.source.code: source_words(charge) for charge in charges
                },
            },
        }
    )


def sha256(record: str) -> str:
    """Return the SHA-256 of a canonical record."""
    return hashlib.sha256(record.encode("utf-8")).hexdigest()


def part(record: str, name: str) -> Any:
    """Return one part of a record as it was signed, such as “facts”."""
    return json.loads(record)[name]


def judged(record: str) -> list[dict[str, Any]]:
    """Return the judgements out of a record as it was signed, without the missing.

    Who approved a limit stands in it as the account alone: a name can change.
    """
    judgements: list[dict[str, Any]] = part(record, "judgements")
    return [
        _by_account(row)
        for row in judgements
        if row["verdict"] and row["limit_version"]
    ]


def judgements_of(signature: Signature) -> list[dict[str, Any]]:
    """Return the judgements of a signature as the database has them now."""
    rows = signature.judgements.select_related("limit__entered_by__person")
    known = [_by_account(_judgement(row)) for row in rows.order_by("pk")]
    if any(APPROVED_BY in row for row in judged(signature.record)):
        return known
    # Signed before it was kept.
    return [
        {name: value for name, value in row.items() if name != APPROVED_BY}
        for row in known
    ]


def around_of(entries: Entries, notes: list[str], tools: AboutTools) -> dict[str, Any]:
    """Return what else was shown to whoever signs; nothing where there was nothing."""
    corrected = sum(row.supersedes_id is not None for row in entries)
    return {
        **({"notes": notes} if notes else {}),
        **({"corrected_entries": corrected} if corrected else {}),
        **tools.signed(),
    }


def source_words(charge: Charge) -> str:
    """Return what a charge was of, in words: material, supplier, supplier's lot."""
    lot = getattr(charge.source, "lot", None)
    if lot is None:
        return f"batch {charge.source.code}"
    return f"{lot.material.name}, {lot.supplier.name}, lot {lot.supplier_lot}"


def deviations_of(known: list[Standing]) -> list[dict[str, Any]]:
    """Return deviations as a signature names them: class, decision, SHA-256 of it."""
    return [
        {
            "code": one.code,
            "of": one.name,
            "class": str(one.classification),
            "decision": one.closing.decision if one.closing else None,
            "record_sha256": one.closing.record_sha256 if one.closing else None,
        }
        for one in known
    ]


def _deviations(batch: Batch) -> dict[str, Any]:
    """Return the deviations of a batch and all in it; no key where there are none."""
    listed = deviations_of(of_stocks(trace.upstream_ids(batch.pk)))
    return {"deviations": listed} if listed else {}


def _judgement(finding: Finding | Judgement) -> dict[str, Any]:
    limit = finding.limit
    return {
        "characteristic": str(finding.characteristic),
        "limit_version": limit.version if limit else None,
        "lower": decimal_text(limit.lower) if limit else None,
        "upper": decimal_text(limit.upper) if limit else None,
        "method": limit.method if limit else None,
        "value": decimal_text(finding.value),
        "standard_uncertainty": decimal_text(finding.standard_uncertainty),
        "verdict": str(finding.verdict) if finding.verdict else None,
        "sentence": finding.sentence,
        **_approved_by(limit),
        **_how_judged(finding),
    }


def _how_judged(finding: Finding | Judgement) -> dict[str, Any]:
    """Return rule, effect, origin and risk; no key for what is not there.

    Records signed before they were kept have no such keys and stay the same.
    """
    known = {
        "rule": finding.rule_slug if isinstance(finding, Finding) else finding.rule,
        "effect": finding.effect if finding.limit else "",
        "origin": finding.origin,
        "risk": "" if finding.risk is None else f"{kept_risk(finding.risk):f}",
    }
    return {name: value for name, value in known.items() if value}


def _approved_by(limit: Limit | None) -> dict[str, Any]:
    """Return who set a limit: the account and the name on the day."""
    if limit is None:
        return {}
    who = limit.entered_by
    return {APPROVED_BY: {"id": who.pk, "name": who.person.name}}


def _by_account(row: dict[str, Any]) -> dict[str, Any]:
    """Return a judgement with the account that approved its limit, without the name."""
    if APPROVED_BY not in row:
        return row
    return {**row, APPROVED_BY: row[APPROVED_BY]["id"]}


def kept_risk(risk: float | Decimal) -> Decimal:
    """Return a chance, 0 to 1, as a row of a judgement keeps it."""
    return Decimal(risk).quantize(Decimal("0.000001"))
