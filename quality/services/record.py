"""The canonical record of a batch: what a signature signs.

``facts`` are codes, whole milligrams, decimals as text and ids, all read from rows
that are never changed, so the same facts can be read again at any time and compared.
``words`` are the names those ids had on the day, for people. ``computed`` is what was
computed from the facts on that day, with its uncertainty: it is kept as it was signed
and never compared, because a better formula may come later. ``deviations``, a part of
its own and only there when there are any, names those of the batch and of all that is
in it as they stood at the signature; more may be opened later, so they are not compared
either: each is signed by itself.
"""

from __future__ import annotations

import datetime
import hashlib
import json
from decimal import Decimal
from typing import Any

from batches import trace
from batches.models import Batch, BulkWeighing, Charge, Loss, Reading, Titration
from batches.services.entries import Entries
from batches.services.results import yield_of
from producer.models.journal import canonical
from quality.models import Judgement, Signature
from quality.services.alkali import Alkali, FreeAlkali, free_alkali_of
from quality.services.deviations import Standing, of_stocks
from quality.services.judging import Finding
from quality.services.outcome import CameOut
from quality.statistics.budgets import Budget

FORMAT = "kettlebook batch record 1"


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
        "opened_at": _moment(batch.opened_at),
        "charges": [_charge(row) for row in entries.charges],
        "readings": [_reading(row) for row in entries.readings],
        "weighings": [
            {**_weighing(row), "scale": row.scale_id} for row in entries.weighings
        ],
        "theoretical_mg": result.theoretical_mg,
        "actual_mg": result.actual_mg,
        **_lye_discount(batch),
        **_titrations(entries),
        **_losses(entries),
    }


def computed_of(batch: Batch, known: Alkali, found: CameOut) -> dict[str, Any]:
    """Return excess alkali and soap content as computed, with inputs; all as text.

    With them the limits and levels of the day, the risks, and the judgement of a
    titrated free alkali, since registers and premises may say otherwise tomorrow.
    """
    content, lowest = found.soap_content, found.lowest
    ways = {"by_weighing": known.weighed, "by_titration": known.titrated}
    return {
        "lye_discount": _decimal(batch.lye_discount),
        "excess_alkali_g": {
            name: _budget(way.budget) for name, way in ways.items() if way is not None
        },
        "soap_content_percent": None if content is None else _budget(content),
        "lowest_soap_content_percent": None if lowest is None else f"{lowest:.6g}",
        "limits": {
            "free_alkali_percent": _digits(known.limits.free_alkali_percent),
            "unsaponified_percent": _digits(known.limits.unsaponified_percent),
            "risk_to_warn": _digits(known.warn),
            "risk_to_stop": _digits(known.stop),
        },
        "risks": {
            "free_alkali": None if known.over is None else _digits(known.over),
            "unsaponified": None if known.under is None else _digits(known.under),
        },
        "level": known.level,
        "free_alkali": _free_alkali(free_alkali_of(batch, known)),
    }


def _free_alkali(free: FreeAlkali | None) -> dict[str, Any] | None:
    if free is None or free.by_formula:  # then it is among the judgements
        return None
    return {
        "value": _decimal(free.value),
        "standard_uncertainty": _decimal(free.standard_uncertainty),
        "upper": _decimal(free.upper),
        "verdict": str(free.verdict),
        "sentence": free.sentence,
        "rule": free.rule.statement,
    }


def _budget(budget: Budget) -> dict[str, Any]:
    return {
        "value": _digits(budget.value),
        "standard_uncertainty": _digits(budget.standard_uncertainty),
        "coverage_factor": _digits(budget.coverage_factor),
        "inputs": [
            {
                "name": line.quantity.name,
                "value": _digits(line.quantity.value),
                "standard_uncertainty": _digits(line.quantity.standard_uncertainty),
                "unit": line.quantity.unit,
                "distribution": str(line.quantity.distribution),
                "origin": line.quantity.origin,
            }
            for line in budget.lines
        ],
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


def canonical_record(
    signature: Signature, findings: list[Finding], computed: dict[str, Any]
) -> str:
    """Return the record as canonical JSON: sorted keys, no blanks, UTF-8.

    ``computed`` is that of the review, so that what is kept is what was read.
    """
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
            "computed": computed,
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


def _charge(row: Charge) -> dict[str, Any]:
    return {
        **_weighing(row),
        "source": row.source.code,
        "line": row.line.position if row.line else None,
        "scale": row.scale_id,
        "certificate_version": row.certificate.version if row.certificate else None,
        "figure": _decimal(row.figure),
        "figure_origin": row.figure_origin,
        **_known_of_figure(row),
    }


def _known_of_figure(row: Charge) -> dict[str, Any]:
    """Return how well a figure is known; nothing for charges older than that."""
    if row.figure_uncertainty is None:
        return {}
    return {
        "figure_uncertainty": _decimal(row.figure_uncertainty),
        "figure_distribution": row.figure_distribution,
    }


def _lye_discount(batch: Batch) -> dict[str, Any]:
    """Return the lye discount; no key where there is none, as for titrations."""
    discount = batch.lye_discount
    return {"lye_discount": _decimal(discount)} if discount else {}


def _titrations(entries: Entries) -> dict[str, Any]:
    """Return the titrations with their samples; no key where there are none.

    Records signed before titrations were kept have no such key and stay the same.
    """
    listed = [_titration(row) for row in entries.titrations]
    return {"titrations": listed} if listed else {}


def _losses(entries: Entries) -> dict[str, Any]:
    """Return the losses; no key where there are none, as for titrations."""
    listed = [
        {
            "id": row.pk,
            "kind": row.kind,
            "mass_mg": row.mass_mg,
            "half_width_mg": row.half_width_mg,
            "note": row.note,
            **_hand(row),
        }
        for row in entries.losses
    ]
    return {"losses": listed} if listed else {}


def _titration(row: Titration) -> dict[str, Any]:
    return {
        "id": row.pk,
        "kind": row.kind,
        "method": row.method,
        "titrant_concentration": _decimal(row.titrant_concentration),
        "titrant_half_width": _decimal(row.titrant_half_width),
        "burette_half_width": _decimal(row.burette_half_width),
        "scale": row.scale_id,
        "blank_ml": _decimal(row.blank_ml),
        "value": _decimal(row.value),
        "standard_uncertainty": _decimal(row.standard_uncertainty),
        "replicates": [
            {
                "sample_mg": one.sample_mg,
                "volume_ml": _decimal(one.volume_ml),
                "value": _decimal(one.value),
                "is_suspect": one.is_suspect,
                "excluded_because": one.excluded_because,
            }
            for one in row.replicates.all()
        ],
        **_hand(row),
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


def _hand(
    row: Charge | BulkWeighing | Loss | Reading | Titration,
) -> dict[str, Any]:
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


def kept_risk(risk: float | Decimal) -> Decimal:
    """Return a chance, 0 to 1, as a row of a judgement keeps it."""
    return Decimal(risk).quantize(Decimal("0.000001"))


def _digits(value: float) -> str:
    """Return a float as text that is the same on every machine."""
    return f"{value:.6g}"


def _decimal(value: Decimal | None) -> str | None:
    return None if value is None else f"{value.normalize():f}"


def _moment(value: datetime.datetime) -> str:
    return value.astimezone(datetime.UTC).isoformat(timespec="microseconds")
