"""Files as somebody uploads them."""

from __future__ import annotations

import io

from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image


def pdf(name: str = "certificate.pdf", body: bytes = b"one page") -> SimpleUploadedFile:
    """Return an upload that begins as a PDF does."""
    return SimpleUploadedFile(name, b"%PDF-1.7\n" + body + b"\n%%EOF\n")


def picture(name: str = "certificate.png", kind: str = "PNG") -> SimpleUploadedFile:
    """Return an upload that is a small picture."""
    buffer = io.BytesIO()
    Image.new("RGB", (12, 8), "white").save(buffer, kind)
    return SimpleUploadedFile(name, buffer.getvalue())
