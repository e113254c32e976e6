"""``manage.py demo``: an invented smallholding to look at and to play with."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import (
    BaseCommand,
    CommandError,
    CommandParser,
    call_command,
)

from producer import serving

KEPT_WITH_DEMO = (
    "records.sqlite3",
    "records.sqlite3-wal",
    "records.sqlite3-shm",
    "logins.json",
    "loaded",
)


class Command(BaseCommand):
    """Load the demo once, then serve it."""

    help = (
        "Set up and serve the demo: an invented smallholding. Real data is untouched."
    )
    requires_system_checks = ()

    def add_arguments(self, parser: CommandParser) -> None:
        """Take port, address and --fresh."""
        parser.add_argument("--port", type=int, default=8000)
        parser.add_argument("--address", default="127.0.0.1")
        parser.add_argument(
            "--fresh", action="store_true", help="Throw the demo away and start over."
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Prepare and serve."""
        if not settings.IS_DEMO:
            raise CommandError("Type: python3 manage.py demo")
        data = Path(settings.DATA_DIR)
        serving.require_free_port(options["address"], options["port"])
        if options["fresh"] or not (data / "loaded").exists():
            # Also what an interrupted load has left half done.
            self._clear(data)
        self.stdout.write("Preparing the demo …")
        serving.prepare()
        logins = data / "logins.json"
        if not (data / "loaded").exists():
            call_command("load_demo", "--logins", str(logins), stdout=self.stdout)
            (data / "loaded").touch()
        serving.serve(
            options["address"], options["port"], announce=lambda: self._announce(logins)
        )
        self.stdout.write("\nThe demo has stopped.")

    def _clear(self, data: Path) -> None:
        for name in KEPT_WITH_DEMO:
            (data / name).unlink(missing_ok=True)
        shutil.rmtree(data / "uploads", ignore_errors=True)

    def _announce(self, logins: Path) -> None:
        lines = [f"\nOpen {settings.PUBLIC_URL} and sign in as one of these:\n"]
        for login in json.loads(logins.read_text(encoding="utf-8")):
            rights = ", ".join(login["rights"])
            lines.append(
                f"  {login['username']:<10} {login['password']:<24}"
                f" {login['name']} ({rights})"
            )
        lines.append("\nCtrl-C stops it. “--fresh” starts the demo over.")
        self.stdout.write("\n".join(lines))
        self.stdout.flush()
