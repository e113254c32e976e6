"""Sheets of labels as PDF: what the stream holds, and what it refuses."""

from __future__ import annotations

import dataclasses
import io
import itertools
from collections.abc import Iterator
from typing import Final

import numpy as np
import pikepdf
import pypdfium2
import pytest
import qrcode
import qrcode.constants
import zxingcpp
from PIL import Image
from pytest_django import Settings
from qrcode.util import QRData

from batches.documents.labels import LabelText, Serial, check_fit, pages_of, proof_svg
from batches.documents.labels.codes import (
    QUIET_ZONE,
    bottle_address,
    runs,
    squares_of,
    svg_path,
)
from batches.documents.labels.design import HAZARD_PT, designs
from batches.documents.labels.drawn import Run, runs_on
from batches.documents.labels.layout import PLAIN, SPECIMEN, lay_out
from batches.sheets import USUAL, Placement, Sheet
from producer.codes import grouped
from producer.errors import Refusal
from tests import label_samples as samples

pytestmark = pytest.mark.any_engine
SMALL, TEN, LETTER, ROLL = USUAL
MM_PER_PT = 25.4 / 72
BYTES: Final = 4  # ways to pack, ISO/IEC 18004, table 2
CAPITALS: Final = 2


@pytest.fixture(autouse=True)
def _public_url(settings: Settings) -> None:
    settings.PUBLIC_URL = samples.PUBLIC_URL


def pdf_of(
    text: LabelText,
    serials: list[Serial],
    placement: Placement | None = None,
    specimens: int = 0,
) -> bytes:
    return b"".join(pages_of(text, placement or Placement(TEN), serials, specimens))


def words_of(pdf: bytes) -> list[str]:
    """Return the words of each page, with single blanks."""
    return [
        " ".join(page.get_textpage().get_text_range().split())
        for page in pypdfium2.PdfDocument(pdf)
    ]


def codes_in(pdf: bytes, dpi: int = 200) -> list[str]:
    return [
        code.text
        for page in pypdfium2.PdfDocument(pdf)
        for code in zxingcpp.read_barcodes(page.render(scale=dpi / 72).to_pil())
    ]


def only_letters(text: str) -> str:
    return "".join(sign for sign in text if sign.isalnum())


def drawn(text: LabelText, sheet: Sheet, face: int = PLAIN) -> list[Run]:
    laid = lay_out(text, sheet)
    return list(runs_on(laid.pdf.pages[face]))


@pytest.mark.parametrize("number", range(1, 13))
def test_the_fast_squares_are_those_of_qrcode_square_by_square(number: int) -> None:
    """The two makers share no code. They are free in two things, which are tried: in
    where capitals begin to be packed closer, and in the mask.
    """
    address = bottle_address(samples.code_of(number))
    ours = squares_of(address)
    cut = address.index("/b/") + len("/b")
    alike = 0
    for mask, at in itertools.product(range(8), (cut, len(address))):
        peer = qrcode.QRCode(
            error_correction=qrcode.constants.ERROR_CORRECT_M,
            border=0,
            mask_pattern=mask,
        )
        peer.add_data(QRData(address[:at].encode(), BYTES))
        if address[at:]:
            peer.add_data(QRData(address[at:].encode(), CAPITALS))
        theirs = np.array(peer.get_matrix())
        alike += theirs.shape == ours.shape and bool((theirs == ours).all())
    assert alike == 1


def test_runs_draw_every_dark_square_once_and_no_light_one() -> None:
    squares = squares_of(bottle_address(samples.code_of(1)))
    drawn = np.zeros(squares.shape, dtype=int)
    for x, y, length in runs(squares).tolist():
        drawn[y, x : x + length] += 1
    assert (drawn == squares).all()
    assert svg_path(np.array([[True, True, False], [False, False, True]])) == (
        "M0 0h2v1h-2zM2 1h1v1h-1z"
    )


def test_the_file_comes_sheet_by_sheet_and_its_sheets_are_known_beforehand() -> None:
    placement = Placement(SMALL, start=20)
    serials = samples.serials(40)
    pieces = list(pages_of(samples.ENGLISH, placement, serials, 3))
    sheets = placement.sheets_needed(43)
    assert len(pieces) == 1 + sheets + 1
    assert pieces[0].startswith(b"%PDF-1.7")
    with pikepdf.open(io.BytesIO(b"".join(pieces))) as pdf:
        assert pdf.check_pdf_syntax() == []
        assert len(pdf.pages) == sheets == 3
        assert pdf.Root.ViewerPreferences.PrintScaling == "/None"
        assert pdf.Root.Lang == "en"
        assert pdf.docinfo["/Title"] == "Laundry liquid"
        box = [float(edge) for edge in pdf.pages[0].MediaBox]
    assert box == pytest.approx([0, 0, 210 / MM_PER_PT, 297 / MM_PER_PT], abs=1e-3)


