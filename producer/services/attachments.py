"""Uploads: a PDF or a picture, checked by its content, kept by its hash."""

from __future__ import annotations

import contextlib
import hashlib
import io
import os
import re
import tempfile
from pathlib import Path

from django.conf import settings
from django.core.files.base import File
from django.utils import timezone
from PIL import Image, UnidentifiedImageError

from producer.errors import Refusal
from producer.models import Attachment, User

LARGEST_BYTES = 10 * 1024 * 1024
LARGEST_PIXELS = 60_000_000
PICTURES = {"JPEG": "image/jpeg", "PNG": "image/png"}
SUFFIXES = {"application/pdf": ".pdf", "image/jpeg": ".jpg", "image/png": ".png"}

_NOT_A_PICTURE = (
    UnidentifiedImageError,
    Image.DecompressionBombError,
    Image.DecompressionBombWarning,  # an error where warnings are errors
    OSError,
    SyntaxError,
    ValueError,  # a text or profile inside that unfolds beyond all measure
)


def store(*, by: User, upload: File[bytes], field: str = "file") -> Attachment:
    """Check an upload and keep it; the caller holds the transaction and journal.

    The bytes are on the disk, flushed, before the row that names them is written, so
    a power cut can leave a file without a row but never a row without its file.
    Raises :class:`Refusal` for a type, size or content that is not taken.
    """
    if not upload.size:
        raise Refusal(
            "This file is empty. Choose it again, or another one.", field=field
        )
    if upload.size > LARGEST_BYTES:
        raise Refusal(
            "This file is larger than 10 MB. Scan it at 200 dpi, or photograph it at a"
            " smaller size.",
            field=field,
        )
    data = upload.read()
    content_type = sniff(data)
    if content_type is None:
        raise Refusal(
            "Only PDF, JPEG and PNG files are taken, and this is none of them, whatever"
            " its name says.",
            field=field,
        )
    attachment = Attachment(
        sha256=hashlib.sha256(data).hexdigest(),
        original_name=safe_name(upload.name or "", content_type),
        content_type=content_type,
        size_bytes=len(data),
        observed_at=timezone.now(),
        entered_by=by,
    )
    attachment.full_clean()
    _write_durably(path_of(attachment), data)
    attachment.save(force_insert=True)
    return attachment


def path_of(attachment: Attachment) -> Path:
    """Return where the bytes of an attachment lie."""
    return Path(settings.MEDIA_ROOT) / attachment.path


def sniff(data: bytes) -> str | None:
    """Return the content type by what the bytes are, or None if it is not taken."""
    if data.startswith(b"%PDF-"):
        return "application/pdf"
    try:
        with Image.open(io.BytesIO(data), formats=list(PICTURES)) as picture:
            if picture.width * picture.height > LARGEST_PIXELS:
                return None
            content_type = PICTURES[str(picture.format)]
            picture.verify()
    except _NOT_A_PICTURE:
        return None
    return content_type


def safe_name(name: str, content_type: str) -> str:
    """Return a harmless file name with the ending that fits the content.

    >>> safe_name("../../etc/Zertifikat KOH №3.exe", "application/pdf")
    'Zertifikat_KOH_3.pdf'
    """
    stem = Path(name.replace("\\", "/")).stem
    stem = re.sub(r"[^A-Za-z0-9._-]+", "_", stem).strip("._-")[:80] or "certificate"
    return stem + SUFFIXES[content_type]


def _write_durably(path: Path, data: bytes) -> None:
    if path.exists():  # same hash, same bytes
        return
    path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    handle, temporary = tempfile.mkstemp(dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        Path(temporary).replace(path)
    except BaseException:
        with contextlib.suppress(FileNotFoundError):
            Path(temporary).unlink()
        raise
    folder = os.open(path.parent, os.O_RDONLY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)
