"""What to thin a paste with, and how much of it a tank or a load of washing takes.

Computed for a page and recorded nowhere. Masses and contents are Decimal, as in
:mod:`batches.chemistry`; the ± of a content is worked out in floats, as every budget.
"""

from __future__ import annotations

import dataclasses
import functools
import math
from decimal import Context, Decimal

from batches.chemistry.constants import PERCENT
from batches.chemistry.dilution import (
    band_question,
    contents_band,
    diluted_content,
    water_for_content,
    water_for_ratio,
    water_to_drive_off,
)
from batches.chemistry.doses import (
    DOSE_HARDNESSES,
    Dose,
    SprayTank,
    soap_molar_mass,
    spray_rate_words,
    spray_tank,
    wash_dose,
)
from batches.chemistry.errors import ChemistryError, OutOfRangeError
from batches.chemistry.hardness import (
    HardnessUnit,
    from_mmol,
    hardness_range,
    to_mmol,
    unit_named,
)
from batches.chemistry.outcome import content_percent
from batches.models import Batch, Charge, Formula
from producer.models import Instrument, Stock
from producer.quantities import grams, milligrams
from quality.services.outcome import came_out
from quality.statistics.budgets import Budget, Quantity, budget, rectangular, triangular
from quality.statistics.rounding import as_decimal


@dataclasses.dataclass(frozen=True, kw_only=True)
class Product:
    """What is dosed: its soap content in %, and the molar mass of its soap, g/mol.

    ``percent`` is what doses are reckoned with; ``content`` has its standard
    uncertainty too, nought where ``worked_out`` is None and that is not known.
    ``lowest`` is what the content may be besides: if nothing that is missing was water.
    ``highest`` is the content without any water: no boiling goes beyond. ``code`` is
    that of what is dosed.
    """

    percent: Decimal
    lowest: Decimal
    content: Quantity
    worked_out: Budget | None
    molar_mass: Decimal
    notes: list[str]
    highest: Decimal = PERCENT
    code: str = ""


# Below this, in %, two contents differ by the rounding of floats alone.
_NOISE = Decimal("1e-6")
DIGITS_READ = Context(prec=3)  # digits of a hardness on the page


class NotKnownError(Exception):
    """Nothing can be dosed; the message says why."""


def product_to_thin(batch: Batch) -> Product:
    """Return what a batch is to be dosed by; of a planned dilution the paste chosen.

    Raises :class:`NotKnownError` where no soap content is known.
    """
    charged = Charge.objects.current().filter(batch=batch).exists()
    if batch.kind != Formula.Kind.DILUTION or charged:
        return product_of(batch)
    choices = batch.lot_choices.exclude(source__kind=Stock.Kind.LOT)
    pastes = [choice.source for choice in choices.select_related("source")]
    if len(pastes) != 1:
        raise NotKnownError(
            "Nothing has been weighed in yet. Choose the paste it is thinned from."
        )
    product = product_of(Batch.objects.get(pk=pastes[0].pk))
    note = f"Nothing has been weighed in yet: computed for the paste {product.code}."
    return dataclasses.replace(product, notes=[note, *product.notes])


def product_of(batch: Batch) -> Product:
    """Return what a batch is to be dosed by, found back through all that is in it.

    Raises :class:`NotKnownError` where its soap content is not known.
    """
    found = came_out(batch)
    made, percent = found.outcome.made, found.outcome.soap_content
    worked_out = found.soap_content
    if worked_out is not None:
        percent = as_decimal(worked_out.value)
    if made is None or percent is None:
        raise NotKnownError(
            found.outcome.why_not or "What came out has not been weighed yet."
        )
    try:
        molar_mass = soap_molar_mass(made.soap, made.bound)
    except ChemistryError as error:
        raise NotKnownError(str(error)) from error
    return Product(
        percent=percent,
        lowest=min(percent, found.lowest or percent),
        content=Quantity(
            name=f"soap content of {batch.number}",
            value=float(percent),
            standard_uncertainty=worked_out.standard_uncertainty if worked_out else 0,
            degrees_of_freedom=(
                worked_out.degrees_of_freedom if worked_out else math.inf
            ),
            unit="%",
            origin="from what was weighed in and out",
        ),
        worked_out=worked_out,
        molar_mass=molar_mass,
        notes=found.notes,
        highest=max(percent, Decimal(content_percent(made.soap, made.solids))),
        code=batch.number,
    )


@dataclasses.dataclass(frozen=True, kw_only=True)
class Content:
    """A soap content with ±, the class it belongs to, and the question if there is one.

    ``question`` is empty where ± reaches no other class. ``lowest`` is what the content
    may be down to if what is missing was not water; None where that is not in doubt.
    """

    budget: Budget
    band: str
    question: str
    lowest: Decimal | None


def content_of(worked_out: Budget, lowest: Decimal) -> Content:
    """Return the class of contents of a budget in %, with the question to ask.

    ``lowest`` is what the content may be besides, for a reason outside the budget.
    """
    mean = as_decimal(worked_out.value)
    expanded = as_decimal(worked_out.expanded_uncertainty)
    return Content(
        budget=worked_out,
        band=contents_band(mean).wording,
        question=band_question(mean, expanded, lowest_percent=lowest),
        lowest=lowest if lowest < mean - _NOISE else None,
    )


