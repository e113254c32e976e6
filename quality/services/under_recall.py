"""Which bottles a real recall covers: what is recovered in one must be under one."""

from __future__ import annotations

from collections.abc import Sequence

from batches.models import Bottle
from quality.services.recalling import recalls_of_bottle


def recalled(bottles: Sequence[Bottle]) -> set[int]:
    """Return the ids of those of these bottles that a real recall covers, open or past.

    Asked once for each filling lot: what is in its bottles is the same.
    """
    by_lot = {bottle.filling_lot_id: bottle for bottle in bottles}
    covered = {lot for lot, one in by_lot.items() if recalls_of_bottle(one)}
    return {one.pk for one in bottles if one.filling_lot_id in covered}
