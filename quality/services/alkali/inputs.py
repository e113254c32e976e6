"""What goes into the alkali balance of a batch: masses, figures, how they are known.

What is shared is one input used several times, so that it is correlated by
construction:

- **A figure.** One certificate, one own titration or one published range stands for
  every mass it was applied to. Two lots of an oil that are both known only by the
  published range share it too: harvests of one year lie at the same end of it, and
  taking them as independent would promise more than is known.
- **The ± of a scale.** Gross less tare on one scale takes away what is the same in
  both, so an offset cancels. What is left of the ± of the register is a display that
  is not straight between tare and gross. How that grows with the load is not known
  from one figure; it is taken whole for each net mass. Whether it has the same sign in
  all of them is not known either. With one sign it adds up over several oils and
  cancels between oils and potash: for potash and three oils on a scale of ± 1 g it
  moves E by u = 0.19 g, and by 0.55 g if each mass has its own. So the result is
  worked out in both ways, and the one with the larger u counts. What lies between the
  two, some masses together and others not, is not searched for.

What is not shared is the rounding of the display: two readings for each net mass,
together triangular with the step as half width (JCGM 100:2008, 4.3.9), u = step/√6.

Floats: see :mod:`quality.statistics.budgets`. Decimals become floats here.
"""

from __future__ import annotations

import dataclasses
import enum
from collections.abc import Hashable
from decimal import Decimal

from batches.models import Batch, Charge, Formula
from batches.services import planning, sources
from batches.services.entries import Entries
from producer.errors import Refusal
from producer.models import Instrument, Material, Stock
from quality.statistics.budgets import Distribution

# While no scale is registered; common practice, no source.
KITCHEN_SCALE_STEP_G = 1.0
# The same as the batch page: with less than a tenth missing a line is weighed.
NEARLY_ALL = Decimal("0.9")


class NotKnownError(Exception):
    """No balance can be made; the message says why, and what to do about it."""


class Role(enum.StrEnum):
    """On which side of the balance a mass stands."""

    POTASH = "potash"
    OIL = "oil"
    ACID = "acid"


ROLE_OF = {
    Material.Kind.POTASH: Role.POTASH,
    Material.Kind.OIL: Role.OIL,
    Material.Kind.ADDITION: Role.ACID,
}


class Knowledge(enum.StrEnum):
    """How a figure is known."""

    CERTIFICATE = "certificate"
    TITRATION = "titration"
    RANGE = "range"
    STOICHIOMETRY = "stoichiometry"


@dataclasses.dataclass(frozen=True, kw_only=True)
class Known:
    """A figure of a lot: g KOH per g for potash and acid, mg KOH per g for an oil.

    ``key`` is the same for figures that are one and the same piece of knowledge.
    """

    value: float
    standard_uncertainty: float
    distribution: Distribution
    origin: str
    knowledge: Knowledge
    key: Hashable


@dataclasses.dataclass(frozen=True, kw_only=True)
class Scale:
    """What the balance needs of a scale, in grams."""

    name: str
    step_g: float
    half_width_g: float


@dataclasses.dataclass(frozen=True, kw_only=True)
class Portion:
    """A net mass in the balance, weighed or still to be weighed."""

    role: Role
    name: str
    code: str
    mass_mg: int
    scale: Scale
    known: Known
    planned: bool


@dataclasses.dataclass(frozen=True, kw_only=True)
class Pot:
    """All that takes part in the balance, and the mass of the paste it is in.

    ``other_mg`` is water and the like. ``paste_mg`` is what came out, or all that goes
    in while that has not been weighed; its own uncertainty is left out, because the
    limits are far coarser. ``cooked`` says whether what came out was weighed.
    """

    portions: list[Portion]
    other_mg: int
    paste_mg: int
    cooked: bool

    def of(self, role: Role) -> list[Portion]:
        """Return the portions on one side of the balance."""
        return [portion for portion in self.portions if portion.role is role]

    @property
    def potash_is_open(self) -> bool:
        """Say whether no potash has been weighed in yet."""
        return all(portion.planned for portion in self.of(Role.POTASH))


def pot_of(entries: Entries, *, to_the_full: bool = False) -> Pot:
    """Return what is in the pot and what the plan still puts in.

    ``to_the_full`` counts the last grams of potash too that are still to be weighed;
    without it, potash of which less than a tenth is missing counts as weighed.

    Raises :class:`NotKnownError` where no balance can be made.
    """
    batch, charges = entries.batch, entries.standing_charges
    _can_be_known(batch, charges)
    portions = [portion_of(row) for row in charges if row.figure is not None]
    other_mg = sum(row.net_mg for row in charges if row.figure is None)
    weighing = entries.weighing
    if weighing is None and batch.is_open:
        plan = planning.plan_of(batch)
        if plan.missing:
            names = ", ".join(plan.missing)
            raise NotKnownError(f"Choose a lot first for: {names}.")
        for line in plan.lines:
            rest = _rest(line, to_the_full=to_the_full)
            portion = _planned(line, rest, charges) if rest else None
            if portion is None:
                other_mg += rest
            else:
                portions.append(portion)
    _has_both_sides(portions)
    went_in = sum(portion.mass_mg for portion in portions) + other_mg
    return Pot(
        portions=portions,
        other_mg=other_mg,
        paste_mg=weighing.net_mg if weighing else went_in,
        cooked=weighing is not None,
    )