@dataclasses.dataclass(frozen=True, kw_only=True)
class Dilution:
    """Water for a mass of paste, and what it then holds.

    Below zero it is water to boil off, where the target is above the content.
    """

    water_mg: int
    content: Content

    @property
    def to_weigh_mg(self) -> int:
        """The water as a kitchen scale can show it: to a tenth of a gram."""
        return round(abs(self.water_mg), -2)


def dilution(
    product: Product,
    *,
    paste_mg: int,
    parts: Decimal | None,
    target: Decimal | None,
    scale: Instrument | None = None,
) -> Dilution:
    """Return the water by ratio or, if ``target`` is given, to a content in %.

    A target above the content of the paste takes water to boil off.

    The ± is that of the paste and of both weighings on ``scale``; without a scale they
    count as exact. Raises :class:`batches.chemistry.errors.ChemistryError` for what
    water cannot do.
    """
    paste = grams(paste_mg)
    if paste <= 0:
        raise OutOfRangeError("There is no paste to dilute. Write its mass.")
    if target is None:
        water = water_for_ratio(paste, parts or Decimal(0))
    elif target > product.percent:
        water = -water_to_drive_off(
            paste, product.percent, target, highest_percent=product.highest
        )
    else:
        water = water_for_content(paste, product.percent, target)
    lowest = diluted_content(product.lowest, paste, water)
    return Dilution(
        water_mg=milligrams(water),
        content=content_of(_thinned(product, paste, water, scale), lowest),
    )


def _thinned(
    product: Product, paste: Decimal, water: Decimal, scale: Instrument | None
) -> Budget:
    """Return the budget of the content; the ± of the scale is one for both masses.

    A net mass is two readings of the display, together triangular (JCGM 100, 4.3.9).
    """
    if scale is None:
        return budget(
            lambda content: diluted_content(content, float(paste), float(water)),
            [product.content],
            unit="%",
        )
    step, origin = scale.resolution, f"on {scale.name}"
    return budget(
        lambda content, paste, water, off: diluted_content(
            content, paste + off, water + off
        ),
        [
            product.content,
            triangular("mass of the paste", paste, step, unit="g", origin=origin),
            triangular("mass of the water", water, step, unit="g", origin=origin),
            rectangular(f"± of the scale {scale.name}", 0, scale.bias_half_width),
        ],
        unit="%",
    )


@dataclasses.dataclass(frozen=True, kw_only=True)
class Spray:
    """A tank of spray and what is known about such a rate."""

    tank: SprayTank
    words: str

    @property
    def paste_mg(self) -> int:
        """Product to weigh, to a tenth of a gram."""
        return round(milligrams(self.tank.paste_g), -2)


def spray(
    product: Product, *, litres: Decimal, rate: Decimal, hardness: Decimal, unit: str
) -> Spray:
    """Return the product for ``litres`` of ``rate`` grams of soap per litre.

    Raises :class:`batches.chemistry.errors.ChemistryError` for a tank that cannot be.
    """
    tank = spray_tank(
        litres=litres,
        target_g_per_l=rate,
        content_percent=product.percent,
        hardness_mmol_l=to_mmol(hardness, unit_named(unit)),
        molar_mass=product.molar_mass,
    )
    return Spray(tank=tank, words=spray_rate_words(rate))


@dataclasses.dataclass(frozen=True, kw_only=True)
class Load:
    """A dose for one hardness: its word, mmol/l and °dH, and what it takes.

    ``typed`` and ``unit`` are one's own hardness as it was typed, None and empty else.
    """

    name: str
    mmol_l: Decimal
    german: Decimal
    dose: Dose
    product_ml: Decimal | None
    typed: Decimal | None = None
    unit: str = ""

    @property
    def shown_mmol_l(self) -> Decimal:
        """The hardness to read: a strip or a waterworks knows no more digits."""
        return DIGITS_READ.plus(self.mmol_l)


def wash(
    product: Product,
    *,
    base: Decimal,
    litres: Decimal,
    density: Decimal | None,
    hardness: Decimal | None,
    unit: str,
) -> list[Load]:
    """Return doses for soft, medium and hard water, and for one's own if it is known.

    Raises :class:`batches.chemistry.errors.ChemistryError` for a load that cannot be.
    """
    load = functools.partial(_load, product, base=base, litres=litres, density=density)
    loads = [load(name, mmol) for name, mmol in DOSE_HARDNESSES]
    if hardness is not None:
        own = to_mmol(hardness, unit_named(unit))
        yours = load(f"yours, {hardness_range(own)}", own)
        loads.append(dataclasses.replace(yours, typed=hardness, unit=unit))
    return loads


def _load(
    product: Product,
    name: str,
    mmol_l: Decimal,
    *,
    base: Decimal,
    litres: Decimal,
    density: Decimal | None,
) -> Load:
    dose = wash_dose(
        base_soap_g=base,
        litres=litres,
        content_percent=product.percent,
        hardness_mmol_l=mmol_l,
        molar_mass=product.molar_mass,
    )
    return Load(
        name=name,
        mmol_l=mmol_l,
        german=from_mmol(mmol_l, HardnessUnit.GERMAN),
        dose=dose,
        product_ml=None if density is None else dose.product_ml(density),
    )
