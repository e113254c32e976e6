"""Doses of a wash for soft, medium and hard water, as they stand on a label."""

from __future__ import annotations

import dataclasses
from decimal import ROUND_HALF_UP, Decimal
from typing import Final

from batches.chemistry.doses import (
    USUAL_SOAP_PER_LOAD_G,
    USUAL_SUDS_L,
)
from batches.chemistry.errors import ChemistryError
from batches.models import Batch, Formula
from quality.services import dosing, filling_checks
from quality.services.dosing import NotKnownError

__all__ = ["STEP_ML", "DoseRow", "NotKnownError", "dose_table", "rounded_ml"]

# As finely as a measuring cap can be read: common practice, no source.
STEP_ML: Final = 5


@dataclasses.dataclass(frozen=True, kw_only=True)
class DoseRow:
    """The dose for one water: its word, mmol/l, and whole millilitres of product."""

    word: str
    hardness_mmol_l: Decimal
    ml: int


def dose_table(batch: Batch) -> list[DoseRow]:
    """Return the dose of a load in soft, medium and hard water, to whole 5 ml.

    For :data:`USUAL_SOAP_PER_LOAD_G` of soap that works in :data:`USUAL_SUDS_L` of
    suds (common practice, no source) and the most that hardness can take, by the soap
    content of this very batch and its density. Raises :class:`NotKnownError` where the
    content is not known, and for what is not a liquid.
    """
    if batch.kind != Formula.Kind.DILUTION:
        raise NotKnownError(
            "Doses in millilitres are those of a liquid. Thin the paste first."
        )
    product = dosing.product_of(batch)
    density, _ = filling_checks.density_of(batch)
    try:
        loads = dosing.wash(
            product,
            base=USUAL_SOAP_PER_LOAD_G,
            litres=USUAL_SUDS_L,
            density=density,
            hardness=None,
            unit="",
        )
    except ChemistryError as error:
        raise NotKnownError(str(error)) from error
    return [
        DoseRow(
            word=load.name,
            hardness_mmol_l=load.mmol_l,
            ml=rounded_ml(load.dose.product_ml(density)),
        )
        for load in loads
    ]


def rounded_ml(ml: Decimal) -> int:
    """Return millilitres to the nearest 5, a half upwards; no dose becomes none.

    >>> [rounded_ml(Decimal(text)) for text in ("267.4", "267.5", "1")]
    [265, 270, 5]
    """
    steps = (ml / STEP_ML).quantize(Decimal(1), rounding=ROUND_HALF_UP)
    return max(int(steps), 1) * STEP_ML