def _can_be_known(batch: Batch, charges: list[Charge]) -> None:
    if batch.kind != Formula.Kind.COOK:
        raise NotKnownError("Only a cook has a balance of potash and oils.")
    if batch.is_rework or any(row.source.kind != Stock.Kind.LOT for row in charges):
        raise NotKnownError(
            "A rejected batch goes into this one, and how much alkali or oil it brings"
            " along is not known. Titrate the free alkali of what comes out."
        )


def _has_both_sides(portions: list[Portion]) -> None:
    for role, words in ((Role.OIL, "oil"), (Role.POTASH, "potash")):
        if not any(portion.role is role for portion in portions):
            raise NotKnownError(f"There is no {words} in it, so there is no balance.")


def _rest(line: planning.PlanLine, *, to_the_full: bool) -> int:
    """Return the milligrams of a line that the plan still puts in.

    An oil counts with what was weighed once any was: so the plan computes the potash.
    """
    if line.to_weigh_mg is None or line.remaining_mg is None:
        why = line.origin or "the amount follows from its certificate."
        raise NotKnownError(f"Choose the lot of {line.name} first: {why}")
    if line.kind != Material.Kind.POTASH:
        return 0 if line.charged_mg else line.to_weigh_mg
    nearly = line.charged_mg >= line.to_weigh_mg * NEARLY_ALL
    return line.remaining_mg if to_the_full or not nearly else 0


def portion_of(row: Charge) -> Portion:
    """Return a charge that has a figure as a part of the balance."""
    material = row.source.lot.material
    return Portion(
        role=ROLE_OF[Material.Kind(material.kind)],
        name=material.name,
        code=row.source.code,
        mass_mg=row.net_mg,
        scale=_scale(row.scale),
        known=_of_charge(row),
        planned=False,
    )


def _of_charge(row: Charge) -> Known:
    uncertainty, distribution = row.figure_uncertainty, row.figure_distribution
    origin = row.figure_origin
    if uncertainty is None:  # weighed before uncertainties were recorded
        today = _figure_today(row.source)
        uncertainty = _kept(today.standard_uncertainty)
        distribution = today.distribution
        origin += " (its uncertainty by what is known of the lot today)"
    return _known(
        row.source,
        row.certificate_id,
        (row.figure or Decimal(0), uncertainty),
        distribution,
        origin,
    )


def _planned(
    line: planning.PlanLine, mass_mg: int, charges: list[Charge]
) -> Portion | None:
    """Return what is still to be weighed of a line; None for water and the like.

    Its figure is that of the last charge of the line, as the plan has it, else that of
    the lot chosen.
    """
    last = [row for row in charges if row.line_id == line.line.pk and row.figure]
    scale = last[-1].scale if last else _scale_in_use(charges)
    if last:
        return dataclasses.replace(portion_of(last[-1]), mass_mg=mass_mg, planned=True)
    source, material = line.source, line.line.material
    if source is None or material is None or source.kind != Stock.Kind.LOT:
        return None
    figure = sources.figure_of(planning.lot_of(source))
    if figure is None:
        return None
    return Portion(
        role=ROLE_OF[Material.Kind(material.kind)],
        name=material.name,
        code=source.code,
        mass_mg=mass_mg,
        scale=_scale(scale),
        known=known_of(source, figure),
        planned=True,
    )


def known_of(source: Stock, figure: sources.Figure) -> Known:
    """Return a figure as a charge would keep it, so that both are one knowledge."""
    return _known(
        source,
        figure.certificate.pk if figure.certificate else None,
        (_kept(figure.value), _kept(figure.standard_uncertainty)),
        figure.distribution,
        figure.origin,
    )


def _figure_today(source: Stock) -> sources.Figure:
    try:
        figure = sources.figure_of(planning.lot_of(source))
    except Refusal as refusal:
        raise NotKnownError(refusal.message) from refusal
    if figure is None:
        raise NotKnownError(f"What {source.code} brings along is not known any more.")
    return figure


def _known(
    source: Stock,
    certificate_id: int | None,
    value_and_u: tuple[Decimal, Decimal],
    distribution: str,
    origin: str,
) -> Known:
    value, uncertainty = (part.normalize() for part in value_and_u)
    key: Hashable
    if certificate_id is not None:
        knowledge = Knowledge.CERTIFICATE
        key = (knowledge, certificate_id, value, uncertainty)
    elif origin.startswith(sources.RANGE_WORDS):
        knowledge = Knowledge.RANGE
        key = (knowledge, source.lot.material_id, value, uncertainty)
    else:
        is_titrated = origin.startswith(sources.TITRATION_WORDS)
        knowledge = Knowledge.TITRATION if is_titrated else Knowledge.STOICHIOMETRY
        key = (knowledge, source.pk, value, uncertainty, origin)
    return Known(
        value=float(value),
        standard_uncertainty=float(uncertainty),
        distribution=Distribution(distribution or Distribution.NORMAL),
        origin=origin,
        knowledge=knowledge,
        key=key,
    )


def _kept(number: Decimal) -> Decimal:
    return number.quantize(Decimal("0.000001"))


def _scale(scale: Instrument | None) -> Scale:
    if scale is None:
        return Scale(
            name="a kitchen scale", step_g=KITCHEN_SCALE_STEP_G, half_width_g=0.0
        )
    return Scale(
        name=scale.name,
        step_g=float(scale.resolution),
        half_width_g=float(scale.bias_half_width),
    )


def _scale_in_use(charges: list[Charge]) -> Instrument | None:
    """Return the scale of the last weighing, else the coarsest one in use."""
    if charges:
        return charges[-1].scale
    scales = Instrument.objects.filter(kind=Instrument.Kind.SCALE, in_use=True)
    return scales.order_by("-resolution", "name").first()
