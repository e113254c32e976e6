"""The impact of a failed instrument: on paper, and as open data result by result."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from producer import prints
from producer.csv_lines import lines, safe_cell
from producer.middleware import decimal_mark
from quality.services.impact import Doubt, Impact, Taken, impact_of

CSV_HEAD: Final = (
    "record",
    "result",
    "observed at",
    "value",
    "unit",
    "may show too much by",
    "excess alkali changes by (g KOH)",
    "limits",
    "distance to the limit",
    "can cross the limit",
)


def impact_pdf(doubt: Doubt, *, printed_by: str) -> bytes:
    """Return the impact on A4."""
    return prints.pdf(
        "quality/instrument_impact_print.html",
        {"doubt": doubt, "impact": impact_of(doubt, mark=decimal_mark())},
        printed_by=printed_by,
    )


def impact_csv(impact: Impact) -> Iterator[str]:
    """Return one line a result."""
    return lines(CSV_HEAD, map(_row, impact.results))


def _row(one: Taken) -> tuple[str, ...]:
    return (
        one.code,
        safe_cell(one.what),
        one.at.isoformat(),
        f"{one.value.normalize():f}",
        one.unit,
        "" if one.effect is None else f"{one.effect:.4f}",
        "" if one.alkali is None else f"{one.alkali:.4f}",
        one.limits,
        "" if one.margin is None else f"{one.margin.normalize():f}",
        "yes" if one.crosses else "no" if one.limits else "",
    )
