"""The batch sheet: what a batch asks for, to print, take to the pot and write on."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from typing import Any

from batches.chemistry.constants import PERCENT
from batches.models import Batch
from batches.services.lye import START_C, lye_of
from batches.services.planning import PlanLine, plan_of
from producer import prints
from producer.models import Material
from quality.models import Characteristic
from quality.services.alkali import alkali_of
from quality.services.before_the_cook import BEFORE, Step
from quality.services.limits import limits_of

# What is done in what order, after section 1.3 of the requirements.
DURING: dict[str, tuple[Step, ...]] = {
    "cook": (
        ("Oils and water weighed first, potash last; its tin closed at once", False),
        ("Potash computed again from the oils as weighed", True),
        ("Potash INTO cold water, slowly, stirring; lye left to cool", True),
        ("Combined; water bath, never unattended", False),
    ),
    "other": (
        ("Everything weighed, water too: never measured by the jug", False),
        ("Mixed until even; cooled to 20 °C before anything is filled", False),
    ),
}
AFTER: dict[str, tuple[Step, ...]] = {
    "cook": (
        ("A portion in hot distilled water is clear, without oil drops", True),
        ("pH by the method above, in the prepared solution", True),
        ("What it made weighed: gross, tare, net", False),
        ("Containers labelled HELD before they cool", True),
        ("Retained sample put away; residues, tools and place clean", False),
        ("Next day, cold: pH and clarity again, then review", True),
    ),
    "other": (
        ("pH by the method above, in the prepared solution", True),
        ("What it made weighed: gross, tare, net", False),
        ("Containers labelled HELD", True),
        ("Retained sample put away; tools and place clean", False),
    ),
}
TEMPLATE = "quality/batch_sheet.html"
PAGES = 2  # both sides of one sheet
READINGS = 5  # lines to write times and temperatures on


@dataclasses.dataclass(frozen=True, kw_only=True)
class SheetLine:
    """A line to weigh: what, from where, how much, and what is weighed already."""

    number: int
    name: str
    code: str
    origin: str
    to_weigh_mg: int | None
    charged_mg: int
    is_last: bool


def batch_sheet_pdf(batch: Batch, *, printed_by: str) -> bytes:
    """Return the sheet of a batch as PDF, as the plan stands now.

    Set smaller where long origins or many oils would take a third page.
    """
    context = context_of(batch)
    sheet = prints.lay_out(TEMPLATE, context, printed_by=printed_by)
    if len(sheet.pages) > PAGES:
        dense = {**context, "dense": True}
        sheet = prints.lay_out(TEMPLATE, dense, printed_by=printed_by)
    result: bytes = sheet.write_pdf()
    return result


def context_of(batch: Batch) -> Mapping[str, Any]:
    """Return what the sheet of a batch says."""
    plan = plan_of(batch)
    is_cook = batch.kind == "cook"
    key = "cook" if is_cook else "other"
    return {
        "batch": batch,
        "version": batch.formula_version,
        "is_cook": is_cook,
        "lines": _in_order(plan.lines),
        "alkali_need_g": plan.alkali_need_g,
        "discount_percent": batch.lye_discount * PERCENT,
        "lye": lye_of(batch, plan),
        "start_c": START_C,
        "alkali": alkali_of(batch) if is_cook else None,
        **_limits(batch),
        "before": BEFORE[key],
        "during": DURING[key],
        "after": AFTER[key],
        "readings": range(READINGS),
    }


def _limits(batch: Batch) -> Mapping[str, Any]:
    """Return the limits of a batch: of pH, and the others as they follow it."""
    found = limits_of(batch)
    ph = found.pop(Characteristic.PH, None)
    found.pop(Characteristic.CLARITY, None)  # a step of its own says it
    others = [found[one] for one in Characteristic if one in found]
    return {"ph_limit": ph, "other_limits": others}


def _in_order(lines: list[PlanLine]) -> list[SheetLine]:
    """Return the lines as they are weighed: potash last, since the oils decide it."""
    ordered = sorted(lines, key=lambda line: line.kind == Material.Kind.POTASH)
    return [
        SheetLine(
            number=number,
            name=line.name,
            code=line.source.code if line.source else "",
            origin=line.origin,
            to_weigh_mg=line.to_weigh_mg,
            charged_mg=line.charged_mg,
            is_last=line.kind == Material.Kind.POTASH,
        )
        for number, line in enumerate(ordered, start=1)
    ]
