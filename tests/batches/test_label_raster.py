"""Labels as they leave the printer: the same as WeasyPrint alone would draw, and read.

What is independent of what: the rasters are PDFium's, which has no part in making the
file. The decoder is zxing-cpp, which also makes the squares; so ``test_label_engine``
compares these with the squares of qrcode, bit by bit, and lets the decoder read those.
The peer of the stamped label is laid out by WeasyPrint alone, serial text and all, with
the code as SVG.

Here pictures taken badly only have to reach a floor; how many codes are read of 100 is
printed by ``manage.py benchmark labels``, and stands in README.md and DEVELOPERS.md.
"""

from __future__ import annotations

import dataclasses
import functools
from typing import Any

import numpy as np
import pypdfium2
import pytest
import zxingcpp
from django.utils.safestring import mark_safe
from numpy.typing import NDArray
from PIL import Image
from pytest_django import Settings

from batches.documents.labels import LabelText, Serial, pages_of
from batches.documents.labels.codes import (
    QUIET_ZONE,
    bottle_address,
    squares_of,
    svg_path,
)
from batches.documents.labels.layout import document_of, face_of, lay_out
from batches.sheets import USUAL, Placement, Sheet
from tests import label_samples as samples
from tests import photographed

pytestmark = pytest.mark.any_engine
# Of 255 steps. Where edges fall between two dots the two files round their numbers
# differently, in the fourth decimal of a point.
MOST_STEPS = 12  # 8 were seen, and 255 where a run of squares is missing
MEAN_STEPS = 0.01


@pytest.fixture(autouse=True)
def _public_url(settings: Settings) -> None:
    settings.PUBLIC_URL = samples.PUBLIC_URL


def on_its_own(sheet: Sheet) -> Sheet:
    """Return a roll of the labels of a sheet, so that a page is a label."""
    return dataclasses.replace(
        sheet,
        page_width=sheet.width,
        page_height=sheet.height,
        across=1,
        down=1,
        left=0,
        top=0,
    )


@functools.cache
def sheet_of(sheet: Sheet) -> bytes:
    """Return a whole sheet of English labels."""
    serials = samples.serials(sheet.on_a_page)
    return b"".join(pages_of(samples.ENGLISH, Placement(sheet), serials))


@functools.cache
def labels_printed() -> list[tuple[Serial, Image.Image]]:
    return photographed.printed(samples.ENGLISH, samples.serials(24))


def raster(pdf: bytes, dpi: int) -> NDArray[np.int16]:
    page = pypdfium2.PdfDocument(pdf)[0]
    picture: NDArray[np.int16] = np.asarray(
        page.render(scale=dpi / 72).to_pil().convert("L"), dtype=np.int16
    )
    return picture


def plainly(text: LabelText, sheet: Sheet, serial: Serial) -> bytes:
    """Return the label as WeasyPrint alone makes it."""
    squares = squares_of(bottle_address(serial.code))
    side = len(squares) + 2 * QUIET_ZONE
    svg = mark_safe(  # noqa: S308 - made of whole numbers
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {side} {side}">'
        f'<path transform="translate({QUIET_ZONE} {QUIET_ZONE})"'
        f' d="{svg_path(squares)}"/></svg>'
    )
    face = face_of(serial, text.language, svg)
    design = lay_out(text, sheet).design
    pdf: bytes = document_of(text, design, [face]).write_pdf()
    return pdf


def differences(sheet: Sheet, text: LabelText, dpi: int) -> NDArray[Any]:
    """Return by how many steps each dot of ours differs from WeasyPrint's."""
    alone, serial = on_its_own(sheet), Serial("ABCDEFGHJKMN", 2400, 2)
    stamped = b"".join(pages_of(text, Placement(alone), [serial]))
    ours, peer = raster(stamped, dpi), raster(plainly(text, alone, serial), dpi)
    assert ours.shape == peer.shape
    assert (ours < 128).mean() > 0.03  # there is something to compare
    found: NDArray[Any] = np.abs(ours - peer)
    return found


TEXTS = {"en": samples.ENGLISH, "de": samples.SHORT_GERMAN}


@pytest.mark.parametrize("language", TEXTS)
@pytest.mark.parametrize("sheet", USUAL, ids=lambda sheet: sheet.name)
def test_the_raster_equals_what_weasyprint_alone_draws(
    sheet: Sheet, language: str
) -> None:
    steps = differences(sheet, TEXTS[language], 300)
    assert steps.max() <= MOST_STEPS
    assert steps.mean() <= MEAN_STEPS


def test_control_a_label_moved_by_a_tenth_of_a_millimetre_is_not_equal() -> None:
    alone, serial = on_its_own(USUAL[1]), samples.serials(1)
    here = b"".join(pages_of(samples.ENGLISH, Placement(alone), serial))
    there = b"".join(pages_of(samples.ENGLISH, Placement(alone, 10), serial))
    steps = np.abs(raster(here, 300) - raster(there, 300))
    assert steps.max() > MOST_STEPS
    assert steps.mean() > MEAN_STEPS


@pytest.mark.parametrize("dpi", [150, 200, 300])
@pytest.mark.parametrize("sheet", USUAL, ids=lambda sheet: sheet.name)
def test_every_code_of_a_sheet_is_read_as_the_address_of_its_bottle(
    sheet: Sheet, dpi: int
) -> None:
    serials = samples.serials(sheet.on_a_page)
    (page,) = pypdfium2.PdfDocument(sheet_of(sheet))
    read = zxingcpp.read_barcodes(page.render(scale=dpi / 72).to_pil().convert("L"))
    expected = sorted(samples.address_of(serial) for serial in serials)
    assert sorted(code.text for code in read) == expected


@pytest.mark.parametrize("like", photographed.ALL, ids=lambda like: like.name)
def test_codes_are_read_from_bad_pictures_as_often_as_is_said(
    like: photographed.Conditions,
) -> None:
    assert photographed.share_read(labels_printed(), like) >= like.floor


def test_control_what_no_eye_could_read_is_not_read() -> None:
    hopeless = dataclasses.replace(photographed.DARK, scale=(60, 80), noise=(30, 40))
    assert photographed.share_read(labels_printed()[:4], hopeless) == 0
