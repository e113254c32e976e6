"""What a weak acid takes up of free alkali in a batch.

>>> koh_per_gram(CITRIC_ANHYDROUS).quantize(Decimal("0.0001"))
Decimal('0.8761')
"""

from __future__ import annotations

from decimal import Decimal
from typing import Final

from batches.chemistry.constants import (
    ATOMIC_WEIGHT_C,
    ATOMIC_WEIGHT_H,
    ATOMIC_WEIGHT_O,
    MOLAR_MASS_KOH,
)
from batches.chemistry.errors import ChemistryError

CITRIC_ANHYDROUS: Final = "citric_anhydrous"
CITRIC_MONOHYDRATE: Final = "citric_monohydrate"
# Citric acid gives off three protons in the warm alkaline pot.
CITRIC_PROTONS: Final = 3

# g/mol, C6H8O7 and C6H8O7·H2O from the IUPAC abridged atomic weights of 2021.
MOLAR_MASS_CITRIC_ACID: Final = (
    6 * ATOMIC_WEIGHT_C.value + 8 * ATOMIC_WEIGHT_H.value + 7 * ATOMIC_WEIGHT_O.value
)
MOLAR_MASS_CITRIC_MONOHYDRATE: Final = (
    MOLAR_MASS_CITRIC_ACID + 2 * ATOMIC_WEIGHT_H.value + ATOMIC_WEIGHT_O.value
)
_MOLAR_MASSES: Final = {
    CITRIC_ANHYDROUS: MOLAR_MASS_CITRIC_ACID,
    CITRIC_MONOHYDRATE: MOLAR_MASS_CITRIC_MONOHYDRATE,
}

# Share by which an acid as bought may be off; common practice, no source.
ACID_HALF_WIDTH: Final = Decimal("0.005")


def koh_per_gram(acid: str) -> Decimal:
    """Return grams of KOH that a gram of an acid takes up: 3·M(KOH)/M(acid).

    Source: stoichiometry, C6H8O7 + 3 KOH → K3C6H5O7 + 3 H2O.

    >>> (1 / koh_per_gram(CITRIC_MONOHYDRATE)).quantize(Decimal("0.001"))
    Decimal('1.248')

    Raises :class:`ChemistryError` for an acid that is not known here.
    """
    if acid not in _MOLAR_MASSES:
        raise ChemistryError(
            "What this acid takes up is not known here. Use citric acid."
        )
    return CITRIC_PROTONS * MOLAR_MASS_KOH.value / _MOLAR_MASSES[acid]
