"""Run rules as two published sets have them.

Western Electric, Statistical Quality Control Handbook, 1956, as a help page that cites
NIST/SEMATECH 6.3.2 gives them (develve.net/Control%20Chart.html) and as a textbook
glossary does (documentation.statsoft.com, Western Electric Run Rules). L. S. Nelson,
J. Qual. Technol. 16 (1984) 238–239, as an encyclopedia quotes it
(www-labs.iro.umontreal.ca/~felipe, Nelson_rules; pinzhi.org, tests for special causes).
Each value is the fewest points in a row that make the pattern.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import pytest

from quality.statistics.run_rules import NELSON_RULES, WECO_RULES, Rule, signals
from tests.reference.outside import Check, Flag

pytestmark = pytest.mark.any_engine

SOURCE = "Western Electric 1956 and Nelson 1984"


def fewest(
    rules: Sequence[Rule], number: int, point: Callable[[int], float]
) -> Callable[[], int]:
    """Return how many points of a pattern it takes until its rule speaks."""

    def ours() -> int:
        (rule,) = (rule for rule in rules if rule.number == number)
        for count in range(1, 40):
            series = [point(place) for place in range(count)]
            if signals(series, centre=0, sigma=1, rules=[rule]):
                return count
        return 0

    return ours


def flat(height: float) -> Callable[[int], float]:
    return lambda place: height


CHECKS = [
    Check(what="beyond 3σ", clause="WECO 1", flag=Flag.SECOND_HAND,
          ours=fewest(WECO_RULES, 1, flat(3.1)), published=1),
    Check(what="2 of 3 beyond 2σ", clause="WECO 2", flag=Flag.SECOND_HAND,
          ours=fewest(WECO_RULES, 2, flat(2.1)), published=2),
    Check(what="4 of 5 beyond 1σ", clause="WECO 3", flag=Flag.SECOND_HAND,
          ours=fewest(WECO_RULES, 3, flat(1.1)), published=4),
    Check(what="in a row on one side", clause="WECO 4", flag=Flag.SECOND_HAND,
          ours=fewest(WECO_RULES, 4, flat(0.1)), published=8),
    Check(what="beyond 3σ", clause="Nelson 1", flag=Flag.SECOND_HAND,
          ours=fewest(NELSON_RULES, 1, flat(3.1)), published=1),
    Check(what="in a row on one side", clause="Nelson 2", flag=Flag.SECOND_HAND,
          ours=fewest(NELSON_RULES, 2, flat(0.1)), published=9),
    Check(what="rising all along", clause="Nelson 3", flag=Flag.SECOND_HAND,
          ours=fewest(NELSON_RULES, 3, lambda place: place / 10), published=6),
    Check(what="up and down by turns", clause="Nelson 4", flag=Flag.SECOND_HAND,
          ours=fewest(NELSON_RULES, 4, lambda place: (-1) ** place), published=14),
    Check(what="2 of 3 beyond 2σ", clause="Nelson 5", flag=Flag.SECOND_HAND,
          ours=fewest(NELSON_RULES, 5, flat(2.1)), published=2),
    Check(what="4 of 5 beyond 1σ", clause="Nelson 6", flag=Flag.SECOND_HAND,
          ours=fewest(NELSON_RULES, 6, flat(1.1)), published=4),
    Check(what="within 1σ", clause="Nelson 7", flag=Flag.SECOND_HAND,
          ours=fewest(NELSON_RULES, 7, lambda place: (-1) ** place / 2), published=15),
    Check(what="none within 1σ, both sides", clause="Nelson 8", flag=Flag.SECOND_HAND,
          ours=fewest(NELSON_RULES, 8, lambda place: 2 * (-1) ** place), published=8),
]  # fmt: skip


@pytest.mark.parametrize("check", CHECKS, ids=str)
def test_published_value(check: Check) -> None:
    check.hold()
