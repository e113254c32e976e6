"""Correlations between inputs: which there are, and whether they can be together.

>>> from quality.statistics.quantities import normal
>>> inputs = [normal("scale A", 1, 0.1), normal("scale B", 2, 0.1)]
>>> checked_pairs(inputs, {("scale A", "scale B"): 0.5})
[(0, 1, 0.5)]
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from quality.statistics.errors import CorrelationError
from quality.statistics.quantities import Quantity

Correlations = Mapping[tuple[str, str], float]
Pair = tuple[int, int, float]

# Numerical noise of an eigenvalue that is nought; no correlation is known so well.
NOISE = 1e-9


def checked_pairs(
    quantities: Sequence[Quantity], correlations: Correlations
) -> list[Pair]:
    """Return the correlations as places in the list of inputs, with the coefficient.

    Raises :class:`CorrelationError` for a name that no input or more than one has, an
    input paired with itself, a pair given twice, a coefficient beyond ±1, and for
    coefficients that contradict each other (no positive semi-definite matrix).

    >>> from quality.statistics.quantities import normal
    >>> checked_pairs([normal("a", 1, 1)], {("a", "b"): 0.5})
    Traceback (most recent call last):
    quality.statistics.errors.CorrelationError: A correlation names “b”, which is no \
input: check the name.
    """
    names = [quantity.name for quantity in quantities]
    pairs: dict[tuple[int, int], float] = {}
    for (one, other), coefficient in correlations.items():
        first, second = sorted((_place(names, one), _place(names, other)))
        if first == second or (first, second) in pairs:
            raise CorrelationError(
                f"“{one}” and “{other}” are one input, or were given twice: name each"
                " pair once."
            )
        if not -1 <= coefficient <= 1:
            raise CorrelationError(
                f"The correlation of “{one}” and “{other}” is {coefficient}: it must"
                " lie from −1 to 1."
            )
        pairs[first, second] = float(coefficient)
    found = [(first, second, r) for (first, second), r in pairs.items()]
    if found and np.linalg.eigvalsh(matrix(len(names), found)).min() < -NOISE:
        raise CorrelationError(
            "These correlations contradict each other: no quantities can be related in"
            " this way. Check the coefficients and their signs."
        )
    return found


def matrix(size: int, pairs: Sequence[Pair]) -> NDArray[np.float64]:
    """Return the correlation matrix: 1 on the diagonal, 0 where nothing was given.

    >>> matrix(2, [(0, 1, 0.5)]).tolist()
    [[1.0, 0.5], [0.5, 1.0]]
    """
    full = np.eye(size)
    for first, second, coefficient in pairs:
        full[first, second] = full[second, first] = coefficient
    return full


def groups(size: int, pairs: Sequence[Pair]) -> list[list[int]]:
    """Return the inputs in groups: those that are related, directly or through others.

    >>> groups(4, [(0, 2, 0.5), (2, 3, 0.1)])
    [[0, 2, 3], [1]]
    """
    leader = list(range(size))
    for first, second, _ in pairs:
        kept, given_up = sorted((leader[first], leader[second]))
        leader = [kept if one == given_up else one for one in leader]
    gathered: dict[int, list[int]] = {}
    for place, one in enumerate(leader):
        gathered.setdefault(one, []).append(place)
    return list(gathered.values())


def _place(names: Sequence[str], name: str) -> int:
    places = [place for place, known in enumerate(names) if known == name]
    if not places:
        raise CorrelationError(
            f"A correlation names “{name}”, which is no input: check the name."
        )
    if len(places) > 1:
        raise CorrelationError(
            f"More than one input is called “{name}”: a correlation must name one."
        )
    return places[0]
