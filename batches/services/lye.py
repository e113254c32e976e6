"""The lye of a batch: how strong, whether it dissolves, how hot it gets.

From what is weighed so far and, for the rest, from the plan. The thermophysics is in
floats; here the Decimals of the ledger become floats and the answers become Decimals.
"""

from __future__ import annotations

import dataclasses
import math
from decimal import Decimal

from batches.chemistry import heat, lye
from batches.chemistry.errors import ChemistryError, OutOfRangeError
from batches.models import Batch, Charge, Formula
from batches.services import sources
from batches.services.planning import Plan, PlanLine, lot_of
from producer.models import Material
from producer.quantities import grams, milligrams

START_C = Decimal(20)
WARMEST_TARGET_C = Decimal(95)
CLOSE_C = Decimal(80)  # from here on a splash or a lump is as bad as boiling


@dataclasses.dataclass(frozen=True, kw_only=True)
class Lye:
    """What to expect of the lye of a batch, mixed from 20 °C.

    ``low_c`` and ``high_c`` are the lower and the upper figure of how hot it gets;
    None where it boils. ``target_c`` is the hottest that the formula allows;
    ``more_water_mg`` is the least water that keeps the upper figure there and
    ``water_c`` how warm the water of the plan may be for it, None if none is cold
    enough. ``not_known`` says what the data do not cover, or is empty.
    """

    potash_mg: int
    water_mg: int
    strength_percent: Decimal
    dissolves: bool
    density: Decimal | None = None
    volume_ul: int | None = None
    low_c: Decimal | None = None
    high_c: Decimal | None = None
    low_boils: bool = False
    high_boils: bool = False
    target_c: Decimal | None = None
    more_water_mg: int | None = None
    water_c: Decimal | None = None
    not_known: str = ""

    @property
    def is_hot(self) -> bool:
        """Say whether it boils, comes close to it, or nobody can tell."""
        return (
            self.high_boils
            or bool(self.not_known)
            or (self.high_c is not None and self.high_c >= CLOSE_C)
        )

    @property
    def is_over_target(self) -> bool:
        """Say whether the upper figure is above what the formula allows."""
        if self.target_c is None:
            return False
        return self.high_boils or (self.high_c or Decimal(0)) > self.target_c


@dataclasses.dataclass(frozen=True)
class NoLye:
    """Why nothing can be said of the lye yet."""

    why: str


def lye_of(batch: Batch, plan: Plan) -> Lye | NoLye | None:
    """Return what to expect of a batch's lye; None for what takes no potash.

    ``plan`` is that of the batch. Every line of water counts as water for the lye.
    """
    if batch.kind != Formula.Kind.COOK:
        return None
    # A formula for a cook has one line of potash and at least one of water.
    potash = next(line for line in plan.lines if line.kind == Material.Kind.POTASH)
    potash_mg = _mass(potash)
    if potash_mg is None:
        return NoLye("The lye is computed when every oil and the potash has its lot.")
    water_mg = sum(
        _mass(line) or 0 for line in plan.lines if line.kind == Material.Kind.WATER
    )
    if not potash_mg or not water_mg:
        return NoLye("By this plan there is too little potash or water to weigh.")
    return _expected(batch, potash_mg, water_mg, _hydroxide(batch, potash))


def _mass(line: PlanLine) -> int | None:
    """Return what will be in the pot of a line: weighed, and still to be weighed."""
    if line.remaining_mg is None:
        return line.charged_mg or None
    return line.charged_mg + line.remaining_mg


def _hydroxide(batch: Batch, line: PlanLine) -> Decimal:
    """Return grams of KOH of a line, each mass with the figure that counts for it."""
    charges = Charge.objects.current().filter(batch=batch, line=line.line)
    found = Decimal(0)
    last: Decimal | None = None
    for charge in charges:
        last = charge.figure or Decimal(0)
        found += grams(charge.net_mg) * last
    if line.remaining_mg:
        if last is None and line.source is not None:
            last = sources.potash_fraction(lot_of(line.source)).value
        found += grams(line.remaining_mg) * (last or Decimal(0))
    return found


def _expected(batch: Batch, potash_mg: int, water_mg: int, koh_g: Decimal) -> Lye:
    usable = koh_g / grams(potash_mg)
    share = lye.lye_strength(
        potash_g=grams(potash_mg), usable_fraction=usable, water_g=grams(water_mg)
    )
    known = Lye(
        potash_mg=potash_mg,
        water_mg=water_mg,
        strength_percent=share * 100,
        dissolves=lye.dissolves(float(share), float(START_C)),
    )
    try:
        known = _with_volume(known, float(share))
        return _with_heat(batch, known, float(usable))
    except ChemistryError as error:
        return dataclasses.replace(known, not_known=str(error))


def _with_volume(known: Lye, share: float) -> Lye:
    density = lye.density(share, float(START_C))
    mass_g = grams(known.potash_mg + known.water_mg)
    volume_ml = lye.volume(float(mass_g), share, float(START_C))
    return dataclasses.replace(
        known, density=Decimal(density), volume_ul=round(volume_ml) * 1000
    )


def _with_heat(batch: Batch, known: Lye, usable: float) -> Lye:
    potash_g, water_g = float(grams(known.potash_mg)), float(grams(known.water_mg))
    found = heat.heating(
        potash_g=potash_g,
        usable_fraction=usable,
        water_g=water_g,
        start_c=float(START_C),
    )
    target = min(batch.formula_version.temperature_limit, WARMEST_TARGET_C)
    known = dataclasses.replace(
        known,
        low_c=_degrees(found.low),
        high_c=_degrees(found.high),
        low_boils=found.low.boils,
        high_boils=found.high.boils,
        target_c=target,
    )
    if not known.is_over_target:
        return known
    return _with_advice(known, usable, float(target))


def _with_advice(known: Lye, usable: float, target: float) -> Lye:
    potash_g, water_g = float(grams(known.potash_mg)), float(grams(known.water_mg))
    try:
        least = heat.water_to_stay_under(
            potash_g=potash_g, usable_fraction=usable, limit_c=target
        )
        warmest = heat.water_temperature_to_stay_under(
            potash_g=potash_g, usable_fraction=usable, water_g=water_g, limit_c=target
        )
    except OutOfRangeError:  # a formula that allows no more than room temperature
        return known
    return dataclasses.replace(
        known,
        more_water_mg=milligrams(Decimal(math.ceil(least))),
        water_c=None if warmest is None else Decimal(warmest),
    )


def _degrees(found: heat.Peak) -> Decimal | None:
    return None if found.temperature_c is None else Decimal(found.temperature_c)
