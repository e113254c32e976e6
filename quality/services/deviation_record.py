"""The canonical record of a deviation: what its closing step signs.

``facts`` are the deviation and every step before the closing one, read from rows that
are never changed; ``decision`` is the closing step; ``words`` are names as they were on
the day, for people, and are never compared.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from typing import Any

from producer.models.journal import canonical
from quality.models import Deviation, DeviationStep
from quality.services.deviations import name_of

FORMAT = "kettlebook deviation record 1"


def facts_of(deviation: Deviation) -> dict[str, Any]:
    """Return the deviation with the steps that lead up to its decision."""
    steps = deviation.steps.exclude(kind=DeviationStep.Kind.CLOSED).order_by("pk")
    return {
        "code": deviation.code,
        "stock": deviation.stock.code if deviation.stock else None,
        "instrument": deviation.instrument_id,
        "characteristic": deviation.characteristic,
        "classification": deviation.classification,
        "what": deviation.what,
        **_hand(deviation),
        "steps": [
            {
                "id": step.pk,
                "kind": step.kind,
                "text": step.text,
                "classification": step.classification,
                **_hand(step),
            }
            for step in steps
        ],
    }


def decision_of(
    closing: DeviationStep, beside: Mapping[str, Any] | None = None
) -> dict[str, Any]:
    """Return who decided what, when and on which conditions.

    ``beside`` is what stands with the name, see :mod:`quality.services.signers`.
    """
    return {
        **(beside or {}),
        "decision": closing.decision,
        "text": closing.text,
        "signer": closing.entered_by_id,
        "printed_name": closing.printed_name,
        "self_reviewed": closing.self_reviewed,
        "signed_at": _moment(closing.observed_at),
    }


def canonical_record(
    closing: DeviationStep, beside: Mapping[str, Any] | None = None
) -> str:
    """Return the record as canonical JSON: sorted keys, no blanks, UTF-8."""
    deviation = closing.deviation
    return canonical(
        {
            "format": FORMAT,
            "facts": facts_of(deviation),
            "decision": decision_of(closing, beside),
            "words": {
                "of": name_of(deviation),
                "characteristic": deviation.get_characteristic_display(),
                "decision": closing.get_decision_display(),
                "opened_by": deviation.entered_by.person.name,
            },
        }
    )


def _hand(row: Deviation | DeviationStep) -> dict[str, Any]:
    return {
        "entered_by": row.entered_by_id,
        "entered_at": _moment(row.entered_at),
        "observed_at": _moment(row.observed_at),
    }


def _moment(value: datetime.datetime) -> str:
    return value.astimezone(datetime.UTC).isoformat(timespec="microseconds")
