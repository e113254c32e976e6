"""Named constants: value, unit, how far off it can be, source and edition.

>>> MOLAR_MASS_KOH.value, MOLAR_MASS_KOH.unit, MOLAR_MASS_KOH.half_width
(Decimal('56.1053'), 'g/mol', Decimal('0.0013'))
"""

from __future__ import annotations

import dataclasses
from decimal import Decimal
from typing import Final


@dataclasses.dataclass(frozen=True)
class Constant:
    """A number with its pedigree; the true value lies within ± ``half_width``."""

    value: Decimal
    unit: str
    half_width: Decimal
    source: str
    edition: str


def _atomic_weight(value: str, half_width: str, source: str) -> Constant:
    return Constant(Decimal(value), "g/mol", Decimal(half_width), source, "2021")


def _molar_mass(*parts: tuple[Constant, int]) -> Constant:
    """Add up a formula; half widths add linearly, as bounds do."""
    return Constant(
        value=sum((count * atom.value for atom, count in parts), Decimal(0)),
        unit="g/mol",
        half_width=sum((count * atom.half_width for atom, count in parts), Decimal(0)),
        source="sum of the atomic weights above",
        edition="2021",
    )


# For H, C and O the standard atomic weight is an interval, of which IUPAC publishes
# one abridged value; for K it is one value. Standards for fats round KOH to 56.1 and
# older tables have 56.1056: the difference is below one part in ten thousand.
_ABRIDGED = "IUPAC CIAAW, abridged standard atomic weights"
_STANDARD = "IUPAC CIAAW, standard atomic weights"
ATOMIC_WEIGHT_H: Final = _atomic_weight("1.0080", "0.0002", _ABRIDGED)
ATOMIC_WEIGHT_C: Final = _atomic_weight("12.011", "0.002", _ABRIDGED)
ATOMIC_WEIGHT_O: Final = _atomic_weight("15.999", "0.001", _ABRIDGED)
ATOMIC_WEIGHT_K: Final = _atomic_weight("39.0983", "0.0001", _STANDARD)
MOLAR_MASS_KOH: Final = _molar_mass(
    (ATOMIC_WEIGHT_K, 1), (ATOMIC_WEIGHT_O, 1), (ATOMIC_WEIGHT_H, 1)
)
MOLAR_MASS_K2CO3: Final = _molar_mass(
    (ATOMIC_WEIGHT_K, 2), (ATOMIC_WEIGHT_C, 1), (ATOMIC_WEIGHT_O, 3)
)

# Grams of KOH that an assay by acid counts for each gram of K2CO3: 2 KOH ↔ K2CO3.
KOH_PER_K2CO3: Final = 2 * MOLAR_MASS_KOH.value / MOLAR_MASS_K2CO3.value

# mg KOH per g of fat. The published ranges of food oils (Codex CXS 210, CXS 33) lie
# inside. Most figures on the sodium hydroxide basis, 0.713 of these, lie outside; a
# coconut oil's does not (190), so a figure is also held against its own oil's range.
LOWEST_SAPONIFICATION_VALUE: Final = Decimal(160)
HIGHEST_SAPONIFICATION_VALUE: Final = Decimal(280)

PERCENT: Final = Decimal(100)
