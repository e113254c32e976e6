"""The log of sprays for own use: on paper, and as open data."""

from __future__ import annotations

import dataclasses
import datetime
from collections.abc import Iterator
from decimal import Decimal

from django.db.models import QuerySet
from django.utils import timezone

from batches.models import PatchTest, SprayMix
from producer import prints
from producer.csv_lines import lines, safe_cell
from producer.models import Premises
from quality.services.spray_mixes import rate_of

MOST_PRINTED = 500  # tanks; more are for the table of a computer
CSV_HEAD = (
    "mix",
    "sprayed_at",
    "plant",
    "pest",
    "place",
    "product_batch",
    "aimed_at_g_per_l",
    "left_to_work_g_per_l",
    "product_mg",
    "tank_ml",
    "hardness_mmol_per_l",
    "soap_percent",
    "dissolved_first",
    "weather",
    "bees",
    "leftovers",
    "note",
    "corrected",
    "entered_by",
)


@dataclasses.dataclass(frozen=True)
class Line:
    """A mix, and what soap it has left to work in g/l."""

    mix: SprayMix
    rate: Decimal


def standing_mixes() -> QuerySet[SprayMix]:
    """Return the mixes that stand, newest first."""
    rows = SprayMix.objects.current().order_by("-observed_at", "-pk")
    return rows.select_related("source", "entered_by__person", "portion")


def standing_tests() -> QuerySet[PatchTest]:
    """Return the patch tests that stand, newest first."""
    rows = PatchTest.objects.current().order_by("-sprayed_at", "-pk")
    return rows.select_related("source", "entered_by__person")


def log_csv() -> Iterator[str]:
    """Return one line a mix, newest first; memory stays bounded."""
    rows = standing_mixes().iterator(chunk_size=2000)
    zone = Premises.objects.get().zone
    return lines(
        CSV_HEAD, ([safe_cell(one) for one in _row(row, zone)] for row in rows)
    )


def _row(row: SprayMix, zone: datetime.tzinfo) -> tuple[str, ...]:
    return (
        row.code,
        timezone.localtime(row.observed_at, zone).isoformat(timespec="minutes"),
        row.plant,
        row.pest,
        row.where,
        row.source.code,
        str(row.target_g_per_l),
        f"{rate_of(row):.2f}",
        str(row.mass_mg),
        str(Decimal(row.tank_ul) / 1000),
        str(row.hardness),
        str(row.soap_percent),
        "yes" if row.pre_dissolved else "no",
        row.weather,
        row.bees,
        row.leftovers,
        row.note,
        "yes" if row.supersedes_id else "no",
        row.entered_by.person.name,
    )


def log_pdf(*, printed_by: str) -> bytes:
    """Return the log on paper, the newest :data:`MOST_PRINTED` mixes at most."""
    mixes = standing_mixes()
    count = mixes.count()
    printed = [Line(row, rate_of(row)) for row in mixes[:MOST_PRINTED]]
    return prints.pdf(
        "quality/sprays_print.html",
        {
            "lines": printed,
            "count": count,
            "left_out": count - len(printed),
            "tests": standing_tests()[:MOST_PRINTED],
        },
        printed_by=printed_by,
    )
