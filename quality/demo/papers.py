"""Certificates as files, drawn here; their face says that they are invented."""

from __future__ import annotations

import io
from collections.abc import Sequence

from django.core.files.base import ContentFile
from PIL import Image, ImageDraw, ImageFont

WIDTH, HEIGHT, MARGIN = 1240, 900, 90  # pixels; at 150 per inch about A5 across
DOTS_PER_INCH = 150
INVENTED = "Invented certificate for the demo"


def certificate(
    *, name: str, supplier: str, lines: Sequence[str], as_picture: bool = False
) -> ContentFile[bytes]:
    """Return a certificate of analysis as a PDF, or as a JPEG like a photograph."""
    sheet = Image.new("L", (WIDTH, HEIGHT), color=252)
    pen = ImageDraw.Draw(sheet)
    top = float(MARGIN)
    for text, size, gap in (
        (supplier, 46, 70),
        ("Certificate of analysis", 34, 90),
        *((line, 30, 52) for line in lines),
    ):
        pen.text((MARGIN, top), text, fill=25, font=ImageFont.load_default(size))
        top += gap
    bottom = HEIGHT - MARGIN
    pen.line((MARGIN, bottom - 30, WIDTH - MARGIN, bottom - 30), fill=25, width=3)
    pen.text((MARGIN, bottom), INVENTED, fill=25, font=ImageFont.load_default(32))
    kept = io.BytesIO()
    if as_picture:
        sheet.rotate(1.4, fillcolor=190, expand=True).save(kept, "JPEG", quality=80)
    else:
        sheet.save(kept, "PDF", resolution=DOTS_PER_INCH, title=INVENTED)
    ending = "jpg" if as_picture else "pdf"
    return ContentFile(kept.getvalue(), name=f"{name}.{ending}")
