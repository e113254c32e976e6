"""A published titration of a saponification value.

Source: worked example at ques10.com/p/50803 (read): 1.5 g of oil, 0.5 N, blank 25 ml,
sample 15 ml, saponification value 186.67, computed there with M(KOH) = 56.
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from batches.chemistry.saponification import Oil, alkali_need


def test_the_need_of_the_sample_is_the_alkali_that_it_took() -> None:
    mmol_taken = (Decimal(25) - Decimal(15)) * Decimal("0.5")
    need_mg = alkali_need([Oil(Decimal("1.5"), Decimal("186.67"))]) * 1000
    assert need_mg == pytest.approx(mmol_taken * 56, abs=Decimal("0.01"))
