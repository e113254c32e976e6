"""Builders of bottles that may leave, and of batches that may not be supplied."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from batches.models import Batch, Bottle, Dispatch, FillingLot
from batches.services import labelling
from batches.sheets import USUAL, Placement
from producer.models import Consignee
from quality.services import supplying
from tests import bottling, make
from tests.once import once
from tests.quality import faulty


@once
def filled(crew: make.Crew, batch: Batch | None = None, **changes: Any) -> FillingLot:
    """Return a filling lot of half-litre bottles that may leave.

    Its labels are large ones: the cautions of a spray do not fit on small ones.
    """
    lot = make.filled(crew, batch, **changes)
    largest = max(USUAL, key=lambda sheet: sheet.width * sheet.height)
    bottling.labels_issued(crew, lot, placement=Placement(largest))
    labelling.count_labels(
        by=crew.maker, filling_lot=lot, kind="applied", count=lot.count
    )
    bottling.weighed(crew, lot)
    bottling.released(crew, lot, bottling.NO_SAMPLE)
    return lot


def bottles(
    crew: make.Crew, batch: Batch | None = None, **changes: Any
) -> list[Bottle]:
    """Return the bottles of such a filling lot."""
    return make.bottles_of(filled(crew, batch, **changes))


@once
def conceded(crew: make.Crew, *, ph: str = "10.6") -> Batch:
    """Return a liquid outside its limit of pH 10, released under a concession."""
    batch = make.diluted_batch(crew, ph=ph)
    faulty.closed(crew, batch, "ph", "concession")
    return make.signed(crew.reviewer, batch, "release")


@once
def sent(
    crew: make.Crew, bottles: Sequence[Bottle], consignee: Consignee | None = None
) -> Dispatch:
    """Send bottles to a shop, once their filling lots may leave."""
    for lot in {bottle.filling_lot for bottle in bottles}:
        bottling.may_leave(crew, lot)
    to = consignee or make.consignee(crew.maker)
    return supplying.dispatch(by=crew.maker, bottles=bottles, consignee=to)
