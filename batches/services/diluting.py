"""The water of a dilution that aims at a soap content, from the very paste in it."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from decimal import Decimal

from batches.chemistry.dilution import water_for_content
from batches.chemistry.errors import ChemistryError
from batches.models import Batch, Charge, FormulaLine
from batches.services.formulas import PER_KG
from batches.services.outcome import soap_content_of
from producer.models import Material, Stock
from producer.quantities import grams, milligrams


@dataclasses.dataclass(frozen=True, kw_only=True)
class Aim:
    """The mass of water that brings a dilution to its soap content, and why it is so.

    ``water_mg`` is None where it cannot be computed: no mass rather than a wrong one.
    """

    water_mg: int | None
    words: str


def aim_of(
    batch: Batch,
    lines: list[FormulaLine],
    chosen: Mapping[int, Stock],
    charges: Mapping[int | None, list[Charge]],
    basis_mg: int,
) -> Aim | None:
    """Return the water of a version that aims at a soap content; None of another."""
    target = batch.formula_version.soap_content_target
    if target is None:
        return None
    pastes: list[tuple[Stock, int]] = []
    others_mg = 0
    for line in lines:
        if line.source_formula_id is not None:
            weighed = [(row.source, row.net_mg) for row in charges[line.pk]]
            planned = [(chosen[line.pk], basis_mg)] if line.pk in chosen else []
            pastes += [(stock, mg) for stock, mg in weighed or planned if mg > 0]
        elif not is_water(line):
            weighed_mg = sum(row.net_mg for row in charges[line.pk])
            others_mg += weighed_mg or basis_mg * (line.per_kg_mg or 0) // PER_KG
    return water_for(target_percent=target, pastes=pastes, others_mg=others_mg)


def is_water(line: FormulaLine) -> bool:
    """Say whether a line of a formula is water."""
    return line.material is not None and line.material.kind == Material.Kind.WATER


def water_for(
    *, target_percent: Decimal, pastes: Sequence[tuple[Stock, int]], others_mg: int
) -> Aim:
    """Return the water for pastes, each a stock and a mass in mg, to a soap content.

    What else goes in, ``others_mg``, thins the soap as water does and is taken off.
    """
    if not pastes:
        return Aim(water_mg=None, words="Computed when the paste is chosen.")
    soap, total = Decimal(0), Decimal(0)
    for stock, mass_mg in pastes:
        content = soap_content_of(Batch.objects.get(pk=stock.pk))
        if content.percent is None:
            return Aim(
                water_mg=None,
                words=(
                    f"Not computed: the soap content of {stock.code} is not known."
                    f" {content.sentence}"
                ),
            )
        soap += content.percent * mass_mg
        total += mass_mg
    return _water(target_percent, soap / total, total, others_mg, _codes(pastes))


def _water(
    target: Decimal, content: Decimal, paste_mg: Decimal, others_mg: int, codes: str
) -> Aim:
    try:
        water_g = water_for_content(grams(int(paste_mg)), content, target)
    except ChemistryError:
        return Aim(
            water_mg=None,
            words=(
                f"Not computed: {codes} holds {content:.1f} % of soap, and water cannot"
                f" make {_plain(target)} % of that. Take a richer paste."
            ),
        )
    water_mg = milligrams(water_g) - others_mg
    if water_mg < 0:
        return Aim(
            water_mg=None,
            words=(
                "Not computed: what else goes in thins the soap more than"
                f" {_plain(target)} % allows."
            ),
        )
    return Aim(
        water_mg=water_mg,
        words=(
            f"For {_plain(target)} % of soap, from the {content:.1f} % that {codes}"
            " holds by what was weighed into it."
        ),
    )


def _codes(pastes: Sequence[tuple[Stock, int]]) -> str:
    return " and ".join(dict.fromkeys(stock.code for stock, _ in pastes))


def _plain(percent: Decimal) -> str:
    return f"{percent.normalize():f}"
