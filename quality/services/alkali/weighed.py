"""Excess alkali by the weighings, with its risks."""

from __future__ import annotations

import dataclasses

from batches.chemistry import excess as chemistry
from batches.models import Batch
from quality.services.alkali.formula import Sum, balance_of
from quality.services.alkali.inputs import Portion, Pot, Role
from quality.statistics.budgets import Budget
from quality.statistics.simulation import Simulation, simulate


@dataclasses.dataclass(frozen=True, kw_only=True)
class Weighed:
    """E by the weighings; grams of KOH.

    ``charge`` is the balance as a function of the lye discount; None once potash is in
    the pot, when nothing can be left out any more.
    """

    budget: Budget
    formula: Sum
    paste_mg: int
    risks: chemistry.Risks
    mean_saponification_value: float
    cooked: bool
    planned: bool
    charge: chemistry.Charge | None

    @property
    def advice(self) -> str:
        """The input that matters most, and what would make it better known."""
        line = self.budget.dominant
        if line is None:
            return ""
        return f"the {line.quantity.name}, {self.formula.advice[line.quantity.name]}"


@dataclasses.dataclass(frozen=True, kw_only=True)
class Drawn:
    """E by Monte Carlo, and both risks counted among the draws."""

    simulation: Simulation
    risks: chemistry.Risks


def drawn(
    weighed: Weighed, limits: chemistry.Limits, *, draws: int, seed: int
) -> Drawn:
    """Draw the inputs of a balance and count the risks: the check of the linear one."""
    found = simulate(
        weighed.formula, weighed.formula.quantities, draws=draws, seed=seed
    )
    paste_g = weighed.paste_mg / 1000
    lacking_g = limits.lacking_g(paste_g, weighed.mean_saponification_value)
    return Drawn(
        simulation=found,
        risks=chemistry.Risks(
            over=found.probability_above(limits.free_alkali_g(paste_g)),
            under=found.probability_below(-lacking_g),
        ),
    )


def weighed_in(batch: Batch, pot: Pot, limits: chemistry.Limits) -> Weighed:
    """Return E of a pot by its weighings, with its budget and both risks."""
    formula, found = balance_of(pot)
    return Weighed(
        budget=found,
        formula=formula,
        paste_mg=pot.paste_mg,
        risks=chemistry.risks_of(
            excess_g=found.value,
            uncertainty_g=found.standard_uncertainty,
            paste_g=pot.paste_mg / 1000,
            mean_saponification_value=_mean_value(pot),
            limits=limits,
        ),
        mean_saponification_value=_mean_value(pot),
        cooked=pot.cooked,
        planned=any(portion.planned for portion in pot.portions),
        charge=_charge(batch, pot, formula, found) if pot.potash_is_open else None,
    )


def _koh_g(portions: list[Portion]) -> float:
    """Return grams of KOH that these portions bring or take up."""
    per_gram = {Role.POTASH: 1.0, Role.OIL: 1e-3, Role.ACID: 1.0}
    return sum(
        portion.mass_mg / 1000 * portion.known.value * per_gram[portion.role]
        for portion in portions
    )


def _mean_value(pot: Pot) -> float:
    oils = pot.of(Role.OIL)
    mean = _koh_g(oils) * 1e6 / sum(oil.mass_mg for oil in oils)
    return round(mean, 6)  # the last digits of a float may lie outside the range


def _charge(batch: Batch, pot: Pot, formula: Sum, found: Budget) -> chemistry.Charge:
    """Return the balance without its discount, as a function of one."""
    kept = 1 - float(batch.lye_discount)
    potash = pot.of(Role.POTASH)
    potash_g = sum(portion.mass_mg for portion in potash) / 1000
    figures = {
        formula.quantities[figure].name
        for role, _, _, figure in formula.terms
        if role is Role.POTASH
    }
    share_u = sum(
        abs(line.contribution) for line in found.lines if line.quantity.name in figures
    )
    others = max(found.standard_uncertainty**2 - share_u**2, 0.0)
    return chemistry.Charge(
        brought_g=_koh_g(potash) / kept,
        taken_g=_koh_g(pot.of(Role.OIL)) + _koh_g(pot.of(Role.ACID)),
        share_uncertainty_g=share_u / kept,
        other_uncertainty_g=others**0.5,
        potash_g=potash_g / kept,
        other_mass_g=pot.paste_mg / 1000 - potash_g,
        mean_saponification_value=_mean_value(pot),
    )
