"""The library “chemicals”: IAPWS-95 for water, and the coefficients of Laliberté 2009.

Flag: seen, run here. The library shares no code with ours: its water is a Helmholtz
energy, ours are fits; of Laliberté's model it keeps the table alone.
"""

from __future__ import annotations

import csv
import functools
from pathlib import Path
from typing import Any

import chemicals
import chemicals.iapws
import pytest

from batches.chemistry import lye, water
from tests.reference.outside import Check, Flag

pytestmark = pytest.mark.any_engine

SOURCE = "chemicals 1.5 (IAPWS-95, Laliberté 2009)"
iapws: Any = chemicals.iapws  # it has no types
PRESSURE_PA = 101325.0
PRESSED_PA = 250000.0  # keeps water of 120 °C liquid
NAME = "1310-58-3"  # KOH


def library_density(celsius: float, pressure: float = PRESSURE_PA) -> float:
    return float(iapws.iapws95_rho(celsius + 273.15, pressure))


def library_heat_capacity(celsius: float) -> float:
    """J/(g K) by the derivatives of the Helmholtz energy, as IAPWS R6-95 has it."""
    tau = iapws.iapws95_Tc / (celsius + 273.15)
    delta = library_density(celsius, PRESSED_PA) / iapws.iapws95_rhoc
    first = iapws.iapws95_dAr_ddelta(tau, delta)
    second = iapws.iapws95_d2Ar_ddelta2(tau, delta)
    mixed = iapws.iapws95_d2Ar_ddeltadtau(tau, delta)
    curved = iapws.iapws95_d2A0_dtau2(tau, delta) + iapws.iapws95_d2Ar_dtau2(tau, delta)
    top = 1 + delta * first - delta * tau * mixed
    below = 1 + 2 * delta * first + delta**2 * second
    return float(iapws.iapws95_R * (top**2 / below - tau**2 * curved)) / 1000


def table_row() -> dict[str, list[float]]:
    path = Path(chemicals.__file__).parent / "Electrolytes" / "Laliberte2009.tsv"
    with path.open(encoding="utf-8") as file:
        row = next(row for row in csv.reader(file, delimiter="\t") if row[1] == NAME)
    return {
        "density": [float(cell) for cell in row[4:9]],
        "density range": [float(cell) for cell in row[9:12]],
        "heat": [float(cell) for cell in row[23:29]],
        "heat range": [float(cell) for cell in row[29:32]],
    }


ROW = table_row()
OURS = {
    "density": lye.DENSITY_C,
    "density range": (
        lye.DENSITY_FROM_C,
        lye.DENSITY_TO_C,
        lye.DENSITY_TO_STRENGTH,
    ),
    "heat": lye.HEAT_A,
    "heat range": (lye.HEAT_FROM_C, lye.HEAT_TO_C, lye.HEAT_TO_STRENGTH),
}
CHECKS = [
    *(
        Check(
            what=f"density of water at {celsius:g} °C, g/ml",
            clause="IAPWS R6-95(2018)",
            flag=Flag.SEEN,
            ours=functools.partial(water.density, celsius),
            published=library_density(celsius) / 1000,
            relative=2e-5,
        )
        for celsius in (4.0, 25.0, 60.0, 95.0)
    ),
    *(
        Check(
            what=f"heat capacity of water at {celsius:g} °C, J/(g K)",
            clause="IAPWS R6-95(2018)",
            flag=Flag.SEEN,
            ours=functools.partial(water.heat_capacity, celsius),
            published=library_heat_capacity(celsius),
            relative=1e-3,
        )
        for celsius in (4.0, 20.0, 50.0, 95.0, 120.0)
    ),
    *(
        Check(
            what=f"coefficient {place} of KOH, {part}",
            clause="Laliberte2009.tsv, row 1310-58-3",
            flag=Flag.SEEN,
            ours=functools.partial(lambda part, place: OURS[part][place], part, place),
            published=ROW[part][place],
            relative=1e-12,
        )
        for part in OURS
        for place in range(len(OURS[part]))
    ),
]


@pytest.mark.parametrize("check", CHECKS, ids=str)
def test_published_value(check: Check) -> None:
    check.hold()
