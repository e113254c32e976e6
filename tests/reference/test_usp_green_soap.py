"""USP 28–NF 23, monograph Green Soap: a potassium soft soap that was really made.

Flag: read at newdruginfo.com/pharmacopeia/usp28/v28230/usp28nf23s0_m35880.htm.
380 g of vegetable oil (neither coconut nor palm kernel), 20 g of oleic acid, 91.7 g of
potassium hydroxide (total alkali 85 percent), 50 mL of glycerin, to make about 1000 g
with water. Water, by distillation: not more than 52.0 % by weight of the soap.
Soya is one oil that fits: 189–195 mg/g, Codex CXS 210 Table 2 (read in a
transcription). Oleic acid takes 198.6 mg/g, by molar masses.
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from batches.chemistry.outcome import Pot, oil_charge, potash_charge, react
from batches.chemistry.potash import TOTAL_ALKALI, usable_fraction
from batches.chemistry.saponification import Oil, alkali_need, excess_alkali
from batches.chemistry.saponification import potash_to_weigh as weigh
from tests.reference.outside import Check, Flag

SOURCE = "USP 28–NF 23, Green Soap"

PRESCRIBED_G = Decimal("91.7")
USABLE = usable_fraction(assay_percent=Decimal(85), basis=TOTAL_ALKALI)


def pot(oil_value: int) -> list[Oil]:
    return [
        Oil(Decimal(380), Decimal(oil_value)),
        Oil(Decimal(20), Decimal("198.6")),
    ]


def test_the_prescribed_potash_lies_in_what_we_compute_for_soya() -> None:
    least, most = (weigh(alkali_need(pot(value)), USABLE) for value in (189, 195))
    assert least < PRESCRIBED_G < most


def test_by_our_balance_the_soap_has_no_caustic_excess_to_speak_of() -> None:
    for value in (189, 195):
        excess_g = excess_alkali(PRESCRIBED_G, USABLE, pot(value))
        assert abs(excess_g) / 1000 < Decimal("0.0025")


def made(oil_value: int) -> Pot:
    """Return what is in 1000 g of it; 50 mL of glycerin weigh 50 g at the least."""
    acid = Decimal("198.6")
    pot = react(
        oil_charge(Decimal(380), Decimal(oil_value))
        + oil_charge(Decimal(20), acid, acid_value=acid)
        + potash_charge(PRESCRIBED_G, USABLE)
        + Pot(glycerol=Decimal(50))
    )
    return pot + Pot(water=1000 - pot.total)


CHECKS = [
    Check(
        what=f"water is not more than 52.0 %, with an oil of {value} mg/g",
        clause="Water",
        flag=Flag.SEEN,
        ours=lambda value=value: Decimal(40) < made(value).water / 10 <= 52,  # type: ignore[misc]
        published=True,
    )
    for value in (189, 195)
]


@pytest.mark.parametrize("check", CHECKS, ids=str)
def test_published_value(check: Check) -> None:
    check.hold()
