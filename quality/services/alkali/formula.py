"""The alkali balance as a formula of its inputs, ready for a budget or for draws."""

from __future__ import annotations

import dataclasses
from collections import Counter
from collections.abc import Hashable
from typing import Any

from batches.chemistry import excess as chemistry
from quality.services.alkali.inputs import Knowledge, Portion, Pot, Role, Scale
from quality.statistics.budgets import (
    Budget,
    Quantity,
    budget,
    rectangular,
    triangular,
)

FIGURE_NAMES = {
    Role.POTASH: "usable share",
    Role.OIL: "saponification value",
    Role.ACID: "KOH taken up",
}
FIGURE_UNITS = {Role.POTASH: "g/g", Role.OIL: "mg/g", Role.ACID: "g/g"}
# What makes a figure better, by its role and by how it is known.
ADVICE = {
    (Role.OIL, Knowledge.RANGE): (
        "known only as a published range: ask for a certificate of the lot, or titrate"
        " it"
    ),
    (Role.OIL, Knowledge.CERTIFICATE): "known by its certificate: titrate it yourself",
    (Role.OIL, Knowledge.TITRATION): "known by a titration: titrate more samples",
    (Role.POTASH, Knowledge.CERTIFICATE): (
        "known by its certificate: ask what the assay counts and how well, or titrate"
        " it to two end points"
    ),
    (Role.POTASH, Knowledge.TITRATION): "known by a titration: titrate more samples",
}
OTHERWISE = "ask for its certificate"
CHECK_SCALE = "check it with a check weight and write down the ± it really has"
FINER_SCALE = "weigh on a finer scale"


@dataclasses.dataclass(frozen=True, kw_only=True)
class Sum:
    """The balance as a formula of its inputs: plain arithmetic, one argument each.

    ``terms`` are role, place of the mass, place of the ± of its scale or None, and
    place of the figure, among ``quantities``. ``advice`` says by the name of an input
    what would make it better known.
    """

    quantities: list[Quantity]
    terms: list[tuple[Role, int, int | None, int]]
    advice: dict[str, str]

    def __call__(self, *values: Any) -> Any:
        """Return E in grams of KOH for these values of the inputs."""
        sides: dict[Role, list[tuple[Any, Any]]] = {role: [] for role in Role}
        for role, mass, bias, figure in self.terms:
            net = values[mass] if bias is None else values[mass] + values[bias]
            sides[role].append((net, values[figure]))
        return chemistry.excess(sides[Role.POTASH], sides[Role.OIL], sides[Role.ACID])


def balance_of(pot: Pot) -> tuple[Sum, Budget]:
    """Return the balance of a pot as a formula, and E in grams of KOH with its budget.

    The ± of a scale counts in the way that makes E less certain, see :mod:`.inputs`.
    """
    formulas = (formula_of(pot), formula_of(pot, apart=True))
    found = [(one, budget(one, one.quantities, unit="g")) for one in formulas]
    return max(found, key=lambda pair: pair[1].standard_uncertainty)


def formula_of(pot: Pot, *, apart: bool = False) -> Sum:
    """Return the balance of a pot as a formula of its inputs.

    The ± of a scale is one input for all masses weighed on it or, with ``apart``, one
    for each.
    """
    known = Sum(quantities=[], terms=[], advice={})
    figures: dict[Hashable, int] = {}
    biases: dict[str, int] = {}
    counted: Counter[str] = Counter()
    for portion in pot.portions:
        key = (portion.role, portion.known.key)
        if key not in figures:
            figures[key] = _add_figure(known, portion, pot)
        mass = _add_mass(known, portion, counted)
        scale, of_mass = portion.scale, known.quantities[mass].name if apart else ""
        name = bias_name(scale.name, of_mass)
        if scale.half_width_g and name not in biases:
            biases[name] = _add_bias(known, scale, name, apart=apart)
        known.terms.append((portion.role, mass, biases.get(name), figures[key]))
    return known


def _add(known: Sum, quantity: Quantity, advice: str) -> int:
    known.quantities.append(quantity)
    known.advice[quantity.name] = advice
    return len(known.quantities) - 1


def _add_figure(known: Sum, portion: Portion, pot: Pot) -> int:
    figure = portion.known
    sharing = [
        one
        for one in pot.portions
        if (one.role, one.known.key) == (portion.role, figure.key)
    ]
    codes = ", ".join(dict.fromkeys(one.code for one in sharing))
    name = f"{FIGURE_NAMES[portion.role]} of {portion.name} {codes}"
    if name in known.advice:  # one lot, two certificates: two figures
        name += f" ({figure.origin})"
    quantity = Quantity(
        name=name,
        value=figure.value,
        standard_uncertainty=figure.standard_uncertainty,
        unit=FIGURE_UNITS[portion.role],
        distribution=figure.distribution,
        origin=figure.origin,
    )
    advice = ADVICE.get((portion.role, figure.knowledge), OTHERWISE)
    return _add(known, quantity, advice)


def bias_name(scale: str, mass: str = "") -> str:
    """Return the name of the ± of a scale, or of its ± in one mass."""
    return f"± of the scale {scale}" + (f", {mass}" if mass else "")


def bias_origin(*, apart: bool) -> str:
    """Return where the ± of a scale is from and how it counts."""
    way = "for each net mass apart" if apart else "the same for every net mass on it"
    return f"register of instruments; {way}, which is the wider of the two ways"


def _add_bias(known: Sum, scale: Scale, name: str, *, apart: bool) -> int:
    quantity = rectangular(
        name, 0, scale.half_width_g, unit="g", origin=bias_origin(apart=apart)
    )
    return _add(known, quantity, CHECK_SCALE)


def _add_mass(known: Sum, portion: Portion, counted: Counter[str]) -> int:
    what = f"mass of {portion.name} {portion.code}"
    counted[what] += 1
    if counted[what] > 1:
        what += f", weighing {counted[what]}"
    step = portion.scale.step_g
    state = "still to be weighed" if portion.planned else "weighed"
    state += f" on {portion.scale.name}"
    quantity = triangular(
        what,
        portion.mass_mg / 1000,
        step,
        unit="g",
        origin=f"{state}, gross and tare in steps of {step:g} g",
    )
    return _add(known, quantity, FINER_SCALE)
