"""The inputs of a budget, and where their uncertainty comes from: type A and type B.

Source: JCGM 100:2008 (GUM), 4.2 for readings, 4.3 for what is believed.

Floats, not Decimal: an uncertainty is known to two digits, and arrays of draws go
through the same formula. Decimals of records are converted here, in :class:`Quantity`,
and nowhere else.

>>> u = rectangular("published range", Decimal("256.5"), Decimal("8.5"))
>>> round(u.standard_uncertainty, 3)
4.907
"""

from __future__ import annotations

import dataclasses
import enum
import math
import statistics
from collections.abc import Iterable
from decimal import Decimal
from typing import Any

from quality.statistics.errors import InputError

Number = float | Decimal

FEWEST_READINGS = 2


class Distribution(enum.StrEnum):
    """What is believed of an input around its value. GUM 4.3, JCGM 101:2008, 6.4.

    >>> Distribution.ARCSINE.label
    'arcsine'
    """

    NORMAL = "normal"
    RECTANGULAR = "rectangular"
    TRIANGULAR = "triangular"
    ARCSINE = "arcsine"

    @property
    def label(self) -> str:
        """The word shown on screens and prints."""
        return self.value

    @property
    def divisor(self) -> float:
        """What the half width is divided by to give u; 1 for the normal one.

        GUM 4.3.7 (rectangle, √3), 4.3.9 (triangle, √6), H.1.3.4 (arcsine, √2).
        """
        return math.sqrt(_DIVISORS[self])


_DIVISORS = {
    Distribution.NORMAL: 1,
    Distribution.RECTANGULAR: 3,
    Distribution.TRIANGULAR: 6,
    Distribution.ARCSINE: 2,
}


@dataclasses.dataclass(frozen=True, kw_only=True)
class Quantity:
    """An input: its value, its standard uncertainty u, and where these come from.

    ``value`` and ``standard_uncertainty`` are in ``unit``. ``degrees_of_freedom`` says
    how well u itself is known; infinite for what is taken as certain. Something that is
    the same for several masses (one certificate, one scale) is one quantity, used
    several times in the formula.

    Raises :class:`InputError` for what is no number, u below zero, or no degrees of
    freedom.

    >>> Quantity(name="tare", value=Decimal("12.5"), standard_uncertainty=0.1).value
    12.5
    """

    name: str
    value: float
    standard_uncertainty: float
    unit: str = ""
    distribution: Distribution = Distribution.NORMAL
    degrees_of_freedom: float = math.inf
    origin: str = ""

    def __post_init__(self) -> None:
        for field in ("value", "standard_uncertainty", "degrees_of_freedom"):
            object.__setattr__(self, field, float(getattr(self, field)))
        if not math.isfinite(self.value):
            raise InputError(f"“{self.name}” has no value: check what was entered.")
        if not 0 <= self.standard_uncertainty < math.inf:
            raise InputError(
                f"The uncertainty of “{self.name}” is not a number from zero up: check"
                " what was entered."
            )
        if not self.degrees_of_freedom > 0:
            raise InputError(
                f"“{self.name}” has no degrees of freedom: at least two readings are"
                " needed to know how they spread."
            )


def normal(name: str, value: Number, u: Number, **facts: Any) -> Quantity:
    """Return an input with a known standard uncertainty ``u``. GUM 4.3.3.

    ``facts`` here and below are ``unit``, ``origin`` and ``degrees_of_freedom``.

    >>> normal("assay", Decimal("90"), Decimal("0.25"), unit="%").standard_uncertainty
    0.25
    """
    return Quantity(
        name=name, value=float(value), standard_uncertainty=float(u), **facts
    )


def rectangular(name: str, value: Number, half_width: Number, **facts: Any) -> Quantity:
    """Return an input that is known only to lie within ± ``half_width``. GUM 4.3.7.

    >>> round(rectangular("SV", 256.5, 8.5).standard_uncertainty, 3)
    4.907
    """
    return _bounded(Distribution.RECTANGULAR, name, value, half_width, facts)


def triangular(name: str, value: Number, half_width: Number, **facts: Any) -> Quantity:
    """Return an input within ± ``half_width``, likelier near the middle. GUM 4.3.9.

    >>> round(triangular("flask", 100, 0.1, unit="ml").standard_uncertainty, 4)
    0.0408
    """
    return _bounded(Distribution.TRIANGULAR, name, value, half_width, facts)


def arcsine(name: str, value: Number, half_width: Number, **facts: Any) -> Quantity:
    """Return an input that swings to and fro by ± ``half_width``. GUM H.1.3.4.

    >>> round(arcsine("room", 20, 0.5, unit="°C").standard_uncertainty, 4)
    0.3536
    """
    return _bounded(Distribution.ARCSINE, name, value, half_width, facts)


def resolution(name: str, value: Number, step: Number, **facts: Any) -> Quantity:
    """Return a reading of a display that moves in steps: u = step/√12. GUM F.2.2.1.

    >>> round(resolution("scale", 500, 1, unit="g").standard_uncertainty, 4)
    0.2887
    """
    return _bounded(Distribution.RECTANGULAR, name, value, float(step) / 2, facts)


def readings(name: str, values: Iterable[Number], **facts: Any) -> Quantity:
    """Return the mean of repeated readings, u = s/√n, n − 1 degrees. GUM 4.2 (type A).

    Raises :class:`InputError` with fewer than two readings.

    >>> mean = readings("titration", [10.1, 10.3, 10.2], unit="ml")
    >>> mean.degrees_of_freedom, round(mean.standard_uncertainty, 4)
    (2.0, 0.0577)
    """
    seen = [float(value) for value in values]
    if len(seen) < FEWEST_READINGS:
        raise InputError(
            f"“{name}” has {len(seen)} reading(s): at least two are needed to know how"
            " they spread."
        )
    if not all(map(math.isfinite, seen)):
        raise InputError(f"A reading of “{name}” is no number: check what was entered.")
    facts = {"degrees_of_freedom": len(seen) - 1, **facts}
    u = statistics.stdev(seen) / math.sqrt(len(seen))
    return normal(name, statistics.fmean(seen), u, **facts)


def _bounded(
    distribution: Distribution,
    name: str,
    value: Number,
    half_width: Number,
    facts: dict[str, Any],
) -> Quantity:
    return Quantity(
        name=name,
        value=float(value),
        standard_uncertainty=float(half_width) / distribution.divisor,
        distribution=distribution,
        **facts,
    )
