"""What the services about liquids and portions take in a scene of their own."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import Any

from batches.services import liquid_readings, portions
from tests import liquids, make

Facts = dict[str, Any]


def _aside(cast: Any) -> Facts:
    batch = make.cooked_batch(cast.crew)
    return {"by": cast.crew.maker, "batch": batch, "mass_mg": 5}


def _amended(cast: Any) -> Facts:
    row = liquids.set_aside(cast.crew, make.cooked_batch(cast.crew))
    facts = {"mass_mg": 4_000, "purpose": "gifts", "reason": "it was less"}
    return {"by": cast.crew.maker, "portion": row, **facts}


def _reading(cast: Any) -> Facts:
    batch = make.open_batch(cast.crew, make.liquid_version(cast.crew))
    facts = {"kind": "hardness", "value": Decimal(2), "method": "drop test"}
    return {"by": cast.crew.maker, "batch": batch, **facts}


def _corrected(cast: Any) -> Facts:
    row = liquid_readings.record(**_reading(cast))
    facts = {"value": Decimal("2.1"), "reason": "one drop more"}
    return {"by": cast.crew.maker, "reading": row, **facts}


SERVICES: Mapping[Callable[..., Any], Callable[[Any], Facts]] = {
    portions.set_aside: _aside,
    portions.amend_portion: _amended,
    liquid_readings.record: _reading,
    liquid_readings.amend: _corrected,
}
