"""One determination from several samples: mean, spread, uncertainty, outliers.

The mean and its uncertainty are Decimal, because they go on record; only the test for
an outlier is float.
"""

from __future__ import annotations

import dataclasses
import enum
import math
from collections.abc import Sequence
from decimal import Decimal
from typing import Final

from scipy import special

from batches.chemistry import titration
from batches.chemistry.constants import MOLAR_MASS_K2CO3
from batches.chemistry.errors import ChemistryError, OutOfRangeError
from batches.chemistry.estimates import rectangular_around
from batches.chemistry.outliers import standing_out


class Kind(enum.StrEnum):
    """What is determined, and in which unit: % KOH, mg KOH/g, mg KOH/g, % KOH."""

    POTASH = "potash"
    SAPONIFICATION_VALUE = "saponification_value"
    ACID_VALUE = "acid_value"
    FREE_ALKALI = "free_alkali"


@dataclasses.dataclass(frozen=True, kw_only=True)
class Sample:
    """One sample in grams, and the titrant it took in ml.

    ``second_volume_ml`` is the acid in all to the second end point, for potash only.
    A sample that does not count stays in the list.
    """

    mass_g: Decimal
    volume_ml: Decimal
    second_volume_ml: Decimal | None = None
    counts: bool = True


@dataclasses.dataclass(frozen=True, kw_only=True)
class Bench:
    """What the samples share: titrant in mol/l, burette and balance, a blank in ml.

    The half widths are the ± of label and glass; ``balance_uncertainty_g`` is the
    standard uncertainty of a sample's mass. Raises :class:`OutOfRangeError` for a
    burette without a ±, which no burette is.
    """

    concentration: Decimal
    burette_half_width: Decimal
    balance_uncertainty_g: Decimal
    concentration_half_width: Decimal = Decimal(0)
    blank_ml: Decimal | None = None

    def __post_init__(self) -> None:
        if self.burette_half_width <= 0:
            raise OutOfRangeError(
                "No burette is exact. Write the ± that is printed on it; 0.05 ml for a"
                " common one of 25 ml."
            )
        if self.concentration_half_width < 0 or self.balance_uncertainty_g < 0:
            raise OutOfRangeError("Write a ± without a sign.")


@dataclasses.dataclass(frozen=True, kw_only=True)
class Determination:
    """The result of all samples that count, in the unit of its kind.

    ``values`` are those of each sample, also of those that do not count. ``suspect``
    is the place of one that stands out; it is kept. ``standard_deviation`` is None with
    one sample. ``carbonate`` is percent of K2CO3, for potash only.
    """

    values: tuple[Decimal, ...]
    value: Decimal
    standard_uncertainty: Decimal
    standard_deviation: Decimal | None
    counted: int
    suspect: int | None
    carbonate: Decimal | None = None
    carbonate_uncertainty: Decimal | None = None


@dataclasses.dataclass(frozen=True)
class _Series:
    """Results of one component: value = factor·c·v/m, with v of several readings."""

    values: tuple[Decimal, ...]
    factor: Decimal
    # Sum of squares of how often each burette reading enters v.
    readings: int


_MG_PER_G_IN_PERCENT: Final = 10
COVERAGE: Final = math.erf(math.sqrt(2))  # 95.45 %: a normal within two u


def determine(kind: Kind, samples: Sequence[Sample], bench: Bench) -> Determination:
    """Return the result of several samples, with its standard uncertainty.

    Type A is s/√n of the samples that count, GUM 4.2.3, widened by t/2 for how few
    they are, so that two standard uncertainties hold what Student's t would, GUM G.3:
    three samples count 2.3 times, two 7 times. With one sample it is not known and
    left out, which :attr:`Determination.counted` says. Type B are titrant,
    burette and balance, rectangular where a ± is given, GUM 4.3.7; all samples share
    them, so they do not shrink with n. Both combined as independent, GUM 5.1.2.

    An outlier is suspected by Grubbs' test over all samples and never dropped.

    Raises :class:`ChemistryError` without a sample that counts, and what the formula of
    the kind raises.

    >>> bench = Bench(
    ...     concentration=Decimal("0.1"),
    ...     concentration_half_width=Decimal("0.0005"),
    ...     burette_half_width=Decimal("0.05"),
    ...     balance_uncertainty_g=Decimal("0.01"),
    ... )
    >>> found = determine(
    ...     Kind.FREE_ALKALI,
    ...     [
    ...         Sample(mass_g=Decimal(10), volume_ml=Decimal("2.0")),
    ...         Sample(mass_g=Decimal(10), volume_ml=Decimal("2.1")),
    ...     ],
    ...     bench,
    ... )
    >>> found.value.quantize(Decimal("0.0001")), found.counted
    (Decimal('0.1150'), 2)
    """
    if not any(sample.counts for sample in samples):
        raise ChemistryError("No sample counts. Titrate at least one.")
    main, carbonate = _series(kind, samples, bench)
    value, spread, uncertainty = _summary(main, samples, bench)
    found = Determination(
        values=main.values,
        value=value,
        standard_uncertainty=uncertainty,
        standard_deviation=spread,
        counted=sum(sample.counts for sample in samples),
        suspect=standing_out([float(one) for one in main.values]),
    )
    if carbonate is None:
        return found
    share, _, doubt = _summary(carbonate, samples, bench)
    return dataclasses.replace(found, carbonate=share, carbonate_uncertainty=doubt)


