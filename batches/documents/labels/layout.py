"""Lay out one label with WeasyPrint, once for all labels that say the same.

The document has three faces of the label, one a page: as every bottle's label is, with
empty boxes for what differs; with sample text in these boxes, from which the stamp
takes font, place and the signs it may need; and as a specimen.
"""

from __future__ import annotations

import dataclasses
import io

import pikepdf
from django.contrib.staticfiles import finders
from django.template.loader import render_to_string
from django.utils.safestring import SafeString
from weasyprint import CSS, HTML
from weasyprint.document import Document

from batches import label_fonts
from batches.documents.labels.design import Design, designs
from batches.label_text import LabelText, Serial
from batches.label_words import words_in
from batches.sheets import Sheet, in_mm
from producer import prints
from producer.codes import BOTTLE_ALPHABET, grouped
from producer.errors import Refusal

PIXELS_PER_MM = 96 / 25.4  # CSS pixels
DIGITS = "0123456789"
PLAIN, SAMPLE, SPECIMEN = range(3)  # the pages


@dataclasses.dataclass(frozen=True)
class Face:
    """What one label shows in the boxes that differ from label to label."""

    qr: SafeString | str = ""
    code: str = ""
    number: str = ""
    copy: str = ""
    specimen: bool = False


@dataclasses.dataclass(frozen=True)
class Laid:
    """A label laid out: its design, and the PDF of its three faces."""

    text: LabelText
    design: Design
    pdf: pikepdf.Pdf
    samples: Face


def face_of(serial: Serial, language: str, qr: SafeString | str) -> Face:
    """Return what the label of a bottle shows in its boxes."""
    return Face(
        qr=qr,
        code=grouped(serial.code),
        number=number_line(str(serial.number), language),
        copy=copy_line(str(serial.copy), language) if serial.copy > 1 else "",
    )


def number_line(number: str, language: str) -> str:
    """Return the line that numbers a bottle: “Bottle no. 12”."""
    words = words_in(language)
    return f"{words.bottle} {words.number} {number}"


def copy_line(number: str, language: str) -> str:
    """Return the mark of a label printed again: “copy 2”."""
    return f"{words_in(language).copy} {number}"


def lay_out(text: LabelText, sheet: Sheet) -> Laid:
    """Return a label laid out in the largest type in which its text fits.

    Raises :class:`Refusal` when it does not fit in the smallest that can be read.
    """
    language = text.language
    samples = Face(
        code=BOTTLE_ALPHABET + "-",
        number=number_line(DIGITS, language),
        copy=copy_line(DIGITS, language),
    )
    specimen = Face(code=words_in(language).specimen, specimen=True)
    design = _fitting(text, sheet)
    document = document_of(text, design, [Face(), samples, specimen])
    pdf = pikepdf.open(io.BytesIO(document.write_pdf()))
    return Laid(text, design, pdf, samples)


def check_fit(text: LabelText, sheet: Sheet) -> float:
    """Return the type size in points in which a text fits on the labels of a sheet.

    Raises :class:`Refusal`, which names what to shorten, when it does not fit in the
    smallest type that can be read: a caution cut off at the edge would be worse than
    no label.
    """
    return _fitting(text, sheet).type_pt


def document_of(text: LabelText, design: Design, faces: list[Face]) -> Document:
    """Return labels laid out by WeasyPrint, a page each: the stamp's measure."""
    html = render_to_string(
        "batches/label.html",
        {
            "text": text,
            "words": words_in(text.language),
            "statements": text.hazard.statements.splitlines() if text.hazard else [],
            "faces": faces,
            "compact": design.is_compact,
        },
    )
    styles = [
        CSS(filename=finders.find("producer/label.css")),
        CSS(string=design.css(), url_fetcher=prints.refuse_to_fetch),
    ]
    # A character that no label font has would be drawn from whatever the machine has.
    drawable = label_fonts.boxed(html)
    return HTML(string=drawable, url_fetcher=prints.refuse_to_fetch).render(
        stylesheets=styles
    )


def _fitting(text: LabelText, sheet: Sheet) -> Design:
    """Return the largest design that fits, found by halving: each try is a layout."""
    tried = designs(text, sheet)
    least = len(tried)
    begin = 0
    while begin < least:
        middle = (begin + least) // 2
        if _fits(document_of(text, tried[middle], [Face()]), tried[middle]):
            least = middle
        else:
            begin = middle + 1
    if least == len(tried):
        raise Refusal(_too_long(text, sheet, tried[-1]))
    return tried[least]


def _fits(document: Document, design: Design) -> bool:
    """Say whether the text of the first label ends above its lower edge.

    Where it does not, WeasyPrint may also carry it on to a page of its own.
    """
    end = document.pages[0].anchors.get("end-0")
    return end is not None and end[1] <= design.lowest * PIXELS_PER_MM


def _too_long(text: LabelText, sheet: Sheet, design: Design) -> str:
    parts = {
        "the directions": len(text.directions),
        "the further cautions": len(text.cautions),
        "the name of the product": len(text.product_name),
        "your contact lines": sum(map(len, text.contact)),
        "the statements of the classification": (
            len(text.hazard.statements) if text.hazard else 0
        ),
        "the table of doses": sum(len(water + dose) for water, dose in text.doses),
    }
    longest = sorted(parts, key=lambda part: -parts[part])[:2]
    said = " or ".join(f"{part} ({parts[part]} characters)" for part in longest)
    return (
        "The text does not fit on a label of"
        f" {in_mm(sheet.width)} × {in_mm(sheet.height)} mm, not even in type of"
        f" {design.type_pt:g} pt, the smallest that can be read. Choose larger labels,"
        f" or shorten {said}."
    )
