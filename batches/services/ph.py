"""What the pH test sees of free alkali, for a solution of given strength and warmth.

The chemistry is in floats; here the Decimals that people type become floats and the
answers become Decimals.
"""

from __future__ import annotations

import dataclasses
from decimal import Decimal

from batches.chemistry import ph as chemistry
from batches.chemistry.errors import OutOfRangeError
from producer.errors import Refusal

# Percent of KOH in the paste: none, traces, what people ask for, what burns.
SHOWN = tuple(Decimal(text) for text in ("0", "0.01", "0.05", "0.1", "0.25", "0.5"))


@dataclasses.dataclass(frozen=True, kw_only=True)
class Expected:
    """The least pH of a share of free alkali; ``real`` is None beyond the formula."""

    free_alkali_percent: Decimal
    ideal: Decimal
    real: Decimal | None


@dataclasses.dataclass(frozen=True, kw_only=True)
class Behind:
    """The most free alkali, in percent of the paste, that can be behind a pH."""

    ph: Decimal
    ideal_percent: Decimal
    real_percent: Decimal


@dataclasses.dataclass(frozen=True, kw_only=True)
class Sight:
    """What a test solution shows: ``neutral`` pH, a table, and what was asked."""

    strength_percent: Decimal
    temperature_c: Decimal
    neutral: Decimal
    table: list[Expected]
    expected: Expected | None = None
    behind: Behind | None = None


def sight(
    *,
    strength_percent: Decimal,
    temperature_c: Decimal,
    free_alkali_percent: Decimal | None = None,
    ph: Decimal | None = None,
) -> Sight:
    """Return what a pH test of such a solution sees of free alkali.

    Raises :class:`Refusal` beside the field whose value is outside what is published.
    """
    _check_solution(strength_percent, temperature_c)
    solution = (strength_percent, temperature_c)
    return Sight(
        strength_percent=strength_percent,
        temperature_c=temperature_c,
        neutral=_expected(Decimal(0), *solution).ideal,
        table=[_expected(share, *solution) for share in SHOWN],
        expected=(
            None
            if free_alkali_percent is None
            else _expected(free_alkali_percent, *solution)
        ),
        behind=None if ph is None else _behind(ph, *solution),
    )


def _check_solution(strength_percent: Decimal, temperature_c: Decimal) -> None:
    try:
        chemistry.molality(
            free_alkali_percent=0.0, strength_percent=float(strength_percent)
        )
    except OutOfRangeError as error:
        raise Refusal(str(error), field="strength") from error
    try:
        chemistry.ph_of(0.0, float(temperature_c), ideal=True)
    except OutOfRangeError as error:
        raise Refusal(str(error), field="temperature") from error


def _expected(share: Decimal, strength: Decimal, celsius: Decimal) -> Expected:
    try:
        found = chemistry.molality(
            free_alkali_percent=float(share), strength_percent=float(strength)
        )
        ideal = chemistry.ph_of(found, float(celsius), ideal=True)
    except OutOfRangeError as error:
        raise Refusal(str(error), field="free_alkali") from error
    real: Decimal | None = None
    if found <= chemistry.DAVIES_TO:
        real = Decimal(chemistry.ph_of(found, float(celsius), ideal=False))
    return Expected(free_alkali_percent=share, ideal=Decimal(ideal), real=real)


def _behind(ph: Decimal, strength: Decimal, celsius: Decimal) -> Behind:
    try:
        ideal, real = (
            chemistry.free_alkali(
                ph=float(ph),
                strength_percent=float(strength),
                temperature_c=float(celsius),
                ideal=ideal,
            )
            for ideal in (True, False)
        )
    except OutOfRangeError as error:
        raise Refusal(str(error), field="ph") from error
    return Behind(ph=ph, ideal_percent=Decimal(ideal), real_percent=Decimal(real))