def _series(
    kind: Kind, samples: Sequence[Sample], bench: Bench
) -> tuple[_Series, _Series | None]:
    if kind is Kind.POTASH:
        return _potash(samples, bench)
    if kind is Kind.SAPONIFICATION_VALUE:
        return _saponification(samples, bench), None
    formula = titration.acid_value if kind is Kind.ACID_VALUE else titration.free_alkali
    per_mg = 1 if kind is Kind.ACID_VALUE else _MG_PER_G_IN_PERCENT
    values = tuple(
        formula(
            mass_g=sample.mass_g,
            volume_ml=sample.volume_ml,
            concentration=bench.concentration,
            blank_ml=bench.blank_ml or Decimal(0),
        )
        for sample in samples
    )
    readings = 2 if bench.blank_ml else 1
    return _Series(values, titration.KOH / per_mg, readings), None


def _saponification(samples: Sequence[Sample], bench: Bench) -> _Series:
    if bench.blank_ml is None:
        raise ChemistryError(
            "A saponification value needs a blank: the same potash, boiled without oil."
        )
    values = tuple(
        titration.saponification_value(
            mass_g=sample.mass_g,
            volume_ml=sample.volume_ml,
            concentration=bench.concentration,
            blank_ml=bench.blank_ml,
        )
        for sample in samples
    )
    return _Series(values, titration.KOH, 2)


def _potash(samples: Sequence[Sample], bench: Bench) -> tuple[_Series, _Series]:
    pairs = []
    for sample in samples:
        if sample.second_volume_ml is None:
            raise ChemistryError(
                "Potash is titrated to two end points. Write the acid in all, to the"
                " second one, for each sample."
            )
        pairs.append(
            titration.potash_by_two_indicators(
                mass_g=sample.mass_g,
                first_ml=sample.volume_ml,
                total_ml=sample.second_volume_ml,
                concentration=bench.concentration,
            )
        )
    # Hydroxide is 2a − b: the first reading enters twice. Carbonate is b − a.
    hydroxide = _Series(
        tuple(one for one, _ in pairs), titration.KOH / _MG_PER_G_IN_PERCENT, 4 + 1
    )
    per_carbonate = MOLAR_MASS_K2CO3.value / _MG_PER_G_IN_PERCENT
    carbonate = _Series(tuple(two for _, two in pairs), per_carbonate, 1 + 1)
    return hydroxide, carbonate


def _summary(
    series: _Series, samples: Sequence[Sample], bench: Bench
) -> tuple[Decimal, Decimal | None, Decimal]:
    """Return mean, standard deviation and standard uncertainty of a component."""
    counted = [
        (value, sample)
        for value, sample in zip(series.values, samples, strict=True)
        if sample.counts
    ]
    count = len(counted)
    mean = sum((value for value, _ in counted), Decimal(0)) / count
    mass = sum((sample.mass_g for _, sample in counted), Decimal(0)) / count
    spread: Decimal | None = None
    variance = Decimal(0)
    if count > 1:
        squares = sum(((value - mean) ** 2 for value, _ in counted), Decimal(0))
        spread = (squares / (count - 1)).sqrt()
        variance = (_few(count) * spread) ** 2 / count
    titrant = rectangular_around(bench.concentration, bench.concentration_half_width)
    burette = rectangular_around(Decimal(0), bench.burette_half_width)
    variance += (mean * titrant.standard_uncertainty / bench.concentration) ** 2
    variance += (mean * bench.balance_uncertainty_g / mass) ** 2
    per_ml = series.factor * bench.concentration / mass
    variance += series.readings * (per_ml * burette.standard_uncertainty) ** 2
    return mean, spread, variance.sqrt()


def _few(count: int) -> Decimal:
    """Return t/2 for 95.45 % and so many samples: 1 for very many. GUM table G.2."""
    t = float(special.stdtrit(count - 1, (1 + COVERAGE) / 2))
    return Decimal(f"{t / 2:.4f}")
