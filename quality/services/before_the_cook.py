"""What is done before the first charge: the same sentences on the sheet and the page.

After section 1.3 of the requirements; that these come before the first charge is common
practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Final

from batches.models import HoldPoint

Point = HoldPoint.Point
# A text, and whether it is a hold point, without which nobody goes on.
Step = tuple[str, bool]

# Kind of batch → what belongs to a point, a sentence each. The point None is on the
# sheet only; the sheet marks the others as hold points, since each point stops a batch.
_SENTENCES: Final[Mapping[str, tuple[tuple[Point | None, str], ...]]] = {
    "cook": (
        (
            Point.LINE_CLEARANCE,
            "Line cleared: last batch's labels, oils and tools are gone",
        ),
        (
            Point.LINE_CLEARANCE,
            "Vessels and tools clean, kept for soap; no aluminium, zinc or tin",
        ),
        (
            Point.PROTECTION,
            "Goggles, gloves, apron on; children and animals out; window open",
        ),
        (Point.PROTECTION, "Water and eyewash within reach; a phone in the pocket"),
        (Point.SCALE, "Scale: level, zero, check weight near the working mass"),
        (None, "pH strips in date, or meter checked with its buffers in date"),
        (
            Point.LOTS,
            "Every lot released and in date; container no heavier than the ledger",
        ),
        (Point.TARE, "Empty vessel weighed; the same as its register says"),
    ),
    "other": (
        (Point.LINE_CLEARANCE, "Line cleared: last batch's labels and tools are gone"),
        (Point.LINE_CLEARANCE, "Vessels and tools clean"),
        (Point.PROTECTION, "Goggles and gloves on: hot paste and water splash"),
        (Point.SCALE, "Scale: level, zero, check weight near the working mass"),
        (None, "pH strips in date, or meter checked with its buffers in date"),
        (Point.LOTS, "Every lot and paste released and in date"),
        (Point.TARE, "Empty vessel weighed; the same as its register says"),
    ),
}


def key_of(kind: str) -> str:
    """Return which of the two lists a kind of batch has."""
    return "cook" if kind == "cook" else "other"


def _steps(kind: str) -> Iterator[Step]:
    for point, text in _SENTENCES[kind]:
        yield text, point is not None


BEFORE: Final[Mapping[str, tuple[Step, ...]]] = {
    kind: tuple(_steps(kind)) for kind in _SENTENCES
}


def sentences_of(kind: str, point: HoldPoint.Point) -> list[str]:
    """Return what one looks at for a point in a batch of this kind, in order."""
    return [text for one, text in _SENTENCES[key_of(kind)] if one == point]
