"""``manage.py serve``: the real premises."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import (
    BaseCommand,
    CommandError,
    CommandParser,
    call_command,
)
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

from producer import serving
from producer.services import people

LOOPBACK = {"127.0.0.1", "::1", "localhost"}


class Command(BaseCommand):
    """Bring everything up to date, check it, and serve it."""

    help = "Serve the real premises. Records live outside the code; see README.md."
    requires_system_checks = ()

    def add_arguments(self, parser: CommandParser) -> None:
        """Take port and address."""
        parser.add_argument("--port", type=int, default=8000)
        parser.add_argument("--address", default="127.0.0.1")

    def handle(self, *args: Any, **options: Any) -> None:
        """Prepare and serve."""
        address, port = options["address"], options["port"]
        serving.require_free_port(address, port)
        if address not in LOOPBACK and address in settings.PUBLIC_URL:
            raise CommandError(
                "People and bottle labels need an address that can be opened from"
                " elsewhere. Type it first, like: export"
                f" KETTLEBOOK_URL=http://kettle.lan:{port}"
            )
        self._back_up_before_migrating()
        serving.prepare()
        call_command("check", deploy=True, fail_level="WARNING", stdout=self.stdout)
        serving.serve(address, port, announce=lambda: self._announce(address))
        self.stdout.write("\nKettlebook has stopped.")

    def _back_up_before_migrating(self) -> None:
        executor = MigrationExecutor(connection)
        waiting = executor.migration_plan(executor.loader.graph.leaf_nodes())
        if waiting and executor.loader.applied_migrations:
            now = datetime.datetime.now(tz=datetime.UTC)
            name = f"before-upgrade-{now:%Y%m%d-%H%M%S}.zip"
            path = Path(settings.DATA_DIR) / "backups" / name
            path.parent.mkdir(parents=True, exist_ok=True)
            self.stdout.write("The records need an upgrade; backing them up first …")
            call_command("backup", str(path), stdout=self.stdout)

    def _announce(self, address: str) -> None:
        lines = [f"\nKettlebook is at {settings.PUBLIC_URL}"]
        lines.append(f"Records are kept in {settings.DATA_DIR}")
        if people.needs_setup():
            lines.append(
                f"Nobody has an account yet. Open {settings.PUBLIC_URL}/setup/ and use"
                f" this setup code: {people.make_setup_code()}"
            )
        if address not in LOOPBACK and not settings.PUBLIC_URL.startswith("https:"):
            lines.append(
                "Passwords cross this network in the clear. Put a proxy with TLS in"
                " front and set KETTLEBOOK_URL=https://…, see README.md."
            )
        self.stdout.write("\n".join([*lines, "Ctrl-C stops it."]))
        self.stdout.flush()
