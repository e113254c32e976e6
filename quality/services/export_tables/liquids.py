"""What is measured of a liquid, and the portions of a bulk product."""

from __future__ import annotations

from collections.abc import Iterator

from batches.models import Batch, Portion
from batches.services.entries import WHO, Entries
from batches.services.portion_books import portions_of
from quality.services.export_tables.cells import HAND, Row, Table, hand


def _readings(batch: Batch) -> Iterator[Row]:
    for row in Entries(batch).liquid_readings:
        yield (
            batch.number,
            row.kind,
            row.value,
            row.half_width,
            row.temperature,
            row.method,
            row.instrument.name if row.instrument else "",
            *hand(row),
        )


LIQUID_READINGS = Table(
    name="liquid_readings",
    about="hardness of the water of a liquid (mmol/l) and its density (g/ml, at the"
    " temperature beside it); a density may be of after the signature",
    head=(
        *("batch", "kind", "value", "half_width", "temperature_celsius"),
        *("method", "instrument", *HAND),
    ),
    rows=_readings,
)


def _portions(batch: Batch) -> Iterator[Row]:
    left = {one.portion.pk: one.left_mg for one in portions_of(batch)}
    rows = Portion.objects.filter(batch=batch).select_related("place", *WHO)
    for row in rows:
        yield (
            batch.number,
            row.number,
            row.mass_mg,
            left.get(row.pk),
            row.place.name if row.place else "",
            row.purpose,
            *hand(row),
        )


PORTIONS = Table(
    name="portions",
    about="shares of a batch in a tub of their own; left_mg is what is left of it now",
    head=(
        *("batch", "portion", "mass_mg", "left_mg", "place", "purpose"),
        *HAND,
    ),
    rows=_portions,
)
