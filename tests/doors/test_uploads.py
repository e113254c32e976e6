"""What is uploaded comes back as a download, to people with an account only."""

from __future__ import annotations

from pathlib import Path

import pytest
from django.conf import settings
from django.core.files.uploadedfile import SimpleUploadedFile
from django.http import HttpResponseBase
from django.test import Client
from django.urls import reverse

from producer.models import Attachment, Certificate
from tests import uploads
from tests.doors.pages import field_value, page_of, text_of
from tests.doors.world import World

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("standing_world")]


@pytest.fixture
def at_goods_in(world: World) -> Client:
    """Return the maker's browser."""
    client = Client()
    client.force_login(world.accounts["maker"])
    return client


def send(client: Client, world: World, upload: SimpleUploadedFile) -> HttpResponseBase:
    """Record a certificate of the held lot with this file."""
    upload.seek(0)
    address = reverse("quality:lot_certificate", args=[world.held.code])
    form = {
        "submission": field_value(page_of(client.get(address)), "submission"),
        "file": upload,
        "saponification_value": "191",
    }
    return client.post(address, form)


def newest() -> Attachment:
    """Return the file that was kept last."""
    return Attachment.objects.order_by("-pk")[0]


def download(client: Client, attachment: Attachment) -> HttpResponseBase:
    """Ask for a file."""
    return client.get(reverse("producer:attachment", args=[attachment.pk]))


@pytest.mark.parametrize(
    ("upload", "content_type"),
    [
        (uploads.pdf(), "application/pdf"),
        (uploads.picture(), "image/png"),
        (uploads.picture("page.html", "JPEG"), "image/jpeg"),
    ],
)
def test_a_file_comes_back_as_a_download_of_its_own_type(
    world: World, at_goods_in: Client, upload: SimpleUploadedFile, content_type: str
) -> None:
    assert send(at_goods_in, world, upload).status_code == 302
    upload.seek(0)
    response = download(at_goods_in, newest())
    assert response.headers["Content-Type"] == content_type
    assert response.headers["Content-Disposition"].startswith("attachment;")
    assert response.headers["X-Content-Type-Options"] == "nosniff"
    assert "default-src 'none'" in response.headers["Content-Security-Policy"]
    assert response.getvalue() == upload.read()


def test_a_visitor_gets_no_file_by_any_address(
    world: World, at_goods_in: Client
) -> None:
    send(at_goods_in, world, uploads.pdf())
    kept, visitor = newest(), Client()
    assert download(visitor, kept).status_code == 302
    assert b"%PDF" not in download(visitor, kept).getvalue()
    for address in (
        f"/uploads/{kept.path}",
        f"/media/{kept.path}",
        f"/static/{kept.path}",
        f"/static/../uploads/{kept.path}",
        f"/{kept.path}",
        f"/files/{kept.sha256}/",
    ):
        for client in (visitor, at_goods_in):
            assert client.get(address).status_code == 404


@pytest.mark.parametrize(
    "name",
    [
        "../../../../etc/cron.d/evil.pdf",
        "..\\..\\windows\\evil.pdf",
        "/etc/passwd",
        'x"; filename="evil.exe.pdf',
        "evil\r\nSet-Cookie: a=b.pdf",
        "<script>alert(1)</script>.pdf",
        "certificate.pdf.exe",
        ".htaccess",
        "\u202efdp.exe",
        "é" * 200 + ".pdf",
        "-rf.pdf",
        "con.pdf\x00.exe",
    ],
)
def test_a_hostile_name_is_made_harmless(
    world: World, at_goods_in: Client, name: str
) -> None:
    upload = uploads.pdf("plain.pdf")
    upload._name = name  # type: ignore[attr-defined]  # past what the setter does
    assert send(at_goods_in, world, upload).status_code == 302
    kept = newest()
    assert kept.original_name.endswith(".pdf")
    assert kept.original_name.isascii()
    assert not set(kept.original_name) & set("/\\\"'<>\r\n\0;: ")
    assert not kept.original_name.startswith((".", "-"))
    response = download(at_goods_in, kept)
    assert response.headers["Content-Disposition"] == (
        f'attachment; filename="{kept.original_name}"'
    )
    assert response.getvalue().startswith(b"%PDF")
    root = Path(settings.MEDIA_ROOT).resolve()
    files = [path for path in root.parent.rglob("*evil*") if path.is_file()]
    assert files == []
    assert (root / kept.path).is_file()


@pytest.mark.parametrize(
    ("upload", "sentence"),
    [
        (SimpleUploadedFile("a.pdf", b"<html><script>"), "Only PDF, JPEG and PNG"),
        (SimpleUploadedFile("a.svg", b"<svg onload='x()'/>"), "Only PDF, JPEG and PNG"),
        (SimpleUploadedFile("a.png", b"\x89PNG\r\n\x1a\n"), "Only PDF, JPEG and PNG"),
        (
            SimpleUploadedFile("a.pdf", b"%PDF-" + b"0" * 10_485_760),
            "larger than 10 MB",
        ),
    ],
    ids=["html", "svg", "half a picture", "too large"],
)
def test_what_is_no_certificate_is_refused_beside_the_field(
    world: World, at_goods_in: Client, upload: SimpleUploadedFile, sentence: str
) -> None:
    files, rows = Attachment.objects.count(), Certificate.objects.count()
    response = send(at_goods_in, world, upload)
    assert response.status_code == 200
    page = page_of(response)
    assert sentence in page.words
    assert field_value(page, "saponification_value") == "191"
    assert (Attachment.objects.count(), Certificate.objects.count()) == (files, rows)


def test_an_empty_file_is_refused_in_a_sentence(
    world: World, at_goods_in: Client
) -> None:
    response = send(at_goods_in, world, SimpleUploadedFile("a.pdf", b""))
    assert response.status_code == 200
    assert "empty" in text_of(response)
