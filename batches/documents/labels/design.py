"""Where on a label everything stands, in mm, and the style that says so."""

from __future__ import annotations

import dataclasses

from batches.documents.labels.codes import QUIET_ZONE, bottle_address, squares_of
from batches.label_text import LabelText, digits_mm
from batches.label_words import words_in
from batches.sheets import Sheet, in_mm
from producer.codes import BOTTLE_ALPHABET, BOTTLE_LENGTH, grouped
from producer.errors import Refusal

# Sizes that a label's text is tried in. At 5 pt the small letters of DejaVu Sans are
# 0.96 mm high; Regulation (EU) 1169/2011, Art. 13 (from memory), asks 0.9 mm of the
# smallest food packages. It does not apply to soap, but says what people can read.
TYPE_SIZES_PT = (7.0, 6.5, 6.0, 5.5, 5.0)
COMPACT_SIZES_PT = (6.0, 5.5, 5.0)
# Small letters of 1.2 mm, as Regulation (EU) 2024/2865 (from memory) asks of hazard
# labels on packages of up to half a litre.
HAZARD_PT = 6.3
EDGE_MM = 1.5  # white on all sides: label stock is cut no more exactly than that
CODE_MARGIN_MM = 1.2
LEAST_MODULE_MM = 0.33
LARGEST_QR_MM = 24.0
MM_PER_PT = 25.4 / 72
MONO_ADVANCE = 0.6021  # of DejaVu Sans Mono, in em
DIGIT_HEIGHT = 0.729  # of DejaVu Sans, in em
LARGEST_SERIAL_PT = 7.5
LEAST_CODE_PT = 5.5  # capitals of 1.4 mm, to be read aloud
LEAST_NUMBER_PT = 4.5
EXAMPLE_CODE = BOTTLE_ALPHABET[0] * BOTTLE_LENGTH
CODE_CHARS = len(grouped(EXAMPLE_CODE))


@dataclasses.dataclass(frozen=True)
class Design:
    """The boxes of fixed size on a label, in mm, for type of ``type_pt``."""

    width: float
    height: float
    qr: float
    code_pt: float
    number_pt: float
    number_chars: int
    copy_chars: int
    digits: int
    type_pt: float
    is_compact: bool = False

    @property
    def column(self) -> float:
        """Return how wide the column is in which QR code and serial text stand."""
        return max(
            self.qr,
            _mono_mm(CODE_CHARS, self.code_pt),
            _mono_mm(self.number_chars, self.number_pt),
        )

    @property
    def column_left(self) -> float:
        """Return how far from the left edge that column begins."""
        return self.width - CODE_MARGIN_MM - self.column

    @property
    def qr_left(self) -> float:
        """Return how far from the left edge the box of the QR code begins."""
        return self.column_left + (self.column - self.qr) / 2

    @property
    def qr_top(self) -> float:
        """Return how far from the upper edge the box of the QR code begins."""
        return CODE_MARGIN_MM

    @property
    def lowest(self) -> float:
        """Return how far down text may reach."""
        return self.height - EDGE_MM / 2

    def css(self) -> str:
        """Return the style of what depends on the sizes."""
        code_top = self.qr_top + self.qr
        number_top = code_top + self.code_pt * 1.2 * MM_PER_PT
        column_end = number_top + self.number_pt * 1.2 * MM_PER_PT
        code_wide = _mono_mm(CODE_CHARS, self.code_pt)
        code_left = self.column_left + (self.column - code_wide) / 2
        number_wide = _mono_mm(self.number_chars, self.number_pt)
        number_left = min(code_left, self.column_left + self.column - number_wide)
        beside = self.column + CODE_MARGIN_MM + 0.8 - EDGE_MM
        return f"""
@page {{ size: {self.width}mm {self.height}mm; margin: 0; }}
.label {{ width: {self.width}mm; height: {self.height}mm;
  padding: {EDGE_MM - 0.3}mm {EDGE_MM}mm 0; font-size: {self.type_pt}pt; }}
.qr-box {{ left: {self.qr_left:.3f}mm; top: {self.qr_top}mm;
  width: {self.qr:.3f}mm; height: {self.qr:.3f}mm; }}
.code {{ left: {code_left:.3f}mm; top: {code_top:.3f}mm; font-size: {self.code_pt}pt; }}
.number {{ left: {number_left:.3f}mm; top: {number_top:.3f}mm;
  font-size: {self.number_pt}pt; }}
.words {{ margin-right: {beside:.3f}mm;
  min-height: {column_end - EDGE_MM + 0.3:.3f}mm; }}
.net {{ font-size: {self.digits / DIGIT_HEIGHT + 0.01:.2f}mm; }}
.copy {{ width: {_mono_mm(self.copy_chars, 6) + 0.2:.2f}mm; }}
.hazard {{ font-size: {max(self.type_pt, HAZARD_PT)}pt; }}
.mark {{ top: {self.height * 0.36:.1f}mm; width: {self.width}mm;
  font-size: {self.width * 0.13:.1f}mm; }}
"""


def designs(text: LabelText, sheet: Sheet) -> list[Design]:
    """Return the designs to try on labels of a sheet, from large type to small.

    Raises :class:`Refusal` when a QR code that prints and reads well has no room.
    """
    width, height = sheet.width / 100, sheet.height / 100
    modules = len(squares_of(bottle_address(EXAMPLE_CODE))) + 2 * QUIET_ZONE
    least = modules * LEAST_MODULE_MM
    # Nearly half the height, so that it stands beside the head of the text.
    qr = max(least, min(LARGEST_QR_MM, 0.46 * height))
    if qr > 0.4 * width or qr > 0.75 * height:
        raise Refusal(
            f"A label of {in_mm(sheet.width)} × {in_mm(sheet.height)} mm has no room"
            f" for a QR code of {least:.0f} mm beside the text. Choose larger labels."
        )
    smaller = max(least, min(qr, 0.39 * height))
    tried = [_design(text, sheet, qr, size) for size in TYPE_SIZES_PT]
    tried += [
        _design(text, sheet, smaller, size, is_compact=True)
        for size in COMPACT_SIZES_PT
    ]
    return sorted(tried, key=lambda design: (-design.type_pt, design.is_compact))


def _design(
    text: LabelText,
    sheet: Sheet,
    qr: float,
    size: float,
    *,
    is_compact: bool = False,
) -> Design:
    words = words_in(text.language)
    numbered = len(f"{words.bottle} {words.number} 99999")
    return Design(
        sheet.width / 100,
        sheet.height / 100,
        qr,
        code_pt=max(LEAST_CODE_PT, _largest_pt(CODE_CHARS, qr - 0.6)),
        number_pt=max(LEAST_NUMBER_PT, _largest_pt(numbered, qr - 0.6)),
        number_chars=numbered,
        copy_chars=len(f"{words.copy} 99"),
        digits=digits_mm(text.net_ul),
        type_pt=size,
        is_compact=is_compact,
    )


def _largest_pt(characters: int, room_mm: float) -> float:
    quarters = int(room_mm / MM_PER_PT / (characters * MONO_ADVANCE) * 4)
    return min(LARGEST_SERIAL_PT, quarters / 4)


def _mono_mm(characters: int, pt: float) -> float:
    return characters * MONO_ADVANCE * pt * MM_PER_PT
