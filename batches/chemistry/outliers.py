"""Does one of a few repeated results stand out? Flagged and kept, never dropped.

Float: a test statistic and a quantile of Student's t are no amounts that must close.

>>> standing_out([9.1, 9.2, 9.1, 9.9]), standing_out([9.1, 9.2, 9.1, 9.3])
(3, None)
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence

from scipy import special

from batches.chemistry.errors import OutOfRangeError

SIGNIFICANCE = 0.05
FEWEST = 3


def critical_value(count: int, *, significance: float = SIGNIFICANCE) -> float:
    """Return the critical value of Grubbs' test for one outlier on either side.

    (n − 1)/√n · √(t²/(n − 2 + t²)), with t the upper α/(2n) quantile of Student's t
    with n − 2 degrees of freedom. Source: NIST/SEMATECH e-Handbook 1.3.5.17.1.

    >>> round(critical_value(4), 3)
    1.481

    Raises :class:`OutOfRangeError` for fewer than three results.
    """
    if count < FEWEST:
        raise OutOfRangeError(
            "With fewer than three results none can be said to stand out."
        )
    if not 0 < significance < 1:
        raise OutOfRangeError("A level of significance lies between 0 and 1.")
    quantile = float(special.stdtrit(count - 2, 1 - significance / (2 * count)))
    ratio = quantile**2 / (count - 2 + quantile**2)
    return (count - 1) / math.sqrt(count) * math.sqrt(ratio)


def grubbs(values: Sequence[float]) -> tuple[float, int]:
    """Return G = max|x − mean|/s of some results, and which one it belongs to.

    Results that are all the same give 0. Source: NIST/SEMATECH e-Handbook 1.3.5.17.1.

    >>> largest, which = grubbs([1.0, 1.0, 1.0, 2.0])
    >>> round(largest, 3), which
    (1.5, 3)
    """
    middle = statistics.fmean(values)
    spread = statistics.stdev(values)
    away = [abs(value - middle) for value in values]
    which = max(range(len(values)), key=away.__getitem__)
    return (away[which] / spread if spread else 0.0), which


def standing_out(values: Sequence[float]) -> int | None:
    """Return the place of a result that stands out at the 5 % level, or None.

    Grubbs' test, two-sided; with fewer than three results nothing can be said. It
    raises a question for the maker, it settles none: the result stays and counts.

    >>> standing_out([190.1, 190.3]) is None
    True
    """
    if len(values) < FEWEST:
        return None
    largest, which = grubbs(values)
    return which if largest > critical_value(len(values)) else None
