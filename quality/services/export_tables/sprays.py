"""Tanks mixed of a batch for own use, and leaves that were tried first."""

from __future__ import annotations

from collections.abc import Iterator

from batches.models import Batch, PatchTest, SprayMix
from quality.services.export_tables.cells import HAND, Row, Table, hand


def _mixes(batch: Batch) -> Iterator[Row]:
    rows = SprayMix.objects.filter(source=batch.stock).order_by("pk")
    for row in rows.select_related("portion", "entered_by__person"):
        yield (
            batch.number,
            row.code,
            row.portion.number if row.portion else None,
            row.mass_mg,
            row.tank_ul,
            row.target_g_per_l,
            row.hardness,
            row.soap_percent,
            row.molar_mass,
            row.pre_dissolved,
            row.plant,
            row.pest,
            row.where,
            row.weather,
            row.bees,
            row.leftovers,
            row.note,
            *hand(row),
        )


SPRAY_MIXES = Table(
    name="spray_mixes",
    about="tanks mixed for own use; the soap content is what it was reckoned with",
    head=(
        *("batch", "mix", "portion", "mass_mg", "tank_ul", "aimed_at_g_per_l"),
        *("hardness_mmol_per_l", "soap_percent", "molar_mass_g_per_mol"),
        *("is_dissolved_first", "plant", "pest", "place", "weather", "bees"),
        *("leftovers", "note"),
        *HAND,
    ),
    rows=_mixes,
)


def _tests(batch: Batch) -> Iterator[Row]:
    rows = PatchTest.objects.filter(source=batch.stock).order_by("pk")
    for row in rows.select_related("entered_by__person"):
        yield (
            batch.number,
            row.code,
            row.plant,
            row.target_g_per_l,
            row.sprayed_at,
            row.result,
            row.note,
            *hand(row),
        )


PATCH_TESTS = Table(
    name="patch_tests",
    about="one leaf sprayed first, and how it looked a day or two later",
    head=(
        *("batch", "test", "plant", "soap_g_per_l", "sprayed_at", "result", "note"),
        *HAND,
    ),
    rows=_tests,
)
