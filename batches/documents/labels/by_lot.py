"""Label sheets: A4, ten to a sheet, each with its own code and QR."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence

from django.utils.safestring import SafeString
from weasyprint.document import Document

from batches.documents.labels.codes import qr_svg
from batches.models import Bottle, FillingLot
from producer import prints
from producer.codes import grouped
from producer.errors import Refusal
from producer.quantities import whole_number

LABELS_ON_A_SHEET = 10
MOST_LABELS = 50  # at a time: five sheets, about a second
# As in labels.css
ACROSS, TOP_MM, HEIGHT_MM, MARGIN_MM = 2, 6, 57, 1
PIXELS_PER_MM = 96 / 25.4  # CSS pixels


@dataclasses.dataclass(frozen=True)
class Label:
    """What differs from label to label, and where on the sheet it stands."""

    bottle: Bottle
    code: str
    place: str
    qr: SafeString


def sheets(count: int) -> list[tuple[int, int]]:
    """Return the first and last bottle number of each sheet.

    >>> sheets(24)
    [(1, 10), (11, 20), (21, 24)]
    """
    return [
        (start + 1, min(start + LABELS_ON_A_SHEET, count))
        for start in range(0, count, LABELS_ON_A_SHEET)
    ]


def clamp(query: Mapping[str, str], count: int) -> tuple[int, int]:
    """Return the bottle numbers asked for, kept inside what there is and may be.

    >>> clamp({"first": "11", "last": "9999"}, 24)
    (11, 24)
    """
    first = whole_number(query.get("first"), default=1)
    last = whole_number(query.get("last"), default=count)
    first = max(1, min(first, count))
    return first, max(first, min(last, count, first + MOST_LABELS - 1))


def label_pdf(lot: FillingLot, bottles: Sequence[Bottle]) -> bytes:
    """Return the labels of these bottles as PDF.

    Raises :class:`Refusal` when the text does not fit on a label: a caution that is
    cut off at the edge would be worse than no label.
    """
    labels = [
        Label(
            bottle,
            grouped(bottle.code),
            f"p{index % LABELS_ON_A_SHEET}",
            qr_svg(bottle),
        )
        for index, bottle in enumerate(bottles)
    ]
    document = prints.lay_out(
        "batches/labels.html",
        {
            "lot": lot,
            "version": lot.batch.formula_version,
            "sheets": [
                labels[start : start + LABELS_ON_A_SHEET]
                for start in range(0, len(labels), LABELS_ON_A_SHEET)
            ],
        },
        stylesheet="labels.css",
    )
    _require_fit(document)
    result: bytes = document.write_pdf()
    return result


def _require_fit(document: Document) -> None:
    """Compare where each label's text ends with where the label does."""
    for page in document.pages:
        for name, position in page.anchors.items():
            row = int(name.rsplit("-", 1)[-1]) // ACROSS
            edge_mm = TOP_MM + (row + 1) * HEIGHT_MM - MARGIN_MM
            if position[3] > edge_mm * PIXELS_PER_MM:
                raise Refusal(
                    "The text does not fit on a label. Shorten the directions or the"
                    " further cautions in a new version of the formula."
                )
