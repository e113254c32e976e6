"""Load the demo scenario into an empty database."""

from __future__ import annotations

import time
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from producer.models import User
from quality.demo.story import tell


class Command(BaseCommand):
    """``load_demo --logins PATH``: the invented smallholding and its half year."""

    help = (
        "Load the demo scenario, through the same services as everybody, into a"
        " database that has no account yet, and write the fresh passwords to a file."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take the path for the passwords."""
        parser.add_argument(
            "--logins",
            type=Path,
            required=True,
            help="JSON file to write who may sign in, readable by you only.",
        )

    def handle(self, *, logins: str | Path, **options: Any) -> None:
        """Load, or say that there is nothing to load into."""
        if User.objects.exists():
            self.stdout.write(
                "This database has accounts already; nothing was loaded. The demo is"
                " loaded only into an empty one."
            )
            return
        started = time.monotonic()
        self.stdout.write("Loading half a year of invented records:")
        tell(logins=Path(logins), say=self._say)
        self.stdout.write(f"Loaded in {time.monotonic() - started:.0f} s.")

    def _say(self, line: str) -> None:
        self.stdout.write(line)
        self.stdout.flush()
