"""``manage.py serve``: the real premises."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from django.conf import settings
from django.core.checks import WARNING, CheckMessage, run_checks
from django.core.management import (
    BaseCommand,
    CommandError,
    CommandParser,
    call_command,
)
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

from producer import serving
from producer.checks import LOOPBACK
from producer.management.commands.backup import is_begun
from producer.services import people


class Command(BaseCommand):
    """Bring everything up to date, check it, and serve it."""

    help = "Serve the real premises. Records live outside the code; see README.md."
    requires_system_checks = ()

    def add_arguments(self, parser: CommandParser) -> None:
        """Take port and address."""
        parser.add_argument("--port", type=int, default=8000)
        parser.add_argument("--address", default="127.0.0.1")
        parser.add_argument(
            "--check-only",
            action="store_true",
            help="Say what stands in the way and stop; change and serve nothing.",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Prepare and serve."""
        address, port = options["address"], options["port"]
        require_public_address(address, port)
        with serving.explained():
            warnings = require_sound_settings()
            if options["check_only"]:
                self._say(
                    "\n".join([*in_words(warnings), "Nothing stands in the way."])
                )
                return
            serving.require_free_port(address, port)
            self._back_up_before_migrating()
            self._say("Bringing records and pages up to date …")
            if kept := serving.prepare():
                self._say(
                    f"{kept} rows of an older version were written into the journal as"
                    " they stand. “verify” compares them from now on; what was changed"
                    " behind the program before now it cannot find by them."
                )
            announce = self._announcement(address, port, warnings)
            serving.serve(address, port, announce=lambda: self._say(announce))
        self.stdout.write("\nKettlebook has stopped.")

    def _back_up_before_migrating(self) -> None:
        executor = MigrationExecutor(connection)
        waiting = executor.migration_plan(executor.loader.graph.leaf_nodes())
        if waiting and is_begun():
            now = datetime.datetime.now(tz=datetime.UTC)
            name = f"before-upgrade-{now:%Y%m%d-%H%M%S}.zip"
            path = Path(settings.DATA_DIR) / "backups" / name
            self._say("The records need an upgrade; backing them up first …")
            call_command("backup", str(path), stdout=self.stdout)

    def _announcement(
        self, address: str, port: int, warnings: list[CheckMessage]
    ) -> str:
        lines = [f"\nKettlebook is at {settings.PUBLIC_URL}"]
        if urlsplit(settings.PUBLIC_URL).netloc != f"{address}:{port}":
            lines.append(f"It listens on {address}, port {port}")
        lines.append(f"Records are kept in {settings.DATA_DIR}")
        lines += in_words(warnings)
        if urlsplit(settings.PUBLIC_URL).hostname in LOOPBACK:
            lines.append(
                "\nOnly this computer can open that address, and labels carry it."
                " Before you print labels set KETTLEBOOK_URL, see README.md."
            )
        if people.needs_setup():
            lines.append(
                f"\nNobody has an account yet. Open {settings.PUBLIC_URL}/setup/ and"
                f" use this setup code: {people.make_setup_code()}"
            )
        return "\n".join([*lines, "\nCtrl-C stops it."])

    def _say(self, text: str) -> None:
        self.stdout.write(text)
        self.stdout.flush()


def require_public_address(address: str, port: int) -> None:
    """Refuse to listen everywhere without knowing where people are to come."""
    if urlsplit(settings.PUBLIC_URL).hostname in serving.WILDCARDS or not address:
        raise CommandError(
            f"“{address}” listens to everybody, but people and bottle labels need an"
            " address to open. Type it first, like: export"
            f" KETTLEBOOK_URL=http://kettle.lan:{port}"
        )


def in_words(warnings: list[CheckMessage]) -> list[str]:
    """Return what to tell the owner, a paragraph each."""
    return [f"\n{warning.msg}\n{warning.hint}" for warning in warnings]


def require_sound_settings() -> list[CheckMessage]:
    """Return our own warnings, to be said; refuse on anything else that is found."""
    found = [
        message
        for message in run_checks(include_deployment_checks=True)
        if message.level >= WARNING and not message.is_silenced()
    ]
    ours = [message for message in found if _is_warning_of_ours(message)]
    grave = [message for message in found if not _is_warning_of_ours(message)]
    if grave:
        raise CommandError("\n".join(str(message) for message in grave))
    return ours


def _is_warning_of_ours(message: CheckMessage) -> bool:
    return str(message.id).startswith("kettlebook.W")
