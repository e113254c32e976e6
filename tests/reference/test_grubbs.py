"""Grubbs' test for one outlier: tabled critical values, and the handbook's example.

Flags: the table read at chem.libretexts.org, Analytic References, Appendix 07; that it
is the one of ISO 5725-2 is from memory. Two of its entries are misprints and left out:
n = 7 at 0.05, printed 2.202 for 2.020 (a public test file that quotes the table has
2.020), and n = 15 at 0.01, printed as that of n = 14. Others differ by one in the last
digit from what the formula gives, so one is allowed. The example of NIST/SEMATECH
e-Handbook 1.3.5.17.1, mass spectrometer readings of Tietjen and Moore, read in public
files that quote it; its critical value is for one side, which is that for two sides at
twice the level.
"""

from __future__ import annotations

import pytest

from batches.chemistry.outliers import critical_value, grubbs, standing_out
from tests.reference.outside import Check, Flag

SOURCE = "LibreTexts, Appendix 07; NIST/SEMATECH e-Handbook 1.3.5.17.1"
TABLE = {
    3: (1.155, 1.155),
    4: (1.481, 1.496),
    5: (1.715, 1.764),
    6: (1.887, 1.973),
    8: (2.126, 2.274),
    9: (2.215, 2.387),
    10: (2.290, 2.482),
    12: (2.412, 2.636),
}
SPECTROMETER = [199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57]


def tabled(count: int, level: float, published: float) -> Check:
    return Check(
        what=f"critical value for {count} results at {level}",
        clause="LibreTexts, Appendix 07",
        flag=Flag.SEEN,
        ours=lambda: critical_value(count, significance=level),
        published=published,
        within=0.001,
    )


CHECKS = [
    *(tabled(count, 0.05, five) for count, (five, _) in TABLE.items()),
    *(tabled(count, 0.01, one) for count, (_, one) in TABLE.items()),
    Check(
        what="critical value for 7 results at 0.05",
        clause="the same table, quoted in a test file",
        flag=Flag.SECOND_HAND,
        ours=lambda: critical_value(7),
        published=2.020,
        within=0.001,
    ),
    Check(
        what="G of the mass spectrometer readings",
        clause="e-Handbook 1.3.5.17.1",
        flag=Flag.SECOND_HAND,
        ours=lambda: grubbs(SPECTROMETER)[0],
        published=2.4687,
        within=0.0001,
    ),
    Check(
        what="its critical value at 0.05, one-sided",
        clause="e-Handbook 1.3.5.17.1",
        flag=Flag.SECOND_HAND,
        ours=lambda: critical_value(8, significance=0.10),
        published=2.032,
        within=0.0005,
    ),
    Check(
        what="which reading stands out",
        clause="e-Handbook 1.3.5.17.1",
        flag=Flag.SECOND_HAND,
        ours=lambda: SPECTROMETER[standing_out(SPECTROMETER) or 0],
        published=245.57,
    ),
]


@pytest.mark.parametrize("check", CHECKS, ids=str)
def test_published_value(check: Check) -> None:
    check.hold()
