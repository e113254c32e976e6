"""What the batch was measured with and held against."""

from __future__ import annotations

from collections.abc import Iterator

from django.db.models import Q, QuerySet

from batches import trace
from batches.models import Batch
from batches.services.entries import Entries
from producer.models import Instrument
from quality.models import FillCheck, InstrumentCheck, Limit
from quality.services.export_tables.cells import WHEN, Row, Table


def _used(batch: Batch) -> QuerySet[Instrument]:
    """Return what any entry was weighed or read with, superseded ones too."""
    entries = Entries(batch)
    ids: set[int | None] = {row.instrument_id for row in entries.readings}
    ids |= {row.scale_id for row in entries.charges}
    ids |= {row.scale_id for row in entries.weighings}
    ids |= {row.scale_id for row in entries.titrations}
    ids |= {row.indicator_id for row in entries.titrations}
    ids |= {row.scale_id for row in entries.hold_points}
    ids |= {row.scale_id for row in entries.starts}
    fills = FillCheck.objects.filter(filling_lot__batch=batch).order_by()
    ids |= set(fills.values_list("scale", flat=True))
    known = [pk for pk in ids if pk is not None]
    return Instrument.objects.filter(pk__in=known).order_by("pk")


def _instruments(batch: Batch) -> Iterator[Row]:
    for row in _used(batch):
        yield (
            batch.number,
            row.pk,
            row.kind,
            row.name,
            row.serial_or_lot,
            row.resolution,
            row.bias_half_width,
            row.nominal,
            row.check_every_days,
            row.opened_on,
            row.days_after_opening,
            row.expires_on,
            row.in_use,
        )


INSTRUMENTS = Table(
    name="instruments",
    about="what it was weighed and read with, as the register says today; step and ± in"
    " g of a scale, °C of a thermometer, else pH; nominal is what a check weight (g) or"
    " a buffer (pH at 25 °C) stands for",
    head=(
        *("batch", "instrument", "kind", "name", "serial_or_lot", "step"),
        *("half_width", "nominal", "check_every_days", "opened_on"),
        *("days_after_opening", "expires_on", "in_use"),
    ),
    rows=_instruments,
)


def _name(instrument: Instrument | None) -> str:
    return instrument.name if instrument else ""


def _checks(batch: Batch) -> Iterator[Row]:
    rows = InstrumentCheck.objects.filter(instrument__in=_used(batch))
    rows = rows.select_related(
        "entered_by__person", "reference_instrument", "second_reference_instrument"
    )
    for row in rows.order_by("instrument", "observed_at", "pk"):
        yield (
            batch.number,
            row.instrument_id,
            row.pk,
            row.against,
            _name(row.reference_instrument),
            _name(row.second_reference_instrument),
            row.reference,
            row.shown,
            row.second_reference,
            row.second_shown,
            row.temperature,
            row.reference_half_width,
            row.tolerance,
            row.passed,
            row.sentence,
            row.note,
            row.observed_at,
            row.entered_at,
            row.entered_by.person.name,
        )


INSTRUMENT_CHECKS = Table(
    name="instrument_checks",
    about="every check of those instruments, in the unit of the instrument",
    head=(
        *("batch", "instrument", "id", "against", "reference_instrument"),
        *("second_reference_instrument", "reference", "shown"),
        *("second_reference", "second_shown", "temperature_c"),
        *("reference_half_width", "tolerance", "passed", "in_words", "note", *WHEN),
    ),
    rows=_checks,
)


def _limits(batch: Batch) -> Iterator[Row]:
    materials = {lot.material_id for lot in trace.trace(batch.stock).lots}
    rows = Limit.objects.filter(
        Q(formula_version=batch.formula_version_id) | Q(material__in=materials)
    ).select_related("material", "entered_by__person")
    for row in rows.order_by("pk"):
        yield (
            batch.number,
            row.material.name if row.material else "",
            row.characteristic,
            row.version,
            row.lower,
            row.upper,
            row.method,
            row.rule,
            row.effect,
            row.reason,
            row.observed_at,
            row.entered_at,
            row.entered_by.person.name,
        )


LIMITS = Table(
    name="limits",
    about="every version of the limits of its formula version, and of the materials in"
    " it, with who set them; material is empty for a limit of the formula",
    head=(
        *("batch", "material", "characteristic", "version", "lower", "upper"),
        *("method", "rule", "effect", "reason", *WHEN),
    ),
    rows=_limits,
)