def test_no_more_than_one_sheet_is_asked_for_ahead() -> None:
    asked = 0

    def counted() -> Iterator[Serial]:
        nonlocal asked
        for serial in samples.serials(48):
            asked += 1
            yield serial

    pieces = pages_of(samples.ENGLISH, Placement(SMALL), counted())
    next(pieces)
    assert asked == 0
    next(pieces)
    assert asked == 24


def test_the_same_labels_are_the_same_file() -> None:
    serials = samples.serials(3)
    assert pdf_of(samples.GERMAN, serials) == pdf_of(samples.GERMAN, serials)


def test_code_and_number_can_be_searched_for_and_copied() -> None:
    (words,) = words_of(pdf_of(samples.ENGLISH, [Serial("ABCDEFGHJKMN", 2400, 2)]))
    assert "ABCD-EFGH-JKMN" in words
    assert "Bottle no. 2400" in words
    assert "copy 2" in words


def test_only_a_label_printed_again_says_so() -> None:
    (words,) = words_of(pdf_of(samples.GERMAN, samples.serials(2)))
    assert "Ausfertigung" not in words
    again = [Serial(samples.code_of(1), 1, 3)]
    assert "Ausfertigung 3" in words_of(pdf_of(samples.GERMAN, again))[0]


def test_a_label_carries_every_compulsory_word() -> None:
    text = samples.CLASSIFIED
    (words,) = words_of(pdf_of(text, samples.serials(1)))
    letters = only_letters(words)  # hyphens at the ends of lines are no part of it
    for said in (
        "Waschmittel, flüssig",
        "500 ml",
        "15 % und darüber, jedoch weniger als 30 % Seife",
        "Charge B26-0012-4",
        "Abgefüllt 4. Sep 2026",
        "Zu verwenden bis 4. Sep 2028",
        "Achtung",
        "Verursacht schwere Augenreizung.",
        "UFI: E600-30P1-S00Y-5079",
        "Nicht für Haut, Haare, Lebensmittel oder Tiere.",
        "Darf nicht in die Hände von Kindern gelangen.",
        "Nie in Getränkeflaschen füllen.",
        "In das Fach, mit der Wäsche.",
        "weich 35 ml",
        "Hof Hohlbach",
        "Giftnotruf +49 30 19240",
    ):
        assert only_letters(said) in letters


def test_a_spray_is_for_own_use_until_an_authority_has_allowed_more() -> None:
    own_use = "For own use on the premises only. Not for sale or gift."
    (words,) = words_of(pdf_of(samples.SPRAY, samples.serials(1)))
    assert own_use in words
    assert "keep away from ponds, ditches and drains" in words
    allowed = dataclasses.replace(samples.SPRAY, authority_reference="PPP-41/7")
    (words,) = words_of(pdf_of(allowed, samples.serials(1)))
    assert "PPP-41/7" in words
    assert own_use not in words


def test_a_specimen_says_so_and_leads_nowhere() -> None:
    pdf = pdf_of(samples.GERMAN, samples.serials(1), Placement(ROLL), specimens=2)
    label, first, second = words_of(pdf)
    assert "MUSTER" not in label
    assert first == second
    assert "MUSTER" in first
    assert "Flasche Nr." not in first
    assert codes_in(pdf) == [bottle_address(samples.code_of(1))]


def test_markup_in_a_text_is_printed_as_it_was_typed() -> None:
    text = dataclasses.replace(
        samples.ENGLISH, product_name="<b>Beck</b> & <img src='file:///etc/passwd'>"
    )
    (words,) = words_of(pdf_of(text, samples.serials(1), Placement(ROLL)))
    assert "<b>Beck</b> &" in words


@pytest.mark.parametrize(
    ("nominal_ul", "net", "millimetres"),
    [(50_000, "50 ml", 2), (200_000, "200 ml", 3), (500_000, "500 ml", 4)],
)
def test_the_figures_of_the_quantity_are_as_high_as_they_must_be(
    nominal_ul: int, net: str, millimetres: int
) -> None:
    text = dataclasses.replace(samples.ENGLISH, net=net, net_ul=nominal_ul, doses=())
    (run,) = [run for run in drawn(text, ROLL) if run.text == net]
    size = run.points * MM_PER_PT
    figures = 1493 / 2048  # of DejaVu Sans Bold, its table OS/2: height of capitals
    assert millimetres <= size * figures < millimetres + 0.1


