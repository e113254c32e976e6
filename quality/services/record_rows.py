"""The rows of a batch as its canonical record lists them.

A key that came later is left out where there is nothing, so that older records stay the
same when they are read again.
"""

from __future__ import annotations

import datetime
from decimal import Decimal
from typing import Any

from batches.models import Batch, BulkWeighing, Charge, Loss, Reading, Titration
from batches.services.entries import Entries


def charge_of(row: Charge) -> dict[str, Any]:
    """Return a charge with the figure that it was computed with."""
    return {
        **weighing_of(row),
        "source": row.source.code,
        "line": row.line.position if row.line else None,
        "scale": row.scale_id,
        "certificate_version": row.certificate.version if row.certificate else None,
        "figure": decimal_text(row.figure),
        "figure_origin": row.figure_origin,
        **_known_of_figure(row),
    }


def _known_of_figure(row: Charge) -> dict[str, Any]:
    """Return how well a figure is known; nothing for charges older than that."""
    if row.figure_uncertainty is None:
        return {}
    return {
        "figure_uncertainty": decimal_text(row.figure_uncertainty),
        "figure_distribution": row.figure_distribution,
    }


def lye_discount_of(batch: Batch) -> dict[str, Any]:
    """Return the lye discount; no key where there is none, as for titrations."""
    discount = batch.lye_discount
    return {"lye_discount": decimal_text(discount)} if discount else {}


def titrations_of(entries: Entries) -> dict[str, Any]:
    """Return the titrations with their samples; no key where there are none.

    Records signed before titrations were kept have no such key and stay the same.
    """
    listed = [_titration(row) for row in entries.titrations]
    return {"titrations": listed} if listed else {}


def losses_of(entries: Entries) -> dict[str, Any]:
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
        "titrant_concentration": decimal_text(row.titrant_concentration),
        "titrant_half_width": decimal_text(row.titrant_half_width),
        "burette_half_width": decimal_text(row.burette_half_width),
        "scale": row.scale_id,
        "blank_ml": decimal_text(row.blank_ml),
        "value": decimal_text(row.value),
        "standard_uncertainty": decimal_text(row.standard_uncertainty),
        "replicates": [
            {
                "sample_mg": one.sample_mg,
                "volume_ml": decimal_text(one.volume_ml),
                "value": decimal_text(one.value),
                "is_suspect": one.is_suspect,
                "excluded_because": one.excluded_because,
            }
            for one in row.replicates.all()
        ],
        **_hand(row),
    }


def weighing_of(row: Charge | BulkWeighing) -> dict[str, Any]:
    """Return what any weighing has: its masses, and who entered it."""
    return {
        "id": row.pk,
        "gross_mg": row.gross_mg,
        "tare_mg": row.tare_mg,
        "net_mg": row.net_mg,
        **_hand(row),
    }


def reading_of(row: Reading) -> dict[str, Any]:
    """Return what was read, how, and with which instrument."""
    return {
        "id": row.pk,
        "characteristic": row.characteristic,
        "value": decimal_text(row.value),
        "standard_uncertainty": decimal_text(row.standard_uncertainty),
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
        "entered_at": moment_text(row.entered_at),
        "observed_at": moment_text(row.observed_at),
    }


def digits(value: float) -> str:
    """Return a float as text that is the same on every machine."""
    return f"{value:.6g}"


def decimal_text(value: Decimal | None) -> str | None:
    """Return a decimal as text without its last zeros."""
    return None if value is None else f"{value.normalize():f}"


def moment_text(value: datetime.datetime) -> str:
    """Return a moment in UTC, to the microsecond."""
    return value.astimezone(datetime.UTC).isoformat(timespec="microseconds")
