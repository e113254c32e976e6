"""Write batches as a folder or ZIP of PDF, attachments and open data."""

from __future__ import annotations

import datetime
import shutil
import zipfile
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from batches.models import Batch
from producer.errors import Refusal
from producer.middleware import as_shown_at
from producer.models import Premises
from quality.documents import export
from quality.services import exporting


class Command(BaseCommand):
    """``export --batch NUMBER TARGET`` or ``export --from DAY --to DAY TARGET``."""

    help = (
        "Write the dossiers, papers and rows of one batch, or of those opened from one"
        " day to another, with checksums: into a new folder, or a ZIP if TARGET ends"
        " in .zip. Changes nothing."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take the batches and where to write them."""
        parser.add_argument("--batch", metavar="NUMBER", help="one batch")
        for name, what in (("from", "first"), ("to", "last")):
            parser.add_argument(
                f"--{name}",
                dest=what,
                metavar="DAY",
                type=datetime.date.fromisoformat,
                help=f"{what} day on which a batch was opened, like 2026-03-31",
            )
        parser.add_argument("target", type=Path, metavar="TARGET")

    def handle(self, **options: Any) -> None:
        """Write beside the target first: a half export never has its name."""
        target: Path = options["target"]
        if target.exists():
            raise CommandError(f"{target} exists already. Choose another name.")
        part = target.with_name(f"{target.name}.part")
        if part.exists():
            raise CommandError(
                f"{part} is left over from an export that was broken off. Remove it."
            )
        with as_shown_at(Premises.objects.first()):
            try:
                batches = _batches(options)
                files = self._write(batches, part, as_zip=target.suffix == ".zip")
            except Refusal as refusal:
                _remove(part)
                raise CommandError(refusal.message) from refusal
            except BaseException:
                _remove(part)
                raise
        part.rename(target)
        self.stdout.write(f"{files} files are in {target}.")

    def _write(self, batches: list[Batch], part: Path, *, as_zip: bool) -> int:
        part.parent.mkdir(parents=True, exist_ok=True)
        settings: dict[str, Any] = {"made_by": "the command “export”", "say": self._say}
        if not as_zip:
            part.mkdir(mode=0o700)
            return export.write(batches, export.Folder(part), **settings)
        with zipfile.ZipFile(part, "x") as archive:
            inside = export.Archive(archive, export.name_of(batches))
            return export.write(batches, inside, **settings)

    def _say(self, line: str) -> None:
        self.stdout.write(line)
        self.stdout.flush()


def _batches(options: dict[str, Any]) -> list[Batch]:
    number, first, last = options["batch"], options["first"], options["last"]
    if number and not first and not last:
        return [exporting.batch_called(number)]
    if first and last and not number:
        return exporting.batches_between(first, last)
    raise CommandError("Give --batch NUMBER, or both --from DAY and --to DAY.")


def _remove(part: Path) -> None:
    if part.is_dir():
        shutil.rmtree(part)
    else:
        part.unlink(missing_ok=True)