def test_the_hazard_block_is_never_in_smaller_type_than_can_be_read() -> None:
    assert check_fit(samples.CLASSIFIED, TEN) < HAZARD_PT
    run = next(
        run for run in drawn(samples.CLASSIFIED, TEN) if "Augenreizung" in run.text
    )
    assert run.points == pytest.approx(HAZARD_PT, abs=0.01)


def test_type_steps_down_until_the_text_fits_and_then_the_text_is_refused() -> None:
    sizes = [check_fit(samples.ENGLISH, sheet) for sheet in (ROLL, LETTER, SMALL)]
    assert sizes == sorted(sizes, reverse=True)
    assert sizes[0] > sizes[-1] >= 5
    longer = dataclasses.replace(samples.ENGLISH, directions="Rinse it well. " * 30)
    with pytest.raises(Refusal, match=r"shorten the directions \(450 characters\)"):
        check_fit(longer, SMALL)
    with pytest.raises(Refusal, match="70 × 37 mm"):
        pages_of(longer, Placement(SMALL), samples.serials(1))
    assert check_fit(longer, ROLL) >= 5


@pytest.mark.parametrize("sheet", USUAL, ids=lambda sheet: sheet.name)
@pytest.mark.parametrize("text", [samples.ENGLISH, samples.SHORT_GERMAN])
def test_what_fits_ends_above_the_lower_edge_of_the_label(
    text: LabelText, sheet: Sheet
) -> None:
    runs = drawn(text, sheet)
    assert min(run.origin[1] - 0.24 * run.points for run in runs) > 0
    assert max(run.origin[0] for run in runs) < sheet.width / 100 / MM_PER_PT


def test_a_label_without_room_for_a_code_that_can_be_read_is_refused() -> None:
    tiny = dataclasses.replace(ROLL, page_width=3000, width=3000)
    with pytest.raises(Refusal, match="no room for a QR code"):
        check_fit(samples.ENGLISH, tiny)


@pytest.mark.parametrize("sheet", USUAL, ids=lambda sheet: sheet.name)
def test_a_square_of_the_code_is_at_least_a_third_of_a_millimetre(sheet: Sheet) -> None:
    modules = len(squares_of(bottle_address(samples.code_of(1)))) + 2 * QUIET_ZONE
    for design in designs(samples.ENGLISH, sheet):
        assert design.qr / modules >= 0.33
        assert design.qr_left >= 0
        assert design.qr_left + design.qr <= design.width


def test_a_part_used_sheet_begins_where_it_is_free_and_an_offset_moves_all() -> None:
    serials = samples.serials(1)
    dark = {}
    for name, placement in {
        "first": Placement(TEN),
        "fourth": Placement(TEN, start=4),
        "moved": Placement(TEN, offset_x=300, offset_y=200),
    }.items():
        pdf = pypdfium2.PdfDocument(pdf_of(samples.ENGLISH, serials, placement))
        picture = pdf[0].render(scale=254 / 72).to_pil().convert("L")  # 10 dots a mm
        dark[name] = np.argwhere(np.asarray(picture) < 128).min(axis=0)
    assert dark["fourth"] - dark["first"] == pytest.approx([570, 990], abs=1)
    assert dark["moved"] - dark["first"] == pytest.approx([20, 30], abs=1)


def test_the_proof_has_the_true_size_and_every_letter_of_the_print() -> None:
    svg = proof_svg(samples.ENGLISH, SMALL, Serial(samples.code_of(1), 1))
    assert 'width="70mm" height="37mm"' in svg
    letters = sum(len(run.text) for run in drawn(samples.ENGLISH, SMALL))
    stamped = len(grouped(samples.code_of(1)) + "Bottle no. 1")
    assert svg.count("<use ") == letters + stamped
    assert "<script" not in svg
    assert "style=" not in svg


def test_the_proof_of_a_specimen_is_that_of_its_print() -> None:
    svg = proof_svg(samples.GERMAN, ROLL, None)
    runs = drawn(samples.GERMAN, ROLL, SPECIMEN)
    assert svg.count("<use ") == sum(len(run.text) for run in runs)


def test_squares_of_qrcode_are_read_by_the_decoder_too() -> None:
    """What reads our rasters also reads what it did not make."""
    code = qrcode.QRCode(error_correction=qrcode.constants.ERROR_CORRECT_M, border=4)
    code.add_data(bottle_address(samples.code_of(7)))
    dark = np.array(code.get_matrix()).repeat(4, axis=0).repeat(4, axis=1)
    picture = Image.fromarray(np.where(dark, 0, 255).astype(np.uint8))
    (read,) = zxingcpp.read_barcodes(picture)
    assert read.text == bottle_address(samples.code_of(7))
