"""``manage.py restore``: a backup into an empty directory, every checksum proven."""

from __future__ import annotations

import json
import shlex
import shutil
import tempfile
import zipfile
import zlib
from pathlib import Path, PurePosixPath
from typing import Any

from django.core.management import BaseCommand, CommandError, CommandParser

from producer.management.commands.backup import (
    FORMAT,
    counts_of,
    reading,
    sha256_of,
    tables_of,
)
from producer.serving import explained

# Tables whose counts are said in words: what people would miss first.
SAID = {
    "producer_rawlot": "raw lots",
    "batches_batch": "batches",
    "batches_bottle": "bottles",
    "producer_journalentry": "journal entries",
}
NOT_WHOLE = (zipfile.BadZipFile, zlib.error, KeyError, ValueError, EOFError)


class Command(BaseCommand):
    """Unpack a backup; it never writes over records."""

    help = "Unpack a backup into an empty directory and prove its checksums."
    requires_system_checks = ()

    def add_arguments(self, parser: CommandParser) -> None:
        """Take the backup and the directory."""
        parser.add_argument("file")
        parser.add_argument("--to", required=True, metavar="DIRECTORY")

    def handle(self, *args: Any, **options: Any) -> None:
        """Unpack beside the directory, prove, and only then put it in place."""
        file, target = Path(options["file"]), Path(options["to"]).resolve()
        if not file.is_file():
            raise CommandError(f"There is no file {file}.")
        require_empty(target)
        with explained():
            target.parent.mkdir(parents=True, exist_ok=True)
            with tempfile.TemporaryDirectory(
                prefix=f".{target.name}-", dir=target.parent
            ) as directory:
                staging = Path(directory, "whole")
                staging.mkdir(mode=0o700)
                try:
                    manifest = self._unpack(file, staging)
                except NOT_WHOLE as error:
                    raise CommandError(
                        f"{file} is not a whole backup: {error}. Use another one."
                    ) from error
                if target.exists():
                    target.rmdir()
                staging.rename(target)
        self._tell(manifest, target)

    def _unpack(self, file: Path, staging: Path) -> dict[str, Any]:
        with zipfile.ZipFile(file) as archive:
            manifest = read_manifest(archive)
            files = manifest["files"]
            for number, (name, digest) in enumerate(files.items(), start=1):
                _unpack_file(archive, name, digest, staging)
                if number % 100 == 0:
                    self.stdout.write(f"  {number} of {len(files)} files")
                    self.stdout.flush()
        if manifest["engine"] == "sqlite":
            prove_counts(staging / "records.sqlite3", manifest["counts"])
        return manifest

    def _tell(self, manifest: dict[str, Any], target: Path) -> None:
        say = self.stdout.write
        say(f"{len(manifest['files'])} files restored, checksums agree.")
        for table, words in SAID.items():
            say(f"  {manifest['counts'].get(table, 0):>8} {words}")
        for name in manifest["missing"]:
            say(f"  missing since before the backup: {name}")
        journal = manifest["journal"]
        say(f"The journal ends at row {journal['sequence']} with {journal['hash']}.")
        say(_next_step(manifest["engine"], target))


def require_empty(target: Path) -> None:
    """Refuse a place that holds anything: a restore never writes over records."""
    if target.exists() and (not target.is_dir() or any(target.iterdir())):
        raise CommandError(f"{target} is not empty. Choose a new directory.")


def read_manifest(archive: zipfile.ZipFile) -> dict[str, Any]:
    """Return what the backup says of itself; refuse one that holds other files."""
    manifest: dict[str, Any] = json.loads(archive.read("manifest.json"))
    if manifest["format"] != FORMAT:
        raise CommandError(
            f"This backup has the format “{manifest['format']}”; this version of"
            f" Kettlebook reads “{FORMAT}”. Use the version that wrote it."
        )
    extra = set(archive.namelist()) - set(manifest["files"]) - {"manifest.json"}
    if extra:
        raise CommandError(
            f"This backup holds files it does not name: {', '.join(sorted(extra))}."
            " Use another one."
        )
    return manifest


def prove_counts(database: Path, counts: dict[str, int]) -> None:
    """Raise :class:`CommandError` unless every table holds as many rows as it did."""
    with reading(database) as query:
        found = counts_of(query, tables_of(query))
    if found != counts:
        wrong = sorted(
            table
            for table in {*found, *counts}
            if found.get(table) != counts.get(table)
        )
        raise CommandError(
            f"These tables do not hold what they held: {', '.join(wrong)}. Use another"
            " backup."
        )


def _unpack_file(
    archive: zipfile.ZipFile, name: str, digest: str, staging: Path
) -> None:
    parts = PurePosixPath(name)
    path = (staging / parts).resolve()
    if (
        parts.is_absolute()
        or "\\" in name
        or not path.is_relative_to(staging.resolve())
    ):
        raise CommandError(f"This backup names a file outside itself: {name}.")
    for folder in reversed(parts.parents):
        (staging / folder).mkdir(exist_ok=True, mode=0o700)
    with archive.open(name) as source, path.open("xb") as file:
        path.chmod(0o600)
        shutil.copyfileobj(source, file)
    if sha256_of(path) != digest:
        raise CommandError(f"{name} does not fit its checksum. Use another backup.")


def _next_step(engine: str, target: Path) -> str:
    run = f"KETTLEBOOK_DATA={shlex.quote(str(target))} python3 manage.py"
    if engine == "sqlite":
        return f"Now type: {run} verify\nThen: {run} serve"
    dump = shlex.quote(str(target / "records.pgdump"))
    return (
        "Now fill an empty PostgreSQL database, named by DATABASE_URL:"
        f' pg_restore --no-owner --exit-on-error --dbname="$DATABASE_URL" {dump}'
        f"\nThen: {run} verify"
    )
