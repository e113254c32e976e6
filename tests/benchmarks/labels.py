"""2,400 labels, 24 a sheet, each with its own code: speed, size and memory.

Seconds are of the processor's time: what else the machine does meanwhile is no fault
of any way. Each runs in one thread.

Beside us, in the same run, each in a process of its own: the naive way, one WeasyPrint
document with every label in its HTML and a PNG of qrcode in each; and reportlab, which
draws everything directly, once with the same fast squares as we have, a run at a time,
and once, for fewer labels, with its own widget for QR codes, as its guide shows it.

All write the same words. The naive labels are ours, laid out by the same
template and style, so nothing but the way differs. reportlab breaks lines by itself
and knows no boxes: it writes the same text in the same type sizes and counts as a
lower bound of its work.

The last rows print how many codes of the rasterised labels are read after they were
photographed badly, by simulation: see ``tests/photographed.py``.
"""

from __future__ import annotations

import base64
import dataclasses
import io
import itertools
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from typing import Any

from tests.benchmarks import Row

LABELS = 2400
FEW = 240  # where the whole would take minutes
ROUNDS = 2  # ours and reportlab's are short: the better of so many
PDF_GOAL, MEMORY_GOAL = 1 / 4, 1 / 3
SETUP = "import django; django.setup(); from tests.benchmarks import labels; labels."


@dataclasses.dataclass(frozen=True)
class Made:
    """What one way of making labels took: how many, seconds, bytes, MB at its peak."""

    labels: int
    seconds: float
    size: float
    memory: float

    @property
    def rate(self) -> float:
        """Return labels a second."""
        return self.labels / self.seconds


def rows() -> Iterator[Row]:
    """Measure the naive way, reportlab and ours, and what is read of bad pictures."""
    ours = _best("ours")
    reportlab = _best("reportlab")
    yield _faster(ours, reportlab, "drawn directly with reportlab", 2.5)
    widget = _made("widget", FEW)
    yield _faster(ours, widget, "reportlab with its own widget for QR codes", 2.5)
    naive = _made("naive")
    yield _faster(ours, naive, "WeasyPrint with a PNG in each label", 20)
    yield Row(
        f"PDF of {LABELS:,} labels in MB; peer: the naive one",
        ours.size / 1e6,
        naive.size / 1e6,
        "ratio ≤ 1/4",
        ours.size <= PDF_GOAL * naive.size,
    )
    yield Row(
        "peak memory in MB; peer: the naive way",
        ours.memory,
        naive.memory,
        "ratio ≤ 1/3",
        ours.memory <= MEMORY_GOAL * naive.memory,
    )
    yield from _photographed()


def _faster(ours: Made, peer: Made, words: str, goal: float) -> Row:
    return Row(
        f"labels a second of processor time; peer: {words}",
        ours.rate,
        peer.rate,
        f"ratio ≥ {goal:g}",
        ours.rate >= goal * peer.rate,
    )


def _photographed() -> Iterator[Row]:
    for name, share, floor in json.loads(_run("read_photographs()")):
        yield Row(
            f"codes read of 100, {name}; peer: the floor",
            100 * share,
            100 * floor,
            f"≥ {100 * floor:g} of 100",
            share >= floor,
        )


def _best(way: str) -> Made:
    return min((_made(way) for _ in range(ROUNDS)), key=lambda made: made.seconds)


def _made(way: str, count: int = LABELS) -> Made:
    return Made(labels=count, **json.loads(_run(f"make({way!r}, {count})")))


def _run(call: str) -> str:
    with tempfile.TemporaryDirectory(prefix="kettlebook-labels-") as directory:
        environment = {
            **os.environ,
            "KETTLEBOOK_DATA": directory,
            "KETTLEBOOK_URL": "https://kettle.hollow-beck.example",
            "DJANGO_SETTINGS_MODULE": "producer.settings",
        }
        environment.pop("DATABASE_URL", None)
        done = subprocess.run(  # noqa: S603 - our own program
            [sys.executable, "-c", SETUP + call],
            env=environment,
            stdout=subprocess.PIPE,
            text=True,
            check=True,
        )
    return done.stdout


