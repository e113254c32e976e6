"""The doses that would bring the alkali of a batch back, lot by lot, and their scale.

Decimal: a dose is weighed and compared with limits.
"""

from __future__ import annotations

import dataclasses
import datetime
from collections.abc import Iterable
from decimal import Decimal

from batches.chemistry import correction as chemistry
from batches.chemistry.constants import PERCENT
from batches.chemistry.errors import ChemistryError
from batches.models import Batch, Charge
from batches.services import sources
from batches.services.cooking.plausible import target_words
from batches.services.outcome import outcome_of
from batches.services.results import yield_of
from producer.errors import Refusal
from producer.models import Instrument, Material, RawLot
from producer.quantities import grams, milligrams
from quality.statistics.budgets import Budget

# A dose as a person weighs it: from a gram on to a hundredth, from two on to a tenth.
STEPS_MG = ((2_000, 100), (1_000, 10))
# What a dose is weighed in weighs no more than the dose and a beaker. Common practice,
# no source.
BEAKER_G = Decimal(100)


@dataclasses.dataclass(frozen=True, kw_only=True)
class Excess:
    """The excess alkali that a correction goes by, grams of KOH, with U at k = 2."""

    value_g: Decimal
    expanded_uncertainty_g: Decimal
    origin: str
    budget: Budget

    @property
    def is_known(self) -> bool:
        """Say whether it is larger than its own uncertainty."""
        return abs(self.value_g) > self.expanded_uncertainty_g


@dataclasses.dataclass(frozen=True, kw_only=True)
class Proposal:
    """One lot that could correct the batch: a dose, or the sentence why not.

    ``scale`` is the coarsest in use that weighs the dose well enough and carries it.
    ``soap_split_g`` is what the dose would split if the excess really were as small as
    its uncertainty allows.
    """

    lot: RawLot
    dose_mg: int | None
    why_not: str
    scale: Instrument | None
    soap_split_g: Decimal = Decimal(0)


class Doses:
    """The doses of a batch: what is the same for every lot is read once."""

    def __init__(self, batch: Batch, excess: Excess, share: Decimal) -> None:
        self._batch, self._excess, self._share = batch, excess, share
        self._in_pot_mg = yield_of(batch).theoretical_mg
        self._pot = outcome_of(batch).pot
        self._scales = list(
            Instrument.objects.filter(kind=Instrument.Kind.SCALE, in_use=True)
        )

    def proposals(self, on: datetime.date) -> list[Proposal]:
        """Return a proposal for each lot that pushes the right way."""
        return [self._proposal(lot) for lot in self._lots(on)]

    def _lots(self, on: datetime.date) -> list[RawLot]:
        """Return usable lots, first expired first: of oils only those in the pot."""
        if self._excess.value_g < 0:
            return list(
                RawLot.objects.usable(on).filter(material__kind=Material.Kind.POTASH)
            )
        in_pot = Charge.objects.current().filter(
            batch=self._batch, source__lot__material__kind=Material.Kind.OIL
        )
        oils = set(in_pot.values_list("source__lot__material_id", flat=True))
        return [
            lot
            for lot in RawLot.objects.usable(on)
            if lot.material.acid or lot.material_id in oils
        ]

    def _proposal(self, lot: RawLot) -> Proposal:
        try:
            dose = chemistry.dose_for(
                excess_g=self._excess.value_g,
                expanded_uncertainty_g=self._excess.expanded_uncertainty_g,
                koh_per_gram=_takes_up(lot),
                share=self._share,
            )
            scale = scale_for(dose.mass_g, self._scales)
            why_not = self._why_not(lot, dose.mass_g)
        except (ChemistryError, Refusal) as error:
            return Proposal(lot=lot, dose_mg=None, why_not=_words(error), scale=None)
        return Proposal(
            lot=lot,
            dose_mg=None if why_not else _to_a_step(dose.mass_g, scale),
            why_not=why_not,
            scale=scale,
            soap_split_g=self._split(lot, dose),
        )

    def _why_not(self, lot: RawLot, dose_g: Decimal) -> str:
        if dose_g > grams(self._in_pot_mg) * chemistry.MOST_OF_POT:
            return (
                f"{dose_g:.0f} g is more than {chemistry.MOST_OF_POT * PERCENT:.0f} %"
                " of what is in the pot: look for a wrong weighing first."
            )
        if milligrams(dose_g) > lot.stock.on_hand_mg:
            return f"Only {target_words(lot.stock.on_hand_mg)} of it is on hand."
        return ""

    def _split(self, lot: RawLot, dose: chemistry.Dose) -> Decimal:
        if not lot.material.acid or self._pot is None or dose.at_risk_g <= 0:
            return Decimal(0)
        return chemistry.soap_split(dose.at_risk_g, self._pot.soap, self._pot.bound)


def scale_for(dose_g: Decimal, scales: Iterable[Instrument]) -> Instrument:
    """Return the coarsest scale that weighs a dose to within 5 % and carries it.

    The coarsest, because it is the sturdiest and stands at hand. Where its largest load
    is known it must carry the dose with a vessel: twice the dose and 100 g, a beaker
    that is no heavier than what is in it. Raises :class:`Refusal` where no scale is in
    use or none carries it, :class:`.ScaleTooCoarseError` where none is fine enough.
    """
    known = list(scales)
    if not known:
        raise Refusal(
            "There is no scale in use. Register the one it is weighed on, or have the"
            " one that failed its check pass it."
        )
    load_g = 2 * dose_g + BEAKER_G
    strong = [one for one in known if one.capacity is None or one.capacity >= load_g]
    if not strong:
        raise Refusal(
            f"No scale in use carries {dose_g:.1f} g with a vessel. Take a larger one,"
            " or weigh it in portions."
        )
    finest = min(strong, key=_smallest_dose)
    chemistry.check_scale(dose_g, finest.resolution, finest.bias_half_width)
    good = [one for one in strong if _smallest_dose(one) <= dose_g]
    return max(good, key=_smallest_dose, default=finest)


def _to_a_step(dose_g: Decimal, scale: Instrument) -> int:
    """Return a dose in milligrams as a person weighs it on this scale, never more.

    From 1 g on in hundredths and from 2 g on in tenths of a gram: 9.3 g, not 9396 mg.
    """
    exact = milligrams(dose_g)
    step = next((step for least, step in STEPS_MG if exact >= least), 1)
    step = max(step, milligrams(scale.resolution))
    return exact // step * step


def _takes_up(lot: RawLot) -> Decimal:
    """Return grams of KOH that a gram of a lot takes up, below zero if it brings it."""
    figure = sources.figure_of(lot)
    if figure is None:
        raise Refusal(f"What {lot.code} takes up is not known.")
    if lot.material.kind == Material.Kind.POTASH:
        return chemistry.brings_potash(figure.value)
    if lot.material.kind == Material.Kind.OIL:
        return chemistry.takes_up_oil(figure.value)
    return figure.value


def _smallest_dose(scale: Instrument) -> Decimal:
    return chemistry.smallest_net_mass(
        chemistry.net_uncertainty(scale.resolution, scale.bias_half_width),
        chemistry.DOSE_WITHIN,
    )


def _words(error: ChemistryError | Refusal) -> str:
    return error.message if isinstance(error, Refusal) else str(error)
