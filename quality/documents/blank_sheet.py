"""The batch sheet as a blank: for a formula version, before there is any batch.

For a day without power or telephone. What follows from the lots cannot be computed
beforehand: the rule stands on the sheet, with room for the figures.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from decimal import Decimal
from typing import Any, Final

from batches.chemistry.saponification import Oil, alkali_need, potash_to_weigh
from batches.models import FormulaLine, FormulaVersion
from batches.services.formulas import PER_KG, newest_version
from producer import prints
from producer.models import Material
from producer.quantities import format_number
from quality.documents.batch_sheet import AFTER, DURING, PAGES, READINGS
from quality.models import Characteristic, Limit
from quality.services.before_the_cook import BEFORE, key_of

TEMPLATE = "quality/blank_sheet.html"
KG = 1_000_000  # milligrams
# How it is set, the roomiest first: classes of the style sheet of prints.
ROOMS: Final = ("", "dense", "dense close", "dense close tight")
MOST_OILS: Final = 6  # on both sides of one sheet, however long their names
# The example on the sheet: mass in g and saponification value of each oil, and P.
EXAMPLE_OILS: Final = ((Decimal(800), Decimal(191)), (Decimal(200), Decimal(256)))
EXAMPLE_SHARE: Final = Decimal("0.90")


@dataclasses.dataclass(frozen=True, kw_only=True)
class BlankLine:
    """A line to weigh: for one kilogram of the basis, or for the mass asked for."""

    number: int
    name: str
    mass_mg: int | None
    is_potash: bool
    is_oil: bool
    note: str


@dataclasses.dataclass(frozen=True, kw_only=True)
class Example:
    """A worked example of the potash rule, in words and figures."""

    potash_g: Decimal
    words: str


def blank_sheet_pdf(
    version: FormulaVersion, *, basis_mg: int | None, printed_by: str
) -> bytes:
    """Return the blank sheet of a formula version as PDF.

    ``basis_mg`` is the mass of all oils of a cook, or of the paste of a dilution; None
    leaves it open. Set smaller, step by step, until it fits both sides of one sheet;
    the smallest holds :data:`MOST_OILS` oils, and more take a third page.
    """
    context = context_of(version, basis_mg)
    for room in ROOMS:
        sheet = prints.lay_out(
            TEMPLATE, {**context, "room": room}, printed_by=printed_by
        )
        if len(sheet.pages) <= PAGES:
            break
    result: bytes = sheet.write_pdf()
    return result


def context_of(version: FormulaVersion, basis_mg: int | None) -> Mapping[str, Any]:
    """Return what the blank sheet of a formula version says."""
    key = key_of(version.formula.kind)
    lines = _lines(version, basis_mg)
    return {
        "version": version,
        "is_newest": newest_version(version.formula).pk == version.pk,
        "basis_mg": basis_mg,
        "is_cook": key == "cook",
        "lines": lines,
        "oils": [line for line in lines if line.is_oil],
        "example": example(),
        **_limits(version),
        "before": BEFORE[key],
        "during": DURING[key],
        "after": AFTER[key],
        "readings": range(READINGS),
    }


def example() -> Example:
    """Return the example that stands below the rule.

    By the functions that compute a batch, so that sheet and screen cannot differ.

    >>> example().potash_g
    Decimal('226.7')
    """
    oils = [Oil(mass, value) for mass, value in EXAMPLE_OILS]
    need = alkali_need(oils)
    potash = round(potash_to_weigh(need, EXAMPLE_SHARE), 1)
    terms = " + ".join(
        f"{format_number(mass)} g × {format_number(value)}"
        for mass, value in EXAMPLE_OILS
    )
    return Example(
        potash_g=potash,
        words=(
            f"({terms}) / 1000 = {format_number(need, places=1)} g of KOH;"
            f" / {EXAMPLE_SHARE} = {format_number(potash, places=1)} g of potash."
        ),
    )


def _lines(version: FormulaVersion, basis_mg: int | None) -> list[BlankLine]:
    """Return the lines as they are weighed: potash last, since the oils decide it."""
    rows = list(version.lines.select_related("material", "source_formula"))
    rows.sort(key=lambda row: _kind(row) == Material.Kind.POTASH)
    return [
        BlankLine(
            number=number,
            name=str(row.material or row.source_formula),
            mass_mg=_mass(version, row, basis_mg),
            is_potash=_kind(row) == Material.Kind.POTASH,
            is_oil=_kind(row) == Material.Kind.OIL,
            note=_note(row),
        )
        for number, row in enumerate(rows, start=1)
    ]


def _kind(row: FormulaLine) -> str:
    return str(row.material.kind) if row.material else ""


def _mass(
    version: FormulaVersion, row: FormulaLine, basis_mg: int | None
) -> int | None:
    """Return what to weigh, to a tenth of a gram; None where the lots decide it."""
    aims = version.soap_content_target is not None
    if row.per_kg_mg is None or (aims and _kind(row) == Material.Kind.WATER):
        return None
    return int(round((basis_mg or KG) * row.per_kg_mg // PER_KG, -2))


def _note(row: FormulaLine) -> str:
    """Return the published range of an oil, to see whether a value can be right."""
    material = row.material
    if material is None or material.saponification_low is None:
        return ""
    low, high = material.saponification_low, material.saponification_high
    return (
        f"SV published: {format_number(low)} to {format_number(high or low)}"
        f" ({material.saponification_source})"
    )


def _limits(version: FormulaVersion) -> Mapping[str, Any]:
    """Return the limits in force today: of pH, and the others as they follow it."""
    found: dict[str, Limit] = {}
    for limit in Limit.objects.filter(formula_version=version).order_by("version"):
        found[limit.characteristic] = limit
    ph = found.pop(Characteristic.PH, None)
    found.pop(Characteristic.CLARITY, None)  # a step of its own says it
    others = [found[one] for one in Characteristic if one in found]
    return {"ph_limit": ph, "other_limits": others}
