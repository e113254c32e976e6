"""What was weighed, read and titrated, and how the batch moved."""

from __future__ import annotations

from collections.abc import Iterator

from batches.models import Batch
from batches.services.entries import Entries
from batches.services.results import yield_of
from producer.models import Material, RawLot
from quality.services.export_tables.cells import HAND, Row, Table, hand

FIGURE_UNITS: dict[str, str] = {
    Material.Kind.POTASH: "g KOH per g",
    Material.Kind.OIL: "mg KOH per g",
    Material.Kind.ADDITION: "g KOH taken up per g",
}


def _batch(batch: Batch) -> Iterator[Row]:
    entries = Entries(batch)
    result = yield_of(batch, entries)
    yield (
        batch.number,
        batch.kind,
        batch.formula_version.formula.name,
        batch.formula_version.version,
        batch.status,
        batch.is_rework,
        batch.basis_mg,
        batch.lye_discount,
        batch.maker.person.name,
        batch.opened_at,
        batch.entered_at,
        result.theoretical_mg,
        result.actual_mg,
        sum(row.supersedes_id is not None for row in entries),
    )


BATCHES = Table(
    name="batches",
    about="one line a batch; amended counts its corrected entries",
    head=(
        *("batch", "kind", "formula", "formula_version", "status", "is_rework"),
        *("basis_mg", "lye_discount_share", "maker", "opened_at", "entered_at"),
        *("theoretical_mg", "actual_mg", "amended"),
    ),
    rows=_batch,
)


def _changes(batch: Batch) -> Iterator[Row]:
    for row in batch.status_changes.select_related("entered_by__person"):
        yield (
            batch.number,
            row.old,
            row.new,
            row.reason,
            row.entered_at,
            row.entered_by.person.name,
        )


STATUS_CHANGES = Table(
    name="status_changes",
    about="each move in the life of a batch",
    head=("batch", "old", "new", "reason", "entered_at", "entered_by"),
    rows=_changes,
)


def _charges(batch: Batch) -> Iterator[Row]:
    for row in Entries(batch).charges:
        lot: RawLot | None = getattr(row.source, "lot", None)
        yield (
            batch.number,
            row.source.code,
            lot.material.name if lot else "",
            row.gross_mg,
            row.tare_mg,
            row.net_mg,
            row.scale.name,
            row.certificate.version if row.certificate else None,
            row.figure,
            FIGURE_UNITS.get(lot.material.kind, "") if lot and row.figure else "",
            row.figure_uncertainty,
            row.figure_distribution,
            row.figure_origin,
            row.by_difference,
            row.container.code if row.container else "",
            row.portion.number if row.portion else None,
            row.vessel.name if row.vessel else "",
            row.start_id,
            row.passed_over,
            row.transcription_id,
            *hand(row),
        )


CHARGES = Table(
    name="charges",
    about="what was weighed in, with the figure of the day it was computed with; by"
    " difference, gross is the container before and tare the same one after",
    head=(
        *("batch", "source", "material", "gross_mg", "tare_mg", "net_mg", "scale"),
        *("certificate_version", "figure", "figure_unit"),
        *("figure_standard_uncertainty", "figure_distribution", "figure_origin"),
        *("by_difference", "container", "portion", "vessel", "weighing_begun"),
        *("passed_over", "paper_sheet", *HAND),
    ),
    rows=_charges,
)


def _readings(batch: Batch) -> Iterator[Row]:
    for row in Entries(batch).readings:
        yield (
            batch.number,
            row.characteristic,
            row.value,
            row.standard_uncertainty,
            row.clarity,
            row.method,
            row.instrument.name if row.instrument else "",
            row.transcription_id,
            *hand(row),
        )


READINGS = Table(
    name="readings",
    about="temperature (°C), pH by its method, clarity",
    head=(
        *("batch", "characteristic", "value", "standard_uncertainty", "clarity"),
        *("method", "instrument", "paper_sheet", *HAND),
    ),
    rows=_readings,
)


def _titrations(batch: Batch) -> Iterator[Row]:
    for row in Entries(batch).titrations:
        yield (
            batch.number,
            row.kind,
            row.method,
            row.value,
            row.standard_uncertainty,
            row.titrant_concentration,
            row.titrant_half_width,
            row.burette_half_width,
            row.blank_ml,
            row.scale.name if row.scale else "",
            row.indicator.name if row.indicator else "",
            row.sentence,
            *hand(row),
        )


TITRATIONS = Table(
    name="titrations",
    about="titrations of what the batch made; value in % KOH for free alkali",
    head=(
        *("batch", "kind", "method", "value", "standard_uncertainty"),
        *("titrant_mol_per_l", "titrant_half_width_mol_per_l"),
        *("burette_half_width_ml", "blank_ml", "scale", "indicator", "in_words"),
        *HAND,
    ),
    rows=_titrations,
)


def _replicates(batch: Batch) -> Iterator[Row]:
    for row in Entries(batch).titrations:
        for one in row.replicates.all():
            yield (
                batch.number,
                row.pk,
                one.number,
                one.sample_mg,
                one.volume_ml,
                one.second_volume_ml,
                one.value,
                one.is_suspect,
                one.excluded_because,
            )


TITRATION_SAMPLES = Table(
    name="titration_samples",
    about="the samples of each titration",
    head=(
        *("batch", "titration", "number", "sample_mg", "volume_ml"),
        *("second_volume_ml", "value", "stands_out", "excluded_because"),
    ),
    rows=_replicates,
)


def _weighings(batch: Batch) -> Iterator[Row]:
    for row in Entries(batch).weighings:
        masses = (row.gross_mg, row.tare_mg, row.net_mg)
        vessel = row.vessel.name if row.vessel else ""
        yield (
            batch.number,
            *masses,
            row.scale.name,
            vessel,
            row.transcription_id,
            *hand(row),
        )


WEIGHINGS = Table(
    name="weighings",
    about="what came out, on the scale",
    head=(
        *("batch", "gross_mg", "tare_mg", "net_mg", "scale", "vessel"),
        *("paper_sheet", *HAND),
    ),
    rows=_weighings,
)


def _losses(batch: Batch) -> Iterator[Row]:
    for row in Entries(batch).losses:
        masses = (row.mass_mg, row.half_width_mg)
        yield (
            batch.number,
            row.kind,
            *masses,
            row.note,
            row.transcription_id,
            *hand(row),
        )


LOSSES = Table(
    name="losses",
    about="what was lost, and how well that is known",
    head=(
        *("batch", "kind", "mass_mg", "half_width_mg", "note", "paper_sheet"),
        *HAND,
    ),
    rows=_losses,
)
