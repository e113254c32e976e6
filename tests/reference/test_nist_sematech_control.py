"""NIST/SEMATECH e-Handbook of Statistical Methods, doi:10.18434/M32189, chapter 6.

The pages of the handbook were not to hand. The numbers are second hand: as quoted in
two public verification files of other projects, which recompute them too. That the
data of the individuals chart are the last ten values of the EWMA example is from
memory, but they give all four printed results. 6.3.2.3 (CUSUM) is not used: its
numbers could not be confirmed, and we compute no such chart.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest

from quality.statistics.capability import Capability, capability, ppk_lower_bound
from quality.statistics.control import (
    EwmaChart,
    IndividualsChart,
    ewma_chart,
    individuals_chart,
)
from quality.statistics.run_rules import WECO_RULES, signals
from tests.reference.outside import Check, Flag

pytestmark = pytest.mark.any_engine

SOURCE = "NIST/SEMATECH e-Handbook of Statistical Methods"

BATCHES = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
TWENTY = [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, *BATCHES]
SMOOTHED = [50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11]
SMOOTHED += [49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99]
# The page cuts √(λ/(2 − λ)) to 0.4201, which moves its limits by 0.0001.
TRUNCATED = 2e-4


def individuals() -> IndividualsChart:
    return individuals_chart(BATCHES)


def ewma() -> EwmaChart:
    return ewma_chart(TWENTY, start=50, sigma=2.0539, weight=0.3, width=3)


def smoothed(place: int) -> Callable[[], float]:
    return lambda: ewma().smoothed[place]


def constructed() -> Capability:
    """Return indices of values of mean 16 and s 2, as the example has them."""
    # Forty values ± 2·√(39/40) about 16 have exactly these.
    reach = 2 * (39 / 40) ** 0.5
    result = capability([16 - reach, 16 + reach] * 20, lower=8, upper=20)
    assert isinstance(result, Capability)
    return result


CHECKS = [
    Check(what="mean of ten batches", clause="6.3.2.2", flag=Flag.SECOND_HAND,
          ours=lambda: individuals().centre, published=50.81, within=5e-3),
    Check(what="mean moving range", clause="6.3.2.2", flag=Flag.SECOND_HAND,
          ours=lambda: individuals().mean_range, published=1.8778, within=5e-5),
    Check(what="upper limit of individuals", clause="6.3.2.2", flag=Flag.SECOND_HAND,
          ours=lambda: individuals().upper, published=55.8041, within=5e-5),
    Check(what="lower limit of individuals", clause="6.3.2.2", flag=Flag.SECOND_HAND,
          ours=lambda: individuals().lower, published=45.8159, within=5e-5),
    *(
        Check(what=f"EWMA after value {place + 1}", clause="6.3.2.4",
              flag=Flag.SECOND_HAND, ours=smoothed(place), published=value,
              within=5.001e-3)
        for place, value in enumerate(SMOOTHED)
    ),
    Check(what="upper EWMA limit", clause="6.3.2.4", flag=Flag.SECOND_HAND,
          ours=lambda: ewma().upper[-1], published=52.5884, within=TRUNCATED),
    Check(what="lower EWMA limit", clause="6.3.2.4", flag=Flag.SECOND_HAND,
          ours=lambda: ewma().lower[0], published=47.4115, within=TRUNCATED),
    Check(what="EWMA points out of control", clause="6.3.2.4", flag=Flag.SECOND_HAND,
          ours=lambda: len(ewma().beyond), published=0),
    Check(what="Cp of USL 20, LSL 8, s 2", clause="6.1.6", flag=Flag.SECOND_HAND,
          ours=lambda: constructed().pp or 0, published=1.0, within=5e-5),
    Check(what="Cpk", clause="6.1.6", flag=Flag.SECOND_HAND,
          ours=lambda: constructed().ppk, published=0.6667, within=5e-5),
    Check(what="Cpu", clause="6.1.6", flag=Flag.SECOND_HAND,
          ours=lambda: constructed().ppu or 0, published=0.6667, within=5e-5),
    Check(what="Cpl", clause="6.1.6", flag=Flag.SECOND_HAND,
          ours=lambda: constructed().ppl or 0, published=1.3333, within=5e-5),
    # The verification file's own examples: two-sided 95 %, so each end is a one-sided
    # bound of 97.5 %.
    Check(what="lower end of the 95 % interval, Cpk 1.04, n 125", clause="6.1.6",
          flag=Flag.SECOND_HAND, ours=lambda: ppk_lower_bound(1.04, 125, 0.975),
          published=0.90, within=6e-3),
    Check(what="lower end of the 95 % interval, Cpk 1.07, n 30", clause="6.1.6",
          flag=Flag.SECOND_HAND, ours=lambda: ppk_lower_bound(1.07, 30, 0.975),
          published=0.77, within=6e-3),
    Check(what="signals of the WECO rules in ten batches", clause="6.3.2, 6.3.2.2",
          flag=Flag.MEMORY,
          ours=lambda: len(
              signals(BATCHES, centre=individuals().centre, sigma=individuals().sigma,
                      rules=WECO_RULES[:1])
          ), published=0),
]  # fmt: skip


@pytest.mark.parametrize("check", CHECKS, ids=str)
def test_published_value(check: Check) -> None:
    check.hold()
