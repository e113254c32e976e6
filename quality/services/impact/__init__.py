"""What a failed instrument, or a bad lot of strips, means for all that it showed.

A fixed number of queries for any number of results.
"""

from __future__ import annotations

from quality.services.impact.doubt import (
    checks_with,
    doubt_of,
    doubts_in,
    not_looked_into,
)
from quality.services.impact.plain import Doubt, Impact, Taken, Touched
from quality.services.impact.reach import touched
from quality.services.impact.taken import count, taken

__all__ = [
    "Doubt",
    "Impact",
    "Taken",
    "Touched",
    "checks_with",
    "count",
    "doubt_of",
    "doubts_in",
    "impact_of",
    "not_looked_into",
]


def impact_of(doubt: Doubt, *, mark: str = ".") -> Impact:
    """Return every result in doubt with its effect, and the lots and batches behind.

    Only what stands is listed: a corrected row is one result, as corrected. ``mark`` is
    the decimal mark of the limits in words.
    """
    results = taken(doubt, mark=mark)
    return Impact(
        doubt=doubt,
        results=results,
        touched=touched(results),
        checks=checks_with(doubt.instrument) if doubt.is_reference else (),
    )
