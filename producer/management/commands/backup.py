"""``manage.py backup``: records and uploads in one file, with a checksum for each.

It also runs before an upgrade, so it knows nothing of today's models: it copies the
database whole and reads from the copy by SQL what every version has.
"""

from __future__ import annotations

import contextlib
import datetime
import hashlib
import json
import os
import shutil
import sqlite3
import subprocess
import tempfile
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, NamedTuple

from django.conf import settings
from django.core.management import BaseCommand, CommandError, CommandParser
from django.db import connection, transaction

from producer.serving import explained

FORMAT = "kettlebook backup 1"
HEAD_TABLE = "producer_journalhead"
HEAD = f"SELECT sequence, hash FROM {HEAD_TABLE}"  # noqa: S608 - a name of ours
UPLOADS = "SELECT sha256, original_name FROM producer_attachment ORDER BY id"
HANDED_ON = ("sslmode", "sslrootcert", "sslcert", "sslkey", "target_session_attrs")

Rows = list[tuple[Any, ...]]


class Dump(NamedTuple):
    """The database at one moment."""

    path: Path
    head: tuple[int, str]
    counts: dict[str, int]
    uploads: list[tuple[str, str]]


class Command(BaseCommand):
    """Write a backup; it can be taken while people work."""

    help = "Write records and uploads into one zip file, with checksums."
    requires_system_checks = ()

    def add_arguments(self, parser: CommandParser) -> None:
        """Take the file to write."""
        parser.add_argument("file", nargs="?", help="default: backups/DATE.zip")

    def handle(self, *args: Any, **options: Any) -> None:
        """Write the file under another name, then give it its own."""
        path = Path(options["file"] or default_path())
        if path.exists():
            raise CommandError(f"{path} exists. Choose another name.")
        with explained():
            if not is_begun():
                raise CommandError(
                    f"There are no records in {settings.DATA_DIR}. Name the directory"
                    " that has them with KETTLEBOOK_DATA, then repeat the command."
                )
            path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
            partial = path.with_name(path.name + ".partial")
            try:
                missing = self._write(partial)
                partial.replace(path)
            finally:
                partial.unlink(missing_ok=True)
        self.stdout.write(
            f"Backed up into {path}. Copy it to another computer; its key"
            " is not in it, so after restoring everybody signs in anew."
        )
        if missing:
            raise CommandError(
                f"{len(missing)} uploads that records name were not there:"
                f" {', '.join(missing)}. All the rest is in the backup. Type:"
                " python3 manage.py verify"
            )

    def _write(self, partial: Path) -> list[str]:
        """Write everything and return the names of uploads that are gone."""
        handle = os.open(partial, os.O_RDWR | os.O_CREAT | os.O_TRUNC, 0o600)
        with (
            os.fdopen(handle, "w+b") as file,
            tempfile.TemporaryDirectory(dir=partial.parent) as directory,
        ):
            dump = dump_database(Path(directory))
            self._say(f"  records: {dump.path.stat().st_size:,} bytes")
            with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
                manifest = self._fill(archive, dump)
                archive.writestr("manifest.json", json.dumps(manifest, indent=1))
            file.flush()
            os.fsync(file.fileno())
        return list(manifest["missing"])

    def _fill(self, archive: zipfile.ZipFile, dump: Dump) -> dict[str, Any]:
        files, missing = {}, []
        # After the database: an upload is on the disk before the row that names it.
        sources = {dump.path.name: dump.path}
        for sha256, name in dump.uploads:
            place = Path(settings.MEDIA_ROOT, sha256[:2], sha256)
            if place.exists():
                sources[f"uploads/{sha256[:2]}/{sha256}"] = place
            else:
                missing.append(name)
        for number, (name, source) in enumerate(sources.items(), start=1):
            archive.write(source, name)
            files[name] = sha256_of(source)
            if number % 100 == 0:
                self._say(f"  {number} of {len(sources)} files")
        return {
            "format": FORMAT,
            "engine": connection.vendor,
            "taken_at": datetime.datetime.now(tz=datetime.UTC).isoformat(),
            "journal": {"sequence": dump.head[0], "hash": dump.head[1]},
            "counts": dump.counts,
            "missing": missing,
            "files": files,
        }

    def _say(self, text: str) -> None:
        self.stdout.write(text)
        self.stdout.flush()


def default_path() -> Path:
    """Return a name that no other backup of this premises has."""
    now = datetime.datetime.now(tz=datetime.UTC)
    return Path(settings.DATA_DIR) / "backups" / f"{now:%Y%m%d-%H%M%S}.zip"


