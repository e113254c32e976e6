"""pH of buffers by temperature, and the slope of a glass electrode.

Read: JIS Z 8802 (confirmed 2011) as printed by HORIBA, “Reference solution”; Foxboro MI
611-211 (October 2005), tables 7 (“American”) and 8 (“NIST”); Hetzer's equation for the
phthalate buffer (J. Res. NBS 81A, 005, 1977) as quoted at m.booksci.cn; NBS values of
borax and carbonate at 25 °C from the abstract of J. Res. NBS 73A, 004. The slope:
knowledge.reagecon.com and grscientific.com.
"""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal

import pytest
from scipy import constants

from quality.statistics.buffers import BufferSet, buffer_ph
from quality.statistics.instruments import nernst_slope
from tests.reference.outside import Check, Flag

pytestmark = pytest.mark.any_engine

SOURCE = "JIS Z 8802:2011, Foxboro MI 611-211, Hetzer 1977"
STANDARD, TECHNICAL = BufferSet.STANDARD, BufferSet.TECHNICAL

# Rows of the printed tables, copied from them and not from our module.
JIS = {
    5: {"4.01": "4.01", "6.86": "6.95", "9.18": "9.39", "10.02": "10.25"},
    20: {"4.01": "4.00", "6.86": "6.88", "9.18": "9.22", "10.02": "10.07"},
    25: {"4.01": "4.01", "6.86": "6.86", "9.18": "9.18", "10.02": "10.02"},
    30: {"4.01": "4.01", "6.86": "6.85", "9.18": "9.14", "10.02": "9.97"},
}
FOXBORO = {
    15: {"4.00": "4.00", "7.00": "7.04", "10.01": "10.12"},
    20: {"4.00": "4.00", "7.00": "7.02", "10.01": "10.06"},
    25: {"4.00": "4.00", "7.00": "7.00", "10.01": "10.01"},
    30: {"4.00": "4.01", "7.00": "6.99", "10.01": "9.97"},
}


def ours(which: BufferSet, name: str, degrees: float) -> Callable[[], Decimal]:
    return lambda: buffer_ph(which, name, Decimal(str(degrees)))


def slope(degrees: float) -> Callable[[], float]:
    return lambda: nernst_slope(degrees)


def phthalate(degrees: float) -> float:
    """Return Hetzer's pH(S) of 0.05 molal potassium hydrogen phthalate."""
    kelvin = degrees + 273.15
    return 2073.44 / kelvin - 13.3270 + 0.045199 * kelvin - 3.4846e-5 * kelvin**2


def ideal_slope(degrees: float) -> float:
    """Return R·T·ln 10/F in mV, from the constants of scipy (CODATA)."""
    kelvin = degrees + constants.zero_Celsius
    faraday = constants.e * constants.N_A
    return 1000 * constants.R * kelvin * 2.302585092994046 / faraday


CHECKS = [
    *(
        Check(what=f"standard buffer {name} at {degrees} °C",
              clause="JIS Z 8802, as printed by HORIBA", flag=Flag.SECOND_HAND,
              ours=ours(STANDARD, name, degrees), published=Decimal(ph))
        for degrees, row in JIS.items() for name, ph in row.items()
    ),
    *(
        Check(what=f"technical buffer {name} at {degrees} °C",
              clause="Foxboro MI 611-211, Table 7", flag=Flag.SEEN,
              ours=ours(TECHNICAL, name, degrees), published=Decimal(ph))
        for degrees, row in FOXBORO.items() for name, ph in row.items()
    ),
    # Both printed tables are rounded to 0.01, so they may differ by as much.
    Check(what="NIST buffer 9.18 at 5 °C", clause="Foxboro MI 611-211, Table 8",
          flag=Flag.SEEN, ours=ours(STANDARD, "9.18", 5), published=9.40,
          within=0.0101),
    Check(what="NIST buffer 4.01 at 0 °C", clause="Foxboro MI 611-211, Table 8",
          flag=Flag.SEEN, ours=ours(STANDARD, "4.01", 0), published=4.00,
          within=0.0101),
    Check(what="borax at 25 °C", clause="J. Res. NBS 73A.004", flag=Flag.SECOND_HAND,
          ours=ours(STANDARD, "9.18", 25), published=9.180, within=5e-3),
    Check(what="carbonate at 25 °C", clause="J. Res. NBS 73A.004",
          flag=Flag.SECOND_HAND, ours=ours(STANDARD, "10.02", 25), published=10.012,
          within=0.0101),
    *(
        Check(what=f"phthalate at {degrees} °C by Hetzer's equation",
              clause="J. Res. NBS 81A.005", flag=Flag.SECOND_HAND,
              ours=ours(STANDARD, "4.01", degrees), published=phthalate(degrees),
              within=7e-3)
        for degrees in (0, 10, 17.5, 20, 22.5, 25, 30, 37.5, 40, 50)
    ),
    Check(what="ideal slope at 25 °C, mV", clause="knowledge.reagecon.com",
          flag=Flag.SEEN, ours=lambda: nernst_slope(25), published=59.16, within=5e-3),
    *(
        Check(what=f"ideal slope at {degrees} °C, mV", clause="scipy.constants",
              flag=Flag.SEEN, ours=slope(degrees),
              published=ideal_slope(degrees), relative=1e-9)
        for degrees in (0, 20, 40)
    ),
]  # fmt: skip


@pytest.mark.parametrize("check", CHECKS, ids=str)
def test_published_value(check: Check) -> None:
    check.hold()
