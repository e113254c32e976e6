"""Rates of soap on plants: what two advisers say, and that we say they disagree.

Infonet-Biovision, “Soap spray” (infonet-biovision.org/PlantHealth/Soap-spray, read):
5–8 g/l against aphids and small caterpillars, 10 g/l can kill plants. Colorado State
University Extension 5.547 (read): about 2 %.
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from batches.chemistry.doses import rate_of_tank, spray_rate_words, spray_tank
from tests.reference.outside import Check, Flag

SOURCE = "Infonet-Biovision, Soap spray; CSU Extension 5.547"


def paste_for(rate: int) -> Decimal:
    """Return grams of soap as such that ten litres of distilled water take."""
    return spray_tank(
        litres=Decimal(10),
        target_g_per_l=Decimal(rate),
        content_percent=Decimal(100),
        hardness_mmol_l=Decimal(0),
    ).paste_g


CHECKS = [
    Check(
        what="5 to 8 g/l are called the published beginning",
        clause="Infonet-Biovision, general information",
        flag=Flag.SEEN,
        ours=lambda: "5 to 8 g/l" in spray_rate_words(Decimal(5)),
        published=True,
    ),
    Check(
        what="10 g/l are said to be able to kill plants",
        clause="Infonet-Biovision, general information",
        flag=Flag.SEEN,
        ours=lambda: "can kill plants" in spray_rate_words(Decimal(10)),
        published=True,
    ),
    Check(
        what="8 g/l are not",
        clause="Infonet-Biovision, general information",
        flag=Flag.SEEN,
        ours=lambda: "can kill plants" in spray_rate_words(Decimal(8)),
        published=False,
    ),
    Check(
        what="soap in 10 l of a spray of 2 %, in g",
        clause="CSU 5.547, by the definition of per cent",
        flag=Flag.SEEN,
        ours=lambda: paste_for(20),
        published=200,
    ),
    Check(
        what="soap a litre in a spray of 2 % weighed into 10 l, in g",
        clause="CSU 5.547, by the definition of per cent",
        flag=Flag.SEEN,
        ours=lambda: rate_of_tank(
            product_g=Decimal(200),
            litres=Decimal(10),
            content_percent=Decimal(100),
            hardness_mmol_l=Decimal(0),
        ),
        published=20,
    ),
]


@pytest.mark.parametrize("check", CHECKS, ids=str)
def test_published_value(check: Check) -> None:
    check.hold()