def is_begun() -> bool:
    """Say whether there is anything to back up.

    The journal's head is laid with the tables and before any record, so where it is
    missing the first start was broken off, or nothing was ever started.
    """
    if connection.vendor == "sqlite" and not _sqlite_file().exists():
        return False
    with connection.cursor() as cursor:
        if HEAD_TABLE not in connection.introspection.table_names(cursor):
            return False
        cursor.execute(HEAD)
        return cursor.fetchone() is not None


def dump_database(directory: Path) -> Dump:
    """Write the database into ``directory`` as it is at this moment."""
    if connection.vendor == "sqlite":
        path = directory / "records.sqlite3"
        _copy_sqlite(path)
        with reading(path) as query:
            return _described(path, query)
    return _dump_postgresql(directory / "records.pgdump")


@contextlib.contextmanager
def reading(path: Path) -> Iterator[Callable[[str], Rows]]:
    """Yield a way to ask a copy of the database, after proving that it is sound."""
    copy = sqlite3.connect(path)
    try:
        copy.execute("PRAGMA journal_mode=DELETE").fetchall()  # one file, no company
        if copy.execute("PRAGMA quick_check").fetchall() != [("ok",)]:
            raise CommandError(
                f"{path.name} is damaged. Keep it as it is, and use a backup from"
                " before."
            )
        yield lambda sql: copy.execute(sql).fetchall()
    finally:
        copy.close()


def counts_of(query: Callable[[str], Rows], tables: list[str]) -> dict[str, int]:
    """Return how many rows each table has."""
    return {
        table: query(f'SELECT count(*) FROM "{table}"')[0][0]  # noqa: S608 - table names
        for table in sorted(tables)
    }


def tables_of(query: Callable[[str], Rows]) -> list[str]:
    """Return the tables of an SQLite database."""
    rows = query(
        "SELECT name FROM sqlite_master WHERE type = 'table'"
        " AND name NOT LIKE 'sqlite!_%' ESCAPE '!'"
    )
    return [name for (name,) in rows]


def sha256_of(path: Path) -> str:
    """Return the SHA-256 of a file, read in pieces."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _described(
    path: Path, query: Callable[[str], Rows], tables: list[str] | None = None
) -> Dump:
    sequence, head = query(HEAD)[0]
    counts = counts_of(query, tables_of(query) if tables is None else tables)
    return Dump(path, (sequence, head), counts, [(a, b) for a, b in query(UPLOADS)])


def _sqlite_file() -> Path:
    return Path(connection.settings_dict["NAME"])


def _copy_sqlite(path: Path) -> None:
    # All pages in one step: a stepped copy starts over whenever somebody writes.
    source = sqlite3.connect(_sqlite_file(), timeout=20)
    target = sqlite3.connect(path)
    try:
        source.backup(target, pages=-1)
    finally:
        target.close()
        source.close()


def _dump_postgresql(path: Path) -> Dump:
    if shutil.which("pg_dump") is None:
        raise CommandError(
            "pg_dump is needed to back up PostgreSQL. On Debian type: sudo apt-get"
            " install postgresql-client"
        )
    with transaction.atomic(), connection.cursor() as cursor:

        def query(sql: str) -> Rows:
            cursor.execute(sql)
            return list(cursor.fetchall())

        # pg_dump sees exactly what this transaction sees.
        cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")
        snapshot = query("SELECT pg_export_snapshot()")[0][0]
        command = ["pg_dump", "--format=custom", f"--file={path}"]
        done = subprocess.run(
            [*command, f"--snapshot={snapshot}"],
            env={**os.environ, **postgresql_environment()},
            capture_output=True,
            text=True,
            check=False,
        )
        if done.returncode:
            raise CommandError(f"pg_dump failed: {done.stderr.strip()}")
        return _described(path, query, connection.introspection.table_names())


def postgresql_environment() -> dict[str, str]:
    """Return how PostgreSQL's programs reach the database; arguments others can see."""
    facts = connection.settings_dict
    options = facts.get("OPTIONS") or {}
    named = {
        "PGHOST": facts["HOST"],
        "PGPORT": facts["PORT"],
        "PGUSER": facts["USER"],
        "PGPASSWORD": facts["PASSWORD"],
        "PGDATABASE": facts["NAME"],
        **{
            f"PG{name.upper().replace('_', '')}": options.get(name)
            for name in HANDED_ON
        },
    }
    return {name: str(value) for name, value in named.items() if value}