def make(way: str, count: int) -> None:
    """Make the labels in one way; print seconds, bytes and peak memory."""
    start = time.process_time()
    size = WAYS[way](count)
    seconds = time.process_time() - start
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(json.dumps({"seconds": seconds, "size": size, "memory": memory}))  # noqa: T201


def read_photographs() -> None:
    """Print name, share read and floor of each kind of photograph."""
    from tests import photographed  # noqa: PLC0415

    print(json.dumps(list(photographed.shares())))  # noqa: T201


def ours(count: int) -> int:
    """Stream the labels as the site does, to a file; return its length."""
    from batches.documents.labels import pages_of  # noqa: PLC0415
    from batches.sheets import USUAL, Placement  # noqa: PLC0415
    from tests import label_samples as samples  # noqa: PLC0415

    with tempfile.TemporaryFile() as file:
        for piece in pages_of(
            samples.ENGLISH, Placement(USUAL[0]), samples.serials(count)
        ):
            file.write(piece)
        return file.tell()


def naive(count: int) -> int:
    """Lay out every label with its picture in one document; return the PDF's length."""
    return len(naive_pdf(count))


def naive_pdf(count: int) -> bytes:
    """Return labels, 24 a sheet, made as one would at first: all in one HTML."""
    import qrcode  # noqa: PLC0415
    from django.contrib.staticfiles import finders  # noqa: PLC0415
    from django.template.loader import render_to_string  # noqa: PLC0415
    from django.utils.safestring import mark_safe  # noqa: PLC0415
    from weasyprint import CSS, HTML  # noqa: PLC0415

    from batches.documents.labels import bottle_address  # noqa: PLC0415
    from batches.documents.labels.layout import face_of, lay_out  # noqa: PLC0415
    from batches.label_words import words_in  # noqa: PLC0415
    from batches.sheets import USUAL  # noqa: PLC0415
    from tests import label_samples as samples  # noqa: PLC0415

    text, sheet = samples.ENGLISH, USUAL[0]
    design = lay_out(text, sheet).design
    pieces = []
    for number, serial in enumerate(samples.serials(count)):
        code = qrcode.QRCode(
            error_correction=qrcode.constants.ERROR_CORRECT_M, border=4
        )
        code.add_data(bottle_address(serial.code))
        picture = io.BytesIO()
        code.make_image().save(picture, "PNG")
        data = base64.b64encode(picture.getvalue()).decode()
        image = mark_safe(f'<img src="data:image/png;base64,{data}">')  # noqa: S308
        face = render_to_string(
            "batches/_label_face.html",
            {
                "text": text,
                "words": words_in(text.language),
                "compact": design.is_compact,
                "forloop": {"counter0": number},
                "face": face_of(serial, text.language, image),
            },
        )
        x, y = sheet.place(number % sheet.on_a_page)
        page = '<section class="sheet">' if number % sheet.on_a_page == 0 else ""
        end = "</section>" if (number + 1) % sheet.on_a_page == 0 else ""
        where = f"position:absolute;left:{x / 100}mm;top:{y / 100}mm"
        pieces.append(f'{page}<div style="{where}">{face}</div>{end}')
    more = (
        "@page { size: A4; margin: 0 } .qr-box img { width: 100%; height: 100% }"
        ".sheet { position: relative; height: 297mm; break-after: page }"
        ".sheet:last-child { break-after: auto } .label { break-after: auto }"
    )
    pdf: bytes = HTML(string=f'<html lang="en"><body>{"".join(pieces)}').write_pdf(
        stylesheets=[
            CSS(filename=finders.find("producer/label.css")),
            CSS(string=design.css() + more),
        ]
    )
    return pdf


def reportlab(count: int) -> int:
    """Draw every label on reportlab's canvas; return the PDF's length."""
    from batches.documents.labels.codes import runs, squares_of  # noqa: PLC0415
    from tests import label_samples as samples  # noqa: PLC0415

    def code(canvas: Any, serial: Any, x: float, y: float, side: float) -> None:
        squares = squares_of(samples.address_of(serial))
        module = side / (len(squares) + 8)
        path = canvas.beginPath()
        for left, row, length in runs(squares).tolist():
            path.rect(
                x + (left + 4) * module,
                y + side - (row + 5) * module,
                length * module,
                module,
            )
        canvas.drawPath(path, stroke=0, fill=1)

    return _on_canvas(count, code)


