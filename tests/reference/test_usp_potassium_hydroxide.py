"""USP 28–NF 23, page 3065, monograph Potassium Hydroxide.

Flag: read in a copy, newdruginfo.com/pharmacopeia/usp28/v28230/usp28nf23s0_m67610.htm;
the wording is the same in copies of USP 32 and USP 35. “Not less than 85.0 percent of
total alkali, calculated as KOH, including not more than 3.5 percent of K2CO3.” Assay:
about 1.5 g, 1 N acid to phenolphthalein, then on to methyl orange; each ml in all is
56.11 mg of total alkali as KOH, each ml between the two end points is 138.2 mg of
K2CO3.
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from batches.chemistry.potash import TOTAL_ALKALI, usable_fraction
from batches.chemistry.replicates import Bench, Kind, Sample, determine
from batches.chemistry.titration import potash_by_two_indicators
from tests.reference.outside import Check, Flag

SOURCE = "USP 28–NF 23, Potassium Hydroxide"
KOH_MG = Decimal("56.11")
K2CO3_MG = Decimal("138.2")
SAMPLE_MG = Decimal(1500)


def milligrams(first_ml: str, total_ml: str) -> tuple[Decimal, Decimal]:
    """Return mg of KOH and of K2CO3 that we find in 1.5 g."""
    hydroxide, carbonate = potash_by_two_indicators(
        mass_g=SAMPLE_MG / 1000,
        first_ml=Decimal(first_ml),
        total_ml=Decimal(total_ml),
        concentration=Decimal(1),
    )
    return hydroxide * SAMPLE_MG / 100, carbonate * SAMPLE_MG / 100


CHECKS = [
    Check(
        what="mg of KOH for each ml of 1 N acid, no carbonate",
        clause="Assay",
        flag=Flag.SECOND_HAND,
        ours=lambda: milligrams("20", "20")[0] / 20,
        published=KOH_MG,
        within=0.005,
    ),
    Check(
        what="mg of K2CO3 for each ml between the end points",
        clause="Assay",
        flag=Flag.SECOND_HAND,
        ours=lambda: milligrams("22", "23")[1],
        published=K2CO3_MG,
        within=0.05,
    ),
]


@pytest.mark.parametrize("check", CHECKS, ids=str)
def test_published_value(check: Check) -> None:
    check.hold()


# From here on both sides come from the monograph's rules: first end point and the acid
# after it, computed with its equivalents, against our way of the same assay.
TITRATIONS = [
    ("23.10", "0.00"),
    ("22.90", "0.25"),
    ("22.40", "0.60"),
    ("20.05", "1.45"),
]


@pytest.mark.parametrize(("first", "further"), TITRATIONS)
def test_the_usable_share_is_the_hydroxide_that_the_assay_finds(
    first: str, further: str
) -> None:
    first_ml, further_ml = Decimal(first), Decimal(further)
    usable = usable_fraction(
        assay_percent=(first_ml + further_ml) * KOH_MG / SAMPLE_MG * 100,
        basis=TOTAL_ALKALI,
        carbonate_percent=further_ml * K2CO3_MG / SAMPLE_MG * 100,
    )
    # Carbonate takes as much acid before the first end point as after it.
    hydroxide_mg = (first_ml - further_ml) * KOH_MG
    assert usable == pytest.approx(hydroxide_mg / SAMPLE_MG, rel=Decimal("2e-5"))


@pytest.mark.parametrize(("first", "further"), TITRATIONS)
def test_our_titration_finds_what_the_monograph_would(first: str, further: str) -> None:
    first_ml, further_ml = Decimal(first), Decimal(further)
    sample = Sample(
        mass_g=SAMPLE_MG / 1000,
        volume_ml=first_ml,
        second_volume_ml=first_ml + further_ml,
    )
    bench = Bench(
        concentration=Decimal(1),
        burette_half_width=Decimal("0.05"),
        balance_uncertainty_g=Decimal("0.0001"),
    )
    found = determine(Kind.POTASH, [sample], bench)
    total_percent = (first_ml + further_ml) * KOH_MG / SAMPLE_MG * 100
    carbonate_percent = further_ml * K2CO3_MG / SAMPLE_MG * 100
    usable = usable_fraction(
        assay_percent=total_percent,
        basis=TOTAL_ALKALI,
        carbonate_percent=carbonate_percent,
    )
    assert found.value / 100 == pytest.approx(usable, rel=Decimal("2e-4"))
    assert found.carbonate == pytest.approx(carbonate_percent, rel=Decimal("1e-4"))


def test_the_worst_that_the_monograph_allows_leaves_82_2_percent() -> None:
    """By hand from its two limits: 85.0 − 3.5·2·56.11/138.2 = 82.158."""
    usable = usable_fraction(
        assay_percent=Decimal("85.0"),
        basis=TOTAL_ALKALI,
        carbonate_percent=Decimal("3.5"),
    )
    assert usable.quantize(Decimal("0.001")) == Decimal("0.822")
