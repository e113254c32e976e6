"""Uploaded files: each is there and the bytes it was, and nothing else lies there."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from pathlib import Path

from django.conf import settings

from producer.models import Attachment
from producer.services.attachments import path_of
from quality.services.verification.checks import Remark, Tell

PIECE = 1 << 20  # bytes of a file read at a time


def faults(tell: Tell) -> Iterator[str]:
    """Yield a fault for each upload that is missing or not the bytes it was.

    A file that no row names is a remark: a power cut can leave one.
    """
    for walked, attachment in enumerate(Attachment.objects.order_by("pk").iterator()):
        tell(walked)
        fault = _fault_of(attachment)
        if fault:
            yield fault
    yield from _unknown_files()


def _fault_of(attachment: Attachment) -> str:
    name = f"The file {attachment.original_name} ({attachment.path})"
    path = path_of(attachment)
    try:
        found, size = _sha256(path), path.stat().st_size
    except OSError as error:
        return f"{name} cannot be read: {error.strerror}. Fetch it from a backup."
    if (found, size) == (attachment.sha256, attachment.size_bytes):
        return ""
    return (
        f"{name} is not what was uploaded: its SHA-256 or size differs. Fetch it from a"
        " backup."
    )


def _unknown_files() -> Iterator[Remark]:
    """Yield a remark for each file that no row names, a directory at a time."""
    top = Path(settings.MEDIA_ROOT)
    for directory in sorted(path for path in top.glob("*") if path.is_dir()):
        # Two digits of 256 are the name of a directory: few rows at a time.
        rows = Attachment.objects.filter(sha256__startswith=directory.name)
        known = set(rows.values_list("sha256", flat=True))
        for path in sorted(directory.rglob("*")):
            if path.is_file() and path.name not in known:
                yield Remark(
                    f"The file {path.relative_to(top)} belongs to no record. A power"
                    " cut during an upload leaves one; nothing refers to it."
                )


def _sha256(path: Path) -> str:
    digest = hashlib.sha256()
    with path.open("rb") as file:
        while piece := file.read(PIECE):
            digest.update(piece)
    return digest.hexdigest()
