"""What closes a filling: its mass, the samples kept of it, and its release."""

from __future__ import annotations

from collections.abc import Iterator

from batches.models import (
    Batch,
    FillingBalance,
    FillingRelease,
    RetainedSample,
    SampleLook,
)
from producer.models.journal import canonical
from quality.services.export_tables.cells import WHEN, Row, Table


def _balances(batch: Batch) -> Iterator[Row]:
    rows = FillingBalance.objects.filter(filling_lot__batch=batch)
    for row in rows.select_related("filling_lot", "entered_by__person").order_by("pk"):
        lot = row.filling_lot
        yield (
            batch.number,
            lot.code,
            row.planned,
            lot.count,
            row.before_mg,
            lot.filled_mg,
            lot.loss_mg,
            row.sample_mg,
            row.rest_mg,
            row.unexplained_mg,
            row.reason,
            row.temperature,
            row.observed_at,
            row.entered_at,
            row.entered_by.person.name,
        )


FILLING_BALANCES = Table(
    name="filling_balances",
    about="where the mass of each filling went: before = filled + lost + sample + rest"
    " + unexplained; rest is empty where it was not weighed, and is then by the book",
    head=(
        *("batch", "filling_lot", "planned", "filled", "before_mg", "filled_mg"),
        *("loss_mg", "sample_mg", "rest_mg", "unexplained_mg", "unexplained_is"),
        *("temperature_c", *WHEN),
    ),
    rows=_balances,
)


def _samples(batch: Batch) -> Iterator[Row]:
    rows = RetainedSample.objects.filter(filling_lot__batch=batch).select_related(
        "filling_lot", "bottle", "place", "entered_by__person"
    )
    for row in rows.order_by("pk"):
        yield (
            batch.number,
            row.filling_lot.code,
            row.pk,
            row.bottle.code if row.bottle else "",
            row.mass_mg,
            row.place.name,
            row.look_on,
            row.note,
            row.observed_at,
            row.entered_at,
            row.entered_by.person.name,
        )


RETAINED_SAMPLES = Table(
    name="retained_samples",
    about="bottles and jars kept of a filling lot, and the day to look at them first",
    head=(
        *("batch", "filling_lot", "id", "bottle", "mass_mg", "place", "look_on"),
        *("note", *WHEN),
    ),
    rows=_samples,
)


def _looks(batch: Batch) -> Iterator[Row]:
    rows = SampleLook.objects.filter(sample__filling_lot__batch=batch).select_related(
        "sample__filling_lot", "entered_by__person"
    )
    for row in rows.order_by("pk"):
        yield (
            batch.number,
            row.sample.filling_lot.code,
            row.pk,
            row.sample_id,
            row.state,
            row.found,
            row.look_on,
            row.supersedes_id,
            row.is_void,
            row.reason,
            row.observed_at,
            row.entered_at,
            row.entered_by.person.name,
        )


SAMPLE_LOOKS = Table(
    name="sample_looks",
    about="what was found in kept samples later, and the next day to look; “sample” is"
    " the id in retained_samples.csv",
    head=(
        *("batch", "filling_lot", "id", "sample", "state", "found", "look_on"),
        *("supersedes", "is_taken_back", "reason", *WHEN),
    ),
    rows=_looks,
)


def _releases(batch: Batch) -> Iterator[Row]:
    rows = FillingRelease.objects.filter(filling_lot__batch=batch)
    for row in rows.select_related("filling_lot", "entered_by__person").order_by("pk"):
        yield (
            batch.number,
            row.filling_lot.code,
            row.self_reviewed,
            row.note,
            canonical(row.facts),
            row.observed_at,
            row.entered_at,
            row.entered_by.person.name,
        )


FILLING_RELEASES = Table(
    name="filling_releases",
    about="who let the bottles of a filling lot leave, and what was looked at, as JSON",
    head=("batch", "filling_lot", "self_reviewed", "note", "facts", *WHEN),
    rows=_releases,
)
