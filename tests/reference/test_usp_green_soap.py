"""USP 28–NF 23, monograph Green Soap: a potassium soft soap that was really made.

Flag: read at newdruginfo.com/pharmacopeia/usp28/v28230/usp28nf23s0_m35880.htm.
380 g of vegetable oil (neither coconut nor palm kernel), 20 g of oleic acid, 91.7 g of
potassium hydroxide (total alkali 85 percent), to make about 1000 g.
Soya is one oil that fits: 189–195 mg/g, Codex CXS 210 Table 2 (read in a
transcription). Oleic acid takes 198.6 mg/g, by molar masses.
"""

from __future__ import annotations

from decimal import Decimal

from batches.chemistry.potash import TOTAL_ALKALI, usable_fraction
from batches.chemistry.saponification import Oil, alkali_need, excess_alkali
from batches.chemistry.saponification import potash_to_weigh as weigh

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
