"""Valid forms about samples that are kept: see acts_table."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from batches.models import SampleLook
from tests import make
from tests.doors.world import Arguments, World

Where = Callable[[World, make.Crew], tuple[Arguments, Mapping[str, Any]]]
MAKER, REVIEWER = "maker", "reviewer"
WHY = {"reason": "as the test wants it"}


def looked(world: World, crew: make.Crew) -> tuple[Arguments, Mapping[str, Any]]:
    """A jar that is cloudy now."""
    lot = world.filling_lot
    sample = lot.samples.latest("pk")
    return (lot.code, sample.pk), {"state": "changed", "found": "cloudy"}


def of_look(**fields: Any) -> Where:
    """Return a form about the look there was."""

    def where(world: World, crew: make.Crew) -> tuple[Arguments, Mapping[str, Any]]:
        row = SampleLook.objects.current().latest("pk")
        return (world.filling_lot.code, row.pk), {**WHY, **fields}

    return where


ROWS: tuple[tuple[str, str, Where], ...] = (
    ("batches:sample_look", REVIEWER, looked),
    ("batches:sample_look_amend", MAKER, of_look(found="clear, a little darker")),
    ("batches:sample_look_void", MAKER, of_look()),
)
