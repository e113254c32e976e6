"""``manage.py backup``: records and uploads in one file, with a checksum for each."""

from __future__ import annotations

import datetime
import hashlib
import json
import os
import shutil
import sqlite3
import subprocess
import tempfile
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import BaseCommand, CommandError, CommandParser
from django.db import connection

from producer.models import JournalHead

FORMAT = "kettlebook backup 1"


class Command(BaseCommand):
    """Write a backup; it can be taken while people work."""

    help = "Write records and uploads into one zip file, with checksums."

    def add_arguments(self, parser: CommandParser) -> None:
        """Take the file to write."""
        parser.add_argument("file", nargs="?", help="default: backups/DATE.zip")

    def handle(self, *args: Any, **options: Any) -> None:
        """Write the file under another name, then give it its own."""
        path = Path(options["file"] or self._default_path())
        if path.exists():
            raise CommandError(f"{path} exists. Choose another name.")
        path.parent.mkdir(parents=True, exist_ok=True)
        partial = path.with_name(path.name + ".partial")
        with tempfile.TemporaryDirectory(dir=path.parent) as directory:
            database = dump_database(Path(directory))
            self.stdout.write(f"  records: {database.stat().st_size:,} bytes")
            files = [(database.name, database), *uploads()]
            self._write(partial, files)
        partial.replace(path)
        self.stdout.write(f"Backed up {len(files)} files into {path}.")
        self.stdout.write(
            "The secret key is not in it: after restoring, everybody signs in anew."
        )

    def _default_path(self) -> Path:
        now = datetime.datetime.now(tz=datetime.UTC)
        return Path(settings.DATA_DIR) / "backups" / f"{now:%Y%m%d-%H%M%S}.zip"

    def _write(self, partial: Path, files: list[tuple[str, Path]]) -> None:
        manifest: dict[str, Any] = {
            "format": FORMAT,
            "engine": connection.vendor,
            "journal": dict(JournalHead.objects.values("sequence", "hash")[0]),
            "files": {},
        }
        with zipfile.ZipFile(partial, "w", zipfile.ZIP_DEFLATED) as archive:
            for number, (name, source) in enumerate(files, start=1):
                archive.write(source, name)
                manifest["files"][name] = sha256_of(source)
                if number % 100 == 0:
                    self.stdout.write(f"  {number} of {len(files)} files")
            archive.writestr("manifest.json", json.dumps(manifest, indent=1))
        handle = os.open(partial, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def uploads() -> Iterator[tuple[str, Path]]:
    """Yield name in the backup and path of every upload."""
    root = Path(settings.MEDIA_ROOT)
    for path in sorted(root.rglob("*")):
        if path.is_file():
            yield f"uploads/{path.relative_to(root).as_posix()}", path


def dump_database(directory: Path) -> Path:
    """Write the database into ``directory`` as it is at this moment."""
    if connection.vendor == "sqlite":
        return _copy_sqlite(directory / "records.sqlite3")
    if shutil.which("pg_dump") is None:
        raise CommandError(
            "pg_dump is needed to back up PostgreSQL. On Debian type: sudo apt-get"
            " install postgresql-client"
        )
    path = directory / "records.pgdump"
    done = subprocess.run(
        [
            "pg_dump",
            "--format=custom",
            f"--file={path}",
            f"--dbname={os.environ['DATABASE_URL']}",
        ],
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode:
        raise CommandError(f"pg_dump failed: {done.stderr.strip()}")
    return path


def _copy_sqlite(path: Path) -> Path:
    # All pages in one step: a stepped copy starts over whenever somebody writes.
    source = sqlite3.connect(f"file:{connection.settings_dict['NAME']}", uri=True)
    target = sqlite3.connect(path)
    try:
        source.backup(target, pages=-1)
    finally:
        target.close()
        source.close()
    return path


def sha256_of(path: Path) -> str:
    """Return the SHA-256 of a file, read in pieces."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