def widget(count: int) -> int:
    """Do the same with reportlab's widget for QR codes."""
    from reportlab.graphics import renderPDF  # noqa: PLC0415
    from reportlab.graphics.barcode.qr import QrCodeWidget  # noqa: PLC0415
    from reportlab.graphics.shapes import Drawing  # noqa: PLC0415

    from tests import label_samples as samples  # noqa: PLC0415

    def code(canvas: Any, serial: Any, x: float, y: float, side: float) -> None:
        drawn = QrCodeWidget(samples.address_of(serial), barLevel="M")
        _, _, width, height = drawn.getBounds()
        drawing = Drawing(
            side, side, transform=[side / width, 0, 0, side / height, 0, 0]
        )
        drawing.add(drawn)
        renderPDF.draw(drawing, canvas, x, y)

    return _on_canvas(count, code)


def _on_canvas(count: int, draw_code: Callable[..., None]) -> int:
    from reportlab.lib.units import mm  # noqa: PLC0415
    from reportlab.pdfbase import pdfmetrics  # noqa: PLC0415
    from reportlab.pdfbase.ttfonts import TTFont  # noqa: PLC0415
    from reportlab.pdfgen.canvas import Canvas  # noqa: PLC0415

    from batches.sheets import USUAL, Placement  # noqa: PLC0415
    from producer.codes import grouped  # noqa: PLC0415
    from tests import label_samples as samples  # noqa: PLC0415

    for name in ("DejaVuSans", "DejaVuSans-Bold", "DejaVuSansMono"):
        pdfmetrics.registerFont(TTFont(name, f"{name}.ttf"))
    sheet, side = USUAL[0], 14.4 * mm
    drawn = io.BytesIO()
    canvas = Canvas(drawn, pagesize=(210 * mm, 297 * mm), pageCompression=1)
    places = Placement(sheet).places(count)
    lines = list(_lines())
    last = 0
    for serial, (page, left, top) in zip(samples.serials(count), places, strict=True):
        if page != last:
            canvas.showPage()
            last = page
        x, y = left / 100 * mm, (sheet.page_height - top) / 100 * mm
        draw_code(canvas, serial, x + 53 * mm, y - side - mm, side)
        canvas.setFont("DejaVuSansMono", 5.5)
        canvas.drawString(x + 52 * mm, y - 17.5 * mm, grouped(serial.code))
        canvas.drawString(x + 52 * mm, y - 19.5 * mm, f"Bottle no. {serial.number}")
        down = y - 5 * mm
        for font, size, line in lines:
            canvas.setFont(font, size)
            canvas.drawString(x + 1.5 * mm, down, line)
            down -= 2.1 * mm
    canvas.save()
    return len(drawn.getvalue())


def _lines() -> Iterator[tuple[str, float, str]]:
    """Yield font, size and words of the lines that all labels share."""
    from batches.label_words import words_in  # noqa: PLC0415
    from tests import label_samples as samples  # noqa: PLC0415

    text, words = samples.ENGLISH, words_in("en")
    plain, bold = "DejaVuSans", "DejaVuSans-Bold"
    yield bold, 9, f"{text.product_name} {text.net}"
    yield plain, 5, text.contents
    yield plain, 5, f"{words.batch} {text.batch} · {words.filled} {text.filled}"
    yield bold, 5, f"{words.use_by} {text.use_by}"
    yield plain, 5, ", ".join(text.contact)
    yield bold, 5, f"{words.poison_centre} {text.poison_centre}"
    cautions = iter(" ".join(words.cautions).split())
    while line := list(itertools.islice(cautions, 11)):
        yield plain, 5, " ".join(line)
    yield plain, 5, f"{words.directions}: {text.directions}"
    yield plain, 5, " · ".join(f"{water} {dose}" for water, dose in text.doses)


WAYS: dict[str, Callable[[int], int]] = {
    "ours": ours,
    "naive": naive,
    "reportlab": reportlab,
    "widget": widget,
}
