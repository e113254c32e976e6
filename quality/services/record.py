"""The canonical record of a batch: what a signature signs.

Two parts. ``facts`` are codes, whole milligrams, decimals as text and ids, all read
from rows that are never changed, so the same facts can be read again at any time and
compared. ``words`` are the names those ids had on the day, for people.
"""

from __future__ import annotations

import datetime
import hashlib
import json
from decimal import Decimal
from typing import Any

from batches.models import Batch, BulkWeighing, Charge, Reading
from batches.services.results import yield_of
from producer.models.journal import canonical
from quality.models import Judgement, Signature
from quality.services.judging import Finding

FORMAT = "kettlebook batch record 1"


def facts_of(batch: Batch) -> dict[str, Any]:
    """Return what was weighed and measured, with every superseded row."""
    charges = list(
        Charge.objects.filter(batch=batch)
        .select_related("source", "line", "certificate", "scale")
        .order_by("pk")
    )
    result = yield_of(batch)
    return {
        "batch": batch.number,
        "formula": batch.formula_version.formula_id,
        "formula_version": batch.formula_version.version,
        "basis_mg": batch.basis_mg,
        "is_rework": batch.is_rework,
        "maker": batch.maker_id,
        "opened_at": _moment(batch.opened_at),
        "charges": [_charge(row) for row in charges],
        "readings": [
            _reading(row) for row in Reading.objects.filter(batch=batch).order_by("pk")
        ],
        "weighings": [
            {**_weighing(row), "scale": row.scale_id}
            for row in BulkWeighing.objects.filter(batch=batch).order_by("pk")
        ],
        "theoretical_mg": result.theoretical_mg,
        "actual_mg": result.actual_mg,
    }


def decision_of(signature: Signature) -> dict[str, Any]:
    """Return who decided what, when and why."""
    return {
        "meaning": signature.meaning,
        "signer": signature.signer_id,
        "printed_name": signature.printed_name,
        "self_reviewed": signature.self_reviewed,
        "reason": signature.reason,
        "signed_at": _moment(signature.observed_at),
    }


def canonical_record(signature: Signature, findings: list[Finding]) -> str:
    """Return the record as canonical JSON: sorted keys, no blanks, UTF-8."""
    batch = signature.batch
    charges = Charge.objects.filter(batch=batch).select_related(
        "source__lot__material", "source__lot__supplier", "scale"
    )
    return canonical(
        {
            "format": FORMAT,
            "facts": facts_of(batch),
            "decision": decision_of(signature),
            "judgements": [_judgement(finding) for finding in findings],
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
    """Return the judgements out of a record as it was signed, without the missing."""
    judgements: list[dict[str, Any]] = part(record, "judgements")
    return [row for row in judgements if row["verdict"] and row["limit_version"]]


def judgements_of(signature: Signature) -> list[dict[str, Any]]:
    """Return the judgements of a signature as the database has them now."""
    rows = signature.judgements.select_related("limit").order_by("pk")
    return [_judgement(row) for row in rows]


def source_words(charge: Charge) -> str:
    """Return what a charge was of, in words: material, supplier, supplier's lot."""
    lot = getattr(charge.source, "lot", None)
    if lot is None:
        return f"batch {charge.source.code}"
    return f"{lot.material.name}, {lot.supplier.name}, lot {lot.supplier_lot}"


def _charge(row: Charge) -> dict[str, Any]:
    return {
        **_weighing(row),
        "source": row.source.code,
        "line": row.line.position if row.line else None,
        "scale": row.scale_id,
        "certificate_version": row.certificate.version if row.certificate else None,
        "figure": _decimal(row.figure),
        "figure_origin": row.figure_origin,
    }


def _weighing(row: Charge | BulkWeighing) -> dict[str, Any]:
    return {
        "id": row.pk,
        "gross_mg": row.gross_mg,
        "tare_mg": row.tare_mg,
        "net_mg": row.net_mg,
        **_hand(row),
    }


def _reading(row: Reading) -> dict[str, Any]:
    return {
        "id": row.pk,
        "characteristic": row.characteristic,
        "value": _decimal(row.value),
        "standard_uncertainty": _decimal(row.standard_uncertainty),
        "clarity": row.clarity,
        "method": row.method,
        "instrument": row.instrument_id,
        **_hand(row),
    }


def _hand(row: Charge | BulkWeighing | Reading) -> dict[str, Any]:
    return {
        "supersedes": row.supersedes_id,
        "is_void": row.is_void,
        "reason": row.reason,
        "entered_by": row.entered_by_id,
        "entered_at": _moment(row.entered_at),
        "observed_at": _moment(row.observed_at),
    }


def _judgement(finding: Finding | Judgement) -> dict[str, Any]:
    limit = finding.limit
    return {
        "characteristic": str(finding.characteristic),
        "limit_version": limit.version if limit else None,
        "lower": _decimal(limit.lower) if limit else None,
        "upper": _decimal(limit.upper) if limit else None,
        "method": limit.method if limit else None,
        "value": _decimal(finding.value),
        "standard_uncertainty": _decimal(finding.standard_uncertainty),
        "verdict": str(finding.verdict) if finding.verdict else None,
        "sentence": finding.sentence,
    }


def _decimal(value: Decimal | None) -> str | None:
    return None if value is None else f"{value.normalize():f}"


def _moment(value: datetime.datetime) -> str:
    return value.astimezone(datetime.UTC).isoformat(timespec="microseconds")
