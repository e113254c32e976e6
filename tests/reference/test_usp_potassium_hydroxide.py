"""USP 28–NF 23, page 3065, monograph Potassium Hydroxide.

Flag: read at newdruginfo.com/pharmacopeia/usp28/v28230/usp28nf23s0_m67610.htm; the
wording is the same in USP 35. “Not less than 85.0 percent of total alkali, calculated
as KOH, including not more than 3.5 percent of K2CO3.” Assay: 1 N acid to
phenolphthalein, then on to methyl orange; each ml in all is 56.11 mg of total alkali
as KOH, each ml between the two end points is 138.2 mg of K2CO3.
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from batches.chemistry.potash import TOTAL_ALKALI, usable_fraction

KOH_MG = Decimal("56.11")
K2CO3_MG = Decimal("138.2")


def test_the_worst_that_the_monograph_allows_leaves_82_2_percent() -> None:
    usable = usable_fraction(
        assay_percent=Decimal("85.0"),
        basis=TOTAL_ALKALI,
        carbonate_percent=Decimal("3.5"),
    )
    assert usable.quantize(Decimal("0.001")) == Decimal("0.822")


@pytest.mark.parametrize(
    ("to_phenolphthalein_ml", "to_methyl_orange_ml"),
    [("23.10", "0.00"), ("22.90", "0.25"), ("22.40", "0.60"), ("20.05", "1.45")],
)
def test_the_usable_share_is_the_hydroxide_that_the_assay_finds(
    to_phenolphthalein_ml: str, to_methyl_orange_ml: str
) -> None:
    sample_mg = Decimal(1500)
    first, second = Decimal(to_phenolphthalein_ml), Decimal(to_methyl_orange_ml)
    usable = usable_fraction(
        assay_percent=(first + second) * KOH_MG / sample_mg * 100,
        basis=TOTAL_ALKALI,
        carbonate_percent=second * K2CO3_MG / sample_mg * 100,
    )
    # Carbonate takes as much acid before the first end point as after it.
    hydroxide_mg = (first - second) * KOH_MG
    assert usable == pytest.approx(hydroxide_mg / sample_mg, rel=Decimal("2e-5"))
