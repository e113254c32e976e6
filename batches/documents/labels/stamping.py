"""Sheets of labels as a stream: the label laid out once, the rest stamped on it.

The face of the label becomes a form object, drawn once a label; over it come the
squares of the QR code, as runs along the rows, and the serial text in the glyphs of
the font that WeasyPrint embedded. A sheet is written as soon as it is drawn, so that
no more than one is held in memory.
"""

from __future__ import annotations

import dataclasses
import itertools
import zlib
from collections.abc import Iterable, Iterator

from batches.documents.labels.codes import (
    QUIET_ZONE,
    bottle_address,
    runs,
    squares_of,
)
from batches.documents.labels.drawn import Run, run_of
from batches.documents.labels.layout import (
    PLAIN,
    SAMPLE,
    SPECIMEN,
    Laid,
    copy_line,
    lay_out,
    number_line,
)
from batches.documents.labels.writing import TRUE_SIZE, Writer
from batches.label_text import LabelText, Serial
from batches.sheets import Placement
from producer.codes import grouped

POINTS_PER_MM = 72 / 25.4
POINTS = POINTS_PER_MM / 100  # of a hundredth of a millimetre
DEFLATE = 5  # half as large again as at its best, in a tenth of the time
_DARK_RUN = "%d %d %d 1 re "


@dataclasses.dataclass(frozen=True)
class Stamp:
    """What is needed to fill in a label: three runs and the box of the QR code."""

    code: Run
    number: Run
    copy: Run
    language: str
    qr_left: float
    qr_top: float
    qr_side: float

    def drawn(self, serial: Serial) -> str:
        """Return the operators that fill in one label, from its lower left corner."""
        parts = [
            self.squares(serial.code),
            written(self.code, grouped(serial.code)),
            written(self.number, number_line(str(serial.number), self.language)),
        ]
        if serial.copy > 1:
            parts.append(written(self.copy, copy_line(str(serial.copy), self.language)))
        return "\n".join(parts)

    def squares(self, code: str) -> str:
        """Return the operators that draw the QR code of a bottle."""
        squares = squares_of(bottle_address(code))
        module = self.qr_side / (len(squares) + 2 * QUIET_ZONE)
        left = self.qr_left + QUIET_ZONE * module
        top = self.qr_top - QUIET_ZONE * module
        placed = f"q {module:.5f} 0 0 {-module:.5f} {left:.4f} {top:.4f} cm"
        dark = runs(squares)
        # One formatting of all the numbers takes half the time of one for each run.
        drawn = (_DARK_RUN * len(dark)) % tuple(dark.ravel().tolist())
        return f"{placed}\n{drawn}f Q"


def stamp_of(laid: Laid) -> Stamp:
    """Return how to fill in the labels of a text that is laid out."""
    page, design, samples = laid.pdf.pages[SAMPLE], laid.design, laid.samples
    height = design.height * POINTS_PER_MM
    return Stamp(
        code=run_of(page, samples.code),
        number=run_of(page, samples.number),
        copy=run_of(page, samples.copy),
        language=laid.text.language,
        qr_left=design.qr_left * POINTS_PER_MM,
        qr_top=height - design.qr_top * POINTS_PER_MM,
        qr_side=design.qr * POINTS_PER_MM,
    )


def written(run: Run, text: str) -> str:
    """Return the operators that write ``text`` where and as ``run`` was written."""
    x, y = run.origin
    glyphs = b"".join([run.signs[character] for character in text]).hex()
    return f"BT {run.font} {run.points:.4f} Tf {x:.4f} {y:.4f} Td <{glyphs}> Tj ET"


def pages_of(
    text: LabelText,
    placement: Placement,
    serials: Iterable[Serial],
    specimens: int = 0,
) -> Iterator[bytes]:
    """Yield the sheets as PDF, piece by piece, a piece for each sheet.

    The labels come in the order of ``serials``, from ``placement.start`` on, and after
    them so many ``specimens`` without code. ``placement.sheets_needed`` of all of them
    says beforehand how many sheets there will be. The same arguments give the same
    bytes.

    Raises :class:`Refusal` before the first piece when the text does not fit.
    """
    return _written(lay_out(text, placement.sheet), placement, serials, specimens)


def _written(
    laid: Laid, placement: Placement, serials: Iterable[Serial], specimens: int
) -> Iterator[bytes]:
    stamp = stamp_of(laid)
    writer = Writer(laid.pdf)
    resources = laid.pdf.pages[PLAIN].Resources
    forms = {
        "/Label": writer.form(laid.pdf.pages[PLAIN]),
        "/Specimen": writer.form(laid.pdf.pages[SPECIMEN]),
    }
    writer.begin(forms, fonts=resources.Font)
    yield writer.taken()
    sheet = placement.sheet
    size = (sheet.page_width * POINTS, sheet.page_height * POINTS)
    for labels in _by_sheet(placement, serials, specimens):
        drawn = [
            _placed(x, sheet.page_height - y - sheet.height, stamp, serial)
            for x, y, serial in labels
        ]
        writer.page(size, zlib.compress("\n".join(drawn).encode("ascii"), DEFLATE))
        yield writer.taken()
    writer.end(laid.text.product_name, laid.text.language, preferences=TRUE_SIZE)
    yield writer.taken()


def _placed(x: int, y: int, stamp: Stamp, serial: Serial | None) -> str:
    form, filled = ("/Label", stamp.drawn(serial)) if serial else ("/Specimen", "")
    return f"q 1 0 0 1 {x * POINTS:.4f} {y * POINTS:.4f} cm {form} Do\n{filled} Q"


def _by_sheet(
    placement: Placement, serials: Iterable[Serial], specimens: int
) -> Iterator[list[tuple[int, int, Serial | None]]]:
    """Yield the labels of each sheet with their places; None is a specimen."""
    labels: Iterator[Serial | None] = itertools.chain(
        serials, itertools.repeat(None, specimens)
    )
    first = placement.start - 1
    while batch := list(itertools.islice(labels, placement.sheet.on_a_page - first)):
        here = dataclasses.replace(placement, start=first + 1)
        places = here.places(len(batch))
        yield [(x, y, label) for (_, x, y), label in zip(places, batch, strict=True)]
        first = 0
