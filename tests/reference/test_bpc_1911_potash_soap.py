"""British Pharmaceutical Codex 1911, Sapo Kalinus: linseed potash soap.

Flag: read at henriettes-herb.com/eclectic/bpc1911/sapo-kali.html: 40 of linseed oil,
9 of potassium hydroxide in 45 of water. The strength of the potash is not given there;
85 percent total alkali is that of the USP. Linseed 185–197 mg/g is from memory.
"""

from __future__ import annotations

from decimal import Decimal

from batches.chemistry.lye import lye_strength
from batches.chemistry.saponification import Oil, alkali_need, potash_to_weigh


def test_the_prescribed_potash_lies_in_what_we_compute_for_linseed() -> None:
    least, most = (
        potash_to_weigh(
            alkali_need([Oil(Decimal(40), Decimal(value))]), Decimal("0.85")
        )
        for value in (185, 197)
    )
    assert least < 9 < most


def test_the_lye_of_nine_in_forty_five_is_one_sixth_potash() -> None:
    strength = lye_strength(
        potash_g=Decimal(9), usable_fraction=Decimal(1), water_g=Decimal(45)
    )
    assert abs(strength * 6 - 1) < Decimal("1e-20")
