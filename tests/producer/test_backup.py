from __future__ import annotations

import hashlib
import io
import json
import os
import sqlite3
import subprocess
import threading
import zipfile
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import connection, connections
from pytest_django import Settings

from producer.management.commands import backup
from producer.models import Attachment, JournalHead, Supplier
from producer.services import registers
from tests import database, make

COUNT = 'SELECT count(*) FROM "{}"'
SAID = (
    ("producer.RawLot", "raw lots"),
    ("batches.Batch", "batches"),
    ("batches.Bottle", "bottles"),
)

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def elsewhere(tmp_path: Path) -> Path:
    """Return a directory that no premises uses."""
    return tmp_path / "elsewhere"


def back_up(path: Path) -> Path:
    call_command("backup", str(path), stdout=io.StringIO())
    return path


def restore(path: Path, target: Path) -> str:
    said = io.StringIO()
    call_command("restore", str(path), to=str(target), stdout=said)
    return said.getvalue()


def sha256(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def contents(path: Path) -> dict[str, bytes]:
    with zipfile.ZipFile(path) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def rewritten(path: Path, **changes: bytes | None) -> Path:
    """Return a copy of a zip file with members changed, added or left out."""
    members: dict[str, bytes | None] = {**contents(path), **changes}
    other = path.with_name("rewritten.zip")
    with zipfile.ZipFile(other, "w") as archive:
        for name, data in members.items():
            if data is not None:
                archive.writestr(name, data)
    return other


def manifest_of(path: Path) -> dict[str, Any]:
    manifest: dict[str, Any] = json.loads(contents(path)["manifest.json"])
    return manifest


@pytest.fixture
def premises_at_work(crew: make.Crew) -> make.Crew:
    """Return the crew of a premises with a lot, its paper, a batch and bottles."""
    make.filled(crew)
    assert Attachment.objects.exists()
    return crew


@pytest.fixture
def small(crew: make.Crew, tmp_path: Path) -> Path:
    """Return a backup with one upload, for those who spoil it."""
    make.released_lot(crew, make.potash(crew.maker))
    return back_up(tmp_path / "small.zip")


# --------------------------------------------------------------- there and back


def test_scenario_31_restore_on_another_machine(
    premises_at_work: make.Crew, tmp_path: Path, elsewhere: Path, settings: Settings
) -> None:
    """Hashes agree, papers are there, counts are equal."""
    before = database.row_counts()
    head = JournalHead.objects.get()
    uploads = {
        path.relative_to(settings.MEDIA_ROOT): sha256(path)
        for path in Path(settings.MEDIA_ROOT).rglob("*")
        if path.is_file()
    }
    assert uploads

    said = restore(back_up(tmp_path / "b.zip"), elsewhere)

    assert f"row {head.sequence} with {head.hash}" in said
    restored = elsewhere / "uploads"
    assert uploads == {
        path.relative_to(restored): sha256(path)
        for path in restored.rglob("*")
        if path.is_file()
    }
    with the_restored(elsewhere) as query:
        after = {
            model._meta.label: query(COUNT.format(model._meta.db_table))
            for model in database.our_models()
        }
        assert {label: [(count,)] for label, count in before.items()} == after
        assert query("SELECT sequence, hash FROM producer_journalhead") == [
            (head.sequence, head.hash)
        ]
    for label, words in (
        ("producer.RawLot", "raw lots"),
        ("batches.Bottle", "bottles"),
    ):
        assert f"{before[label]} {words}" in said
        assert before[label]


class the_restored:  # noqa: N801 - used like a function
    """A way to ask what was restored, on the engine it came from."""

    def __init__(self, directory: Path) -> None:
        self.directory = directory

    def __enter__(self) -> Callable[[str], list[tuple[Any, ...]]]:
        if connection.vendor == "sqlite":
            self.sqlite = sqlite3.connect(self.directory / "records.sqlite3")
            return lambda sql: self.sqlite.execute(sql).fetchall()
        self.environment = {**os.environ, **backup.postgresql_environment()}
        self.run("createdb", "elsewhere")
        dump = str(self.directory / "records.pgdump")
        self.run("pg_restore", "--no-owner", "-e", "-d", "elsewhere", dump)
        return self.query

    def query(self, sql: str) -> list[tuple[Any, ...]]:
        said = self.run("psql", "-d", "elsewhere", "-At", "-F", "\t", "-c", sql)
        return [
            tuple(int(cell) if cell.isdigit() else cell for cell in line.split("\t"))
            for line in said.splitlines()
        ]

    def run(self, *command: str) -> str:
        done = subprocess.run(  # noqa: S603 - words of ours
            command, env=self.environment, check=True, capture_output=True, text=True
        )
        return done.stdout

    def __exit__(self, *_: object) -> None:
        if connection.vendor == "sqlite":
            self.sqlite.close()
        else:
            self.run("dropdb", "--force", "elsewhere")


def test_a_backup_and_what_is_restored_are_for_our_eyes_only(
    small: Path, elsewhere: Path
) -> None:
    restore(small, elsewhere)
    for path in (small, elsewhere, *elsewhere.rglob("*")):
        assert path.stat().st_mode & 0o077 == 0, path


def test_the_secret_key_is_not_in_a_backup(small: Path, settings: Settings) -> None:
    (settings.DATA_DIR / "secret.key").write_text("secret", encoding="utf-8")
    assert not [name for name in contents(small) if "secret" in name]


def test_a_backup_while_somebody_writes_is_of_one_moment(
    crew: make.Crew, tmp_path: Path, elsewhere: Path
) -> None:
    if connection.vendor != "sqlite":
        pytest.skip("pg_dump's own snapshot does this on PostgreSQL")
    stop, writing = threading.Event(), threading.Event()

    def write() -> None:
        number = 0
        try:
            while not stop.is_set():
                number += 1
                registers.save(by=crew.maker, entry=Supplier(name=f"No {number}"))
                writing.set()
        finally:
            connections.close_all()

    writer = threading.Thread(target=write)
    writer.start()
    assert writing.wait(30)
    try:
        path = back_up(tmp_path / "b.zip")
        after = JournalHead.objects.get().sequence
    finally:
        stop.set()
        writer.join(30)
    restore(path, elsewhere)
    with the_restored(elsewhere) as query:
        last = query(
            "SELECT sequence, hash FROM producer_journalentry"
            " ORDER BY sequence DESC LIMIT 1"
        )
        assert last == query("SELECT sequence, hash FROM producer_journalhead")
        assert [tuple(manifest_of(path)["journal"].values())] == last
        assert last[0][0] <= after


def test_an_upload_that_is_gone_is_named(
    small: Path, tmp_path: Path, elsewhere: Path, settings: Settings
) -> None:
    upload = Attachment.objects.get()
    (Path(settings.MEDIA_ROOT) / upload.path).unlink()
    path = tmp_path / "gap.zip"
    with pytest.raises(CommandError, match=upload.original_name):
        back_up(path)
    assert f"missing since before the backup: {upload.original_name}" in restore(
        path, elsewhere
    )


def test_a_backup_never_overwrites_one(small: Path) -> None:
    before = sha256(small)
    with pytest.raises(CommandError, match="exists"):
        back_up(small)
    assert sha256(small) == before


def test_a_backup_broken_off_leaves_nothing(
    crew: make.Crew, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def breaks(directory: Path) -> backup.Dump:
        raise KeyboardInterrupt

    monkeypatch.setattr(backup, "dump_database", breaks)
    place = tmp_path / "backups"
    with pytest.raises(KeyboardInterrupt):
        back_up(place / "b.zip")
    assert list(place.iterdir()) == []


def test_nothing_is_not_backed_up(db: None, tmp_path: Path) -> None:
    JournalHead.objects.all().delete()  # as a first start broken off has left it
    with pytest.raises(CommandError, match="There are no records in"):
        back_up(tmp_path / "b.zip")
    assert not (tmp_path / "b.zip").exists()


def test_looking_for_records_makes_none(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    nowhere = tmp_path / "records.sqlite3"
    facts = SimpleNamespace(vendor="sqlite", settings_dict={"NAME": str(nowhere)})
    monkeypatch.setattr(backup, "connection", facts)
    assert not backup.is_begun()
    assert not nowhere.exists()


# --------------------------------------------------------------- what is refused


@pytest.fixture
def refused(elsewhere: Path) -> Callable[[Path, str], None]:
    """Return a check that a backup is refused with these words, and leaves nothing."""

    def check(path: Path, words: str) -> None:
        with pytest.raises(CommandError, match=words):
            restore(path, elsewhere)
        assert not elsewhere.exists()
        assert not list(elsewhere.parent.glob(f".{elsewhere.name}-*"))

    return check


Refused = Callable[[Path, str], None]


def test_a_changed_upload_is_refused(small: Path, refused: Refused) -> None:
    name = next(name for name in contents(small) if name.startswith("uploads/"))
    changed = rewritten(small, **{name: b"%PDF-1.7 another assay"})
    refused(changed, f"{name} does not fit its checksum")


def test_a_missing_upload_is_refused(small: Path, refused: Refused) -> None:
    name = next(name for name in contents(small) if name.startswith("uploads/"))
    refused(rewritten(small, **{name: None}), "is not a whole backup")


def test_a_file_that_is_not_named_is_refused(small: Path, refused: Refused) -> None:
    refused(rewritten(small, **{"uploads/more": b"x"}), "files it does not name")


@pytest.mark.parametrize("name", ["../outside", "/outside", "a/../../outside"])
def test_a_name_that_leads_outside_is_refused(
    small: Path, refused: Refused, tmp_path: Path, name: str
) -> None:
    manifest = manifest_of(small)
    manifest["files"] = {name: hashlib.sha256(b"x").hexdigest(), **manifest["files"]}
    changed = rewritten(
        small, **{name: b"x", "manifest.json": json.dumps(manifest).encode()}
    )
    refused(changed, "outside itself")
    assert not [path for path in tmp_path.rglob("outside*") if path.is_file()]
    assert not Path("/outside").exists()


def test_a_table_with_fewer_rows_is_refused(small: Path, refused: Refused) -> None:
    manifest = manifest_of(small)
    if manifest["engine"] != "sqlite":
        pytest.skip("counted by pg_restore's user, see README.md")
    manifest["counts"]["producer_rawlot"] += 1
    changed = rewritten(small, **{"manifest.json": json.dumps(manifest).encode()})
    refused(changed, "producer_rawlot")


def test_a_backup_of_another_format_is_refused(small: Path, refused: Refused) -> None:
    manifest = {**manifest_of(small), "format": "kettlebook backup 99"}
    changed = rewritten(small, **{"manifest.json": json.dumps(manifest).encode()})
    refused(changed, "Use the version that wrote it")


@pytest.mark.parametrize("data", [b"", b"no zip at all"])
def test_what_is_no_backup_is_refused(
    tmp_path: Path, refused: Refused, data: bytes
) -> None:
    path = tmp_path / "b.zip"
    path.write_bytes(data)
    refused(path, "is not a whole backup")


def test_a_backup_cut_short_is_refused(small: Path, refused: Refused) -> None:
    data = small.read_bytes()
    small.write_bytes(data[: len(data) // 2])
    refused(small, "is not a whole backup")


def test_a_backup_that_is_not_there_is_told(tmp_path: Path, refused: Refused) -> None:
    refused(tmp_path / "nowhere.zip", "There is no file")


def test_a_directory_with_something_in_it_is_refused(
    small: Path, elsewhere: Path
) -> None:
    elsewhere.mkdir()
    (elsewhere / "records.sqlite3").write_text("real", encoding="utf-8")
    with pytest.raises(CommandError, match="is not empty"):
        restore(small, elsewhere)
    assert [path.name for path in elsewhere.iterdir()] == ["records.sqlite3"]
    assert (elsewhere / "records.sqlite3").read_text("utf-8") == "real"


def test_an_empty_directory_is_taken(small: Path, elsewhere: Path) -> None:
    elsewhere.mkdir()
    restore(small, elsewhere)
    assert (elsewhere / "uploads").is_dir()
