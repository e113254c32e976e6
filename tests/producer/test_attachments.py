"""Uploads: judged by their bytes, kept by their hash, harmless in name."""

from __future__ import annotations

import hashlib
import io
import os
import struct
import tracemalloc
import zlib
from pathlib import Path

import pytest
from django.conf import settings
from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image, ImageFile
from PIL.PngImagePlugin import PngInfo

from producer.errors import Refusal
from producer.models import Attachment, User
from producer.services import attachments
from tests import uploads


def refused(by: User, upload: SimpleUploadedFile) -> Refusal:
    """Return the refusal, having seen that nothing was kept."""
    with pytest.raises(Refusal) as refusal:
        attachments.store(by=by, upload=upload)
    assert not Attachment.objects.exists()
    assert not list(Path(settings.MEDIA_ROOT).rglob("*"))
    assert refusal.value.field == "file"
    return refusal.value


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("upload", "content_type"),
    [
        (uploads.pdf(), "application/pdf"),
        (uploads.picture(), "image/png"),
        (uploads.picture("photo.jpeg", "JPEG"), "image/jpeg"),
        (uploads.picture("named-wrongly.pdf", "PNG"), "image/png"),
    ],
)
def test_a_certificate_is_kept_under_its_hash_and_named_by_its_content(
    owner: User, upload: SimpleUploadedFile, content_type: str
) -> None:
    upload.seek(0)
    data = upload.read()
    upload.seek(0)
    kept = attachments.store(by=owner, upload=upload)
    assert kept.content_type == content_type
    assert kept.original_name.endswith(attachments.SUFFIXES[content_type])
    assert kept.sha256 == hashlib.sha256(data).hexdigest()
    assert kept.size_bytes == len(data)
    path = attachments.path_of(kept)
    assert path.read_bytes() == data
    assert path == Path(settings.MEDIA_ROOT) / kept.sha256[:2] / kept.sha256
    assert path.stat().st_mode & 0o077 == 0


EXECUTABLE = b"MZ\x90\x00" + b"\x00" * 60 + b"PE\x00\x00"
PAGE = b"<!doctype html><script>alert(1)</script>"
DRAWING = b'<svg xmlns="http://www.w3.org/2000/svg"><script>1</script></svg>'


@pytest.mark.django_db
@pytest.mark.parametrize("name", ["certificate.pdf", "photo.jpg", "photo.png"])
@pytest.mark.parametrize("data", [EXECUTABLE, PAGE, DRAWING, b"GIF89a", b"%PD"])
def test_a_program_or_page_renamed_to_a_certificate_is_refused(
    owner: User, name: str, data: bytes
) -> None:
    upload = SimpleUploadedFile(name, data, content_type="application/pdf")
    assert "whatever its name says" in refused(owner, upload).message


@pytest.mark.django_db
def test_what_is_too_large_is_refused_before_it_is_read(
    owner: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(attachments, "LARGEST_BYTES", 100)
    assert (
        attachments.store(by=owner, upload=uploads.pdf(body=b"x" * 84)).size_bytes
        == 100
    )
    upload = uploads.pdf(body=b"x" * 85)
    upload.close()  # reading it now would raise another error
    with pytest.raises(Refusal, match="larger than"):
        attachments.store(by=owner, upload=upload)


def test_the_largest_upload_is_ten_megabytes() -> None:
    assert attachments.LARGEST_BYTES == 10 * 1024**2
    assert settings.DATA_UPLOAD_MAX_MEMORY_SIZE > attachments.LARGEST_BYTES


@pytest.mark.django_db
def test_an_empty_file_is_refused(owner: User) -> None:
    """Certificates and photographs of sheets come this way: the words fit both."""
    said = refused(owner, SimpleUploadedFile("a.pdf", b"")).message
    assert said == "This file is empty. Choose it again, or another one."


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("name", "kept"),
    [
        ("../../../etc/passwd", "passwd.pdf"),
        ("..\\..\\windows\\system.ini", "system.pdf"),
        ("/etc/keys/id_rsa", "id_rsa.pdf"),
        ("..", "certificate.pdf"),
        ("....pdf", "certificate.pdf"),
        ("cert.pdf\r\nSet-Cookie: x=1", "cert.pdf"),
        ('a"; filename="b.exe', "a_filename_b.pdf"),
        ("a" * 300 + ".pdf", "a" * 80 + ".pdf"),
        ("Zertifikat №3.exe", "Zertifikat_3.pdf"),
        ("\u202efdp.exe", "fdp.pdf"),
    ],
)
def test_a_name_that_leads_elsewhere_is_made_harmless(
    owner: User, name: str, kept: str
) -> None:
    upload = uploads.pdf()
    upload._name = name  # type: ignore[attr-defined]  # Django cleans it; we must too
    attachment = attachments.store(by=owner, upload=upload)
    assert attachment.original_name == kept
    inside = attachments.path_of(attachment).resolve()
    assert inside.is_relative_to(Path(settings.MEDIA_ROOT).resolve())


