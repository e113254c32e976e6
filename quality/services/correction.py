"""How to bring the alkali of a batch back: which excess counts, and what to weigh in.

The excess and its ± come from the alkali balance, in floats; doses are weighed and
compared with limits, so from here on it is Decimal.
"""

from __future__ import annotations

import dataclasses
import datetime
from decimal import Decimal

from batches.chemistry import correction as chemistry
from batches.chemistry.constants import PERCENT
from batches.chemistry.errors import ChemistryError
from batches.lifecycle import CLOSED_TO_CHARGES, BatchStatus
from batches.models import Batch, BulkWeighing, Charge
from batches.services import sources
from batches.services.cooking.correcting import missing_before_correcting
from batches.services.outcome import outcome_of
from batches.services.results import yield_of
from producer.errors import Refusal
from producer.models import Instrument, Material, RawLot, Stock
from producer.quantities import format_mass, grams, milligrams
from quality.services.alkali import Alkali, alkali_of
from quality.statistics.budgets import Budget
from quality.statistics.rounding import as_decimal

BY_TITRATION, BY_WEIGHING = "titration", "weighings"
TENTH_MG, FROM_HERE_IN_TENTHS_MG = 100, 2_000
MOST_CORRECTIONS = 2  # requirement E2 of ours: after two, hold and decide


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

    ``scale`` is the finest in use. ``soap_split_g`` is what the dose would split if
    the excess really were as small as its uncertainty allows.
    """

    lot: RawLot
    dose_mg: int | None
    why_not: str
    scale: Instrument | None
    soap_split_g: Decimal = Decimal(0)


@dataclasses.dataclass(frozen=True, kw_only=True)
class Correction:
    """All that the page of a correction shows.

    ``closed`` says why nothing can go in at all, ``why_not`` why no dose is computed;
    both are empty where there are proposals.
    """

    excess: Excess | None
    share: Decimal
    closed: str
    why_not: str
    advice: list[str]
    proposals: list[Proposal]


def correction_of(
    batch: Batch, *, on: datetime.date, share: Decimal = chemistry.USUAL_SHARE
) -> Correction:
    """Return what would bring the alkali of a batch back, dosed at a share of it."""
    alkali = alkali_of(batch)
    excess = excess_of(alkali)
    closed = _closed(batch)
    why_not = _why_not(alkali, excess)
    proposals: list[Proposal] = []
    if excess is not None and not closed and not why_not:
        proposals = _Doses(batch, excess, share).proposals(on)
    return Correction(
        excess=excess,
        share=share,
        closed=closed,
        why_not=why_not,
        advice=_advice(batch, alkali, excess),
        proposals=proposals,
    )


def excess_of(alkali: Alkali) -> Excess | None:
    """Return the excess to go by: titrated alkali before weighed, but for lacking KOH.

    A titration sees alkali and not oil: where it finds none, and the weighings say
    that some is lacking, the weighings count.
    """
    by_weighing = (
        _excess(alkali.weighed.budget, BY_WEIGHING) if alkali.weighed else None
    )
    by_titration = (
        _excess(alkali.titrated.budget, BY_TITRATION) if alkali.titrated else None
    )
    if by_titration is None:
        return by_weighing
    if by_weighing is None or by_titration.is_known:
        return by_titration
    lacking = by_weighing.is_known and by_weighing.value_g < 0
    return by_weighing if lacking else by_titration


def _excess(found: Budget, origin: str) -> Excess:
    return Excess(
        value_g=as_decimal(found.value),
        expanded_uncertainty_g=as_decimal(found.expanded_uncertainty),
        origin=origin,
        budget=found,
    )


def _closed(batch: Batch) -> str:
    if not batch.is_open or batch.status in CLOSED_TO_CHARGES:
        return (
            f"The batch is {BatchStatus(batch.status).label}: nothing can be weighed in"
            " any more. If it needs mending, it is rejected and reworked."
        )
    if batch.status == BatchStatus.PLANNED:
        return "Nothing is in the pot yet."
    if BulkWeighing.objects.current().filter(batch=batch).exists():
        return (
            "What came out has been weighed already, so nothing can be weighed in any"
            " more. If it needs mending, it is rejected and reworked."
        )
    missing = missing_before_correcting(batch)
    if missing:
        return f"Weigh {', '.join(missing)} first: until then nothing is to correct."
    return ""


def _why_not(alkali: Alkali, excess: Excess | None) -> str:
    if alkali.titration_note:
        # The weighings were found wrong once; a dose by them would undo the first.
        return alkali.titration_note
    if excess is None:
        return alkali.why_not
    if not excess.is_known:
        return (
            "This is inside its own uncertainty: it may as well be none, and a dose"
            " could make it worse. Measure first: cook on, then titrate the free"
            " alkali."
        )
    return ""


def _advice(batch: Batch, alkali: Alkali, excess: Excess | None) -> list[str]:
    advice = []
    if _contradicts(alkali):
        advice.append(
            "The titration finds free alkali, though the weighings say that alkali is"
            " lacking: it has not all reacted. Cook on and titrate again before adding"
            " anything."
        )
    if batch.lye_discount and excess is not None and excess.value_g < 0:
        advice.append(
            f"{(batch.lye_discount * PERCENT).normalize():f} % of the potash was left"
            " out on purpose, so that much is meant to be lacking."
        )
    if excess is not None and excess.is_known and excess.value_g < 0:
        advice.append(
            "Look at a portion in hot distilled water before adding potash. If it is"
            " clear there is no oil to take it up: then a figure is off, not the pot."
        )
    done = corrections_in(batch)
    if done >= MOST_CORRECTIONS:
        advice.append(
            f"{done} corrections are in it already. Before another, stop: hold the"
            " batch, find the cause, and decide."
        )
    return advice


def _contradicts(alkali: Alkali) -> bool:
    if alkali.weighed is None or alkali.titrated is None:
        return False
    weighed = _excess(alkali.weighed.budget, BY_WEIGHING)
    titrated = _excess(alkali.titrated.budget, BY_TITRATION)
    return (
        weighed.is_known
        and titrated.is_known
        and weighed.value_g < 0 < titrated.value_g
    )


def corrections_in(batch: Batch) -> int:
    """Return how many corrections are in a batch."""
    return (
        Charge.objects.current()
        .filter(batch=batch, line__isnull=True, source__kind=Stock.Kind.LOT)
        .count()
    )


class _Doses:
    """The doses of a batch: what is the same for every lot is read once."""

    def __init__(self, batch: Batch, excess: Excess, share: Decimal) -> None:
        self._batch, self._excess, self._share = batch, excess, share
        self._in_pot_mg = yield_of(batch).theoretical_mg
        self._pot = outcome_of(batch).pot
        scales = Instrument.objects.filter(kind=Instrument.Kind.SCALE, in_use=True)
        self._scale = min(scales, key=_smallest_dose, default=None)

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
            why_not = self._why_not(lot, dose.mass_g)
        except (ChemistryError, Refusal) as error:
            return Proposal(
                lot=lot, dose_mg=None, why_not=_words(error), scale=self._scale
            )
        return Proposal(
            lot=lot,
            dose_mg=None if why_not else self._to_a_step(dose.mass_g),
            why_not=why_not,
            scale=self._scale,
            soap_split_g=self._split(lot, dose),
        )

    def _why_not(self, lot: RawLot, dose_g: Decimal) -> str:
        if self._scale is None:
            return "There is no scale in use. Register the one it is weighed on."
        try:
            chemistry.check_scale(
                dose_g, self._scale.resolution, self._scale.bias_half_width
            )
        except chemistry.ScaleTooCoarseError as error:
            return str(error)
        if dose_g > grams(self._in_pot_mg) * chemistry.MOST_OF_POT:
            return (
                f"{dose_g:.0f} g is more than {chemistry.MOST_OF_POT * PERCENT:.0f} %"
                " of what is in the pot: look for a wrong weighing first."
            )
        if milligrams(dose_g) > lot.stock.on_hand_mg:
            return f"Only {format_mass(lot.stock.on_hand_mg)} of it is on hand."
        return ""

    def _to_a_step(self, dose_g: Decimal) -> int:
        """Return a dose in milligrams as a person weighs it, never more.

        In steps of the scale, from 2 g on in tenths of a gram: 9.3 g, not 9396 mg.
        """
        step = milligrams(self._scale.resolution) if self._scale else 1
        exact = milligrams(dose_g)
        if exact >= FROM_HERE_IN_TENTHS_MG:
            step = max(step, TENTH_MG)
        return exact // step * step

    def _split(self, lot: RawLot, dose: chemistry.Dose) -> Decimal:
        if not lot.material.acid or self._pot is None or dose.at_risk_g <= 0:
            return Decimal(0)
        return chemistry.soap_split(dose.at_risk_g, self._pot.soap, self._pot.bound)


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
