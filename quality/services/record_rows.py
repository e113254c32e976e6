"""The rows of a batch as its canonical record lists them.

A key that came later is left out where there is nothing, so that older records stay the
same when they are read again.
"""

from __future__ import annotations

import datetime
from decimal import Decimal
from typing import Any

from batches.models import (
    Batch,
    BulkWeighing,
    Charge,
    HoldPoint,
    LiquidReading,
    Reading,
    Titration,
    WeighingStart,
)
from batches.services import liquid_readings
from batches.services.entries import Entries, Entry


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
        **_how_of(row),
    }


def _how_of(row: Charge) -> dict[str, Any]:
    """Return how it was weighed; no key for what is not there, as in older records."""
    return {
        **({"by_difference": True} if row.by_difference else {}),
        **container_of(row),
        **({"portion": row.portion.number} if row.portion else {}),
        **vessel_of(row),
        **({"start": row.start_id} if row.start_id is not None else {}),
        **({"passed_over": row.passed_over} if row.passed_over else {}),
    }


def container_of(row: Charge | WeighingStart) -> dict[str, str]:
    """Return the container it came from; no key where none is named."""
    return {"container": row.container.code} if row.container else {}


def vessel_of(row: Charge | BulkWeighing | WeighingStart) -> dict[str, int]:
    """Return the vessel it was weighed in; no key where none is named."""
    return {} if row.vessel_id is None else {"vessel": row.vessel_id}


def hold_points_of(entries: Entries) -> dict[str, Any]:
    """Return the hold points as they were found; no key where there are none."""
    listed = [_hold_point(row) for row in entries.hold_points]
    return {"hold_points": listed} if listed else {}


def _hold_point(row: HoldPoint) -> dict[str, Any]:
    tare = row.tare
    return {
        "id": row.pk,
        "point": row.point,
        "in_order": row.in_order,
        "found": row.found,
        "note": row.note,
        "scale": row.scale_id,
        **({"vessel": tare.vessel_id, "empty_mg": tare.mass_mg} if tare else {}),
        **_hand(row),
    }


def starts_of(entries: Entries) -> dict[str, Any]:
    """Return the weighings that were begun; no key where there are none."""
    listed = [
        {
            "id": row.pk,
            "source": row.source.code,
            "scale": row.scale_id,
            "first_mg": row.first_mg,
            "by_difference": row.by_difference,
            **container_of(row),
            **vessel_of(row),
            **_hand(row),
        }
        for row in entries.starts
    ]
    return {"starts": listed} if listed else {}


def sheets_of(entries: Entries) -> dict[str, Any]:
    """Return the paper sheets that were copied from; no key where there are none."""
    listed = [
        {
            "id": sheet.pk,
            "note": sheet.note,
            "photograph_sha256": sheet.attachment.sha256 if sheet.attachment else None,
            "entered_by": sheet.entered_by_id,
            "entered_at": moment_text(sheet.entered_at),
        }
        for sheet in entries.sheets
    ]
    return {"sheets": listed} if listed else {}


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


def liquid_readings_of(entries: Entries) -> dict[str, Any]:
    """Return hardness and density; no key where there are none, as for titrations.

    Only what was measured while the record was open.
    """
    rows = liquid_readings.of_record(entries.batch, entries.liquid_readings)
    listed = [
        {
            "id": row.pk,
            "kind": row.kind,
            "value": decimal_text(row.value),
            "half_width": decimal_text(row.half_width),
            "temperature": decimal_text(row.temperature),
            "method": row.method,
            "instrument": row.instrument_id,
            **_hand(row),
        }
        for row in rows
    ]
    return {"liquid_readings": listed} if listed else {}


def _titration(row: Titration) -> dict[str, Any]:
    return {
        "id": row.pk,
        "kind": row.kind,
        "method": row.method,
        "titrant_concentration": decimal_text(row.titrant_concentration),
        "titrant_half_width": decimal_text(row.titrant_half_width),
        "burette_half_width": decimal_text(row.burette_half_width),
        "scale": row.scale_id,
        **({"indicator": row.indicator_id} if row.indicator_id is not None else {}),
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


def _hand(row: Entry) -> dict[str, Any]:
    sheet = None if isinstance(row, Titration | LiquidReading) else row.transcription_id
    return {
        **({"sheet": sheet} if sheet is not None else {}),
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
