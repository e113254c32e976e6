"""The impact of a failed instrument: on paper, and as open data result by result."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from typing import Any, Final

from producer import prints
from producer.middleware import decimal_mark
from quality.documents.recalls import safe_cell
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


class _Line:
    """A file that hands back what is written to it, for streaming a CSV."""

    def write(self, text: str) -> str:
        """Return the line."""
        return text


def impact_csv(impact: Impact) -> Iterator[str]:
    """Yield one line a result."""
    writer: Any = csv.writer(_Line())
    yield writer.writerow(CSV_HEAD)
    for one in impact.results:
        yield writer.writerow(_row(one))


def _row(one: Taken) -> tuple[str, ...]:
    return (
        one.code,
        safe_cell(one.what),
        one.at.isoformat(),
        f"{one.value.normalize():f}",
        one.unit,
        f"{one.effect:.4f}",
        "" if one.alkali is None else f"{one.alkali:.4f}",
        one.limits,
        "" if one.margin is None else f"{one.margin.normalize():f}",
        "yes" if one.crosses else "no" if one.limits else "",
    )