def png_of(width: int, height: int) -> bytes:
    """Return a picture of that size, a few hundred bytes for any number of pixels."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return (
            struct.pack(">I", len(data))
            + kind
            + data
            + struct.pack(">I", zlib.crc32(kind + data))
        )

    header = struct.pack(">IIBBBBB", width, height, 1, 0, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", header)
        + chunk(b"IDAT", zlib.compress(b"\x00" * 1000))
        + chunk(b"IEND", b"")
    )


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("width", "height"),
    [(8000, 8000), (10_000, 10_000), (20_000, 20_000), (2**31 - 1, 2**31 - 1)],
)
def test_a_picture_that_unfolds_to_too_many_pixels_is_refused(
    owner: User, width: int, height: int
) -> None:
    data = png_of(width, height)
    assert len(data) < 1000
    refused(owner, SimpleUploadedFile("bomb.png", data))


@pytest.mark.django_db
def test_control_a_picture_with_as_many_pixels_as_a_good_scan_is_taken(
    owner: User,
) -> None:
    upload = SimpleUploadedFile("scan.png", png_of(7000, 8000))
    assert attachments.store(by=owner, upload=upload).content_type == "image/png"


def with_folded_text(size: int) -> bytes:
    """Return a small picture with a comment that unfolds to ``size`` bytes."""
    info = PngInfo()
    info.add_text("Comment", "x" * size, zip=True)
    buffer = io.BytesIO()
    Image.new("1", (4, 4)).save(buffer, "PNG", pnginfo=info)
    return buffer.getvalue()


@pytest.mark.django_db
def test_a_picture_with_a_text_that_unfolds_is_refused(
    owner: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(ImageFile, "LOAD_TRUNCATED_IMAGES", False)
    data = with_folded_text(64 * 1024 * 1024)
    assert len(data) < 200_000
    refused(owner, SimpleUploadedFile("bomb.png", data))


def test_where_such_a_text_is_skipped_it_is_not_unfolded_either(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # The library that prints our labels sets this for the whole process.
    monkeypatch.setattr(ImageFile, "LOAD_TRUNCATED_IMAGES", True)
    data = with_folded_text(64 * 1024 * 1024)
    tracemalloc.start()
    try:
        assert attachments.sniff(data) == "image/png"
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert peak < 8 * 1024 * 1024


@pytest.mark.django_db
def test_a_broken_picture_is_refused(owner: User) -> None:
    data = bytearray(uploads.picture().read())
    data[-20] ^= 0xFF
    refused(owner, SimpleUploadedFile("broken.png", bytes(data)))


@pytest.mark.django_db
def test_the_same_bytes_twice_are_one_file_and_two_records(owner: User) -> None:
    first = attachments.store(by=owner, upload=uploads.pdf("one.pdf"))
    second = attachments.store(by=owner, upload=uploads.pdf("two.pdf"))
    assert first.pk != second.pk
    assert attachments.path_of(first) == attachments.path_of(second)
    files = [p for p in Path(settings.MEDIA_ROOT).rglob("*") if p.is_file()]
    assert len(files) == 1


@pytest.mark.django_db
def test_when_the_disk_is_full_neither_record_nor_half_a_file_is_left(
    owner: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(handle: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError, match="No space left"):
        attachments.store(by=owner, upload=uploads.pdf())
    assert not Attachment.objects.exists()
    files = [p for p in Path(settings.MEDIA_ROOT).rglob("*") if p.is_file()]
    assert files == []
