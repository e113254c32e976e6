"""``manage.py restore``: a backup into an empty directory, every checksum proven."""

from __future__ import annotations

import json
import shutil
import zipfile
from pathlib import Path
from typing import Any

from django.core.management import BaseCommand, CommandError, CommandParser

from producer.management.commands.backup import FORMAT, sha256_of


class Command(BaseCommand):
    """Unpack a backup; it never writes over records."""

    help = "Unpack a backup into an empty directory and prove its checksums."
    requires_system_checks = ()

    def add_arguments(self, parser: CommandParser) -> None:
        """Take the backup and the directory."""
        parser.add_argument("file")
        parser.add_argument("--to", required=True, metavar="DIRECTORY")

    def handle(self, *args: Any, **options: Any) -> None:
        """Unpack, prove, and say what to type next."""
        target = Path(options["to"])
        if target.exists() and any(target.iterdir()):
            raise CommandError(f"{target} is not empty. Choose a new directory.")
        target.mkdir(parents=True, exist_ok=True, mode=0o700)
        try:
            with zipfile.ZipFile(options["file"]) as archive:
                manifest = self._manifest(archive)
                for name, digest in manifest["files"].items():
                    _unpack(archive, name, digest, target)
        except (zipfile.BadZipFile, KeyError, FileNotFoundError) as error:
            raise CommandError(
                f"{options['file']} is not a whole backup: {error}. Use another one."
            ) from error
        self.stdout.write(f"{len(manifest['files'])} files restored, checksums agree.")
        self.stdout.write(f"The journal ends with {manifest['journal']['hash']}.")
        self.stdout.write(_next_step(manifest["engine"], target))

    def _manifest(self, archive: zipfile.ZipFile) -> dict[str, Any]:
        manifest: dict[str, Any] = json.loads(archive.read("manifest.json"))
        if manifest["format"] != FORMAT:
            raise CommandError(f"This backup has the format {manifest['format']}.")
        return manifest


def _unpack(archive: zipfile.ZipFile, name: str, digest: str, target: Path) -> None:
    path = (target / name).resolve()
    if not path.is_relative_to(target.resolve()):
        raise CommandError(f"This backup names a file outside itself: {name}.")
    path.parent.mkdir(parents=True, exist_ok=True)
    with archive.open(name) as source, path.open("wb") as file:
        shutil.copyfileobj(source, file)
    if sha256_of(path) != digest:
        raise CommandError(f"{name} does not fit its checksum. Use another backup.")


def _next_step(engine: str, target: Path) -> str:
    serve = f"KETTLEBOOK_DATA={target} python3 manage.py"
    if engine == "sqlite":
        return f"To look at it: {serve} verify, then {serve} serve"
    return (
        "Into an empty PostgreSQL database: pg_restore --no-owner"
        f" --dbname=$DATABASE_URL {target / 'records.pgdump'}\nThen: {serve} verify"
    )
