"""Prove that the records are whole: journal, signatures, files, masses, states."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.exceptions import ObjectDoesNotExist
from django.core.management.base import BaseCommand, CommandError
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

from producer.models import JournalHead
from quality.services.verification import CHECKS, Check


class Command(BaseCommand):
    """``verify``: one line a check, one sentence a fault; the exit code is 1 on any."""

    help = (
        "Check the journal's chain, the signatures, the uploaded files and the mass"
        " balance. Changes nothing."
    )

    def handle(self, **options: Any) -> None:
        """Run every check, then state the end of the chain for safe keeping."""
        _require_records()
        results = [self._run(check) for check in CHECKS]
        rows = sum(walked for walked, _ in results)
        faults = sum(found for _, found in results)
        head = JournalHead.objects.filter(pk=1).first()
        self.stdout.write(f"{rows} rows checked.")
        if head:
            self.stdout.write(
                f"The journal ends at row {head.sequence} with {head.hash}."
            )
        if faults:
            raise CommandError(
                f"{faults} fault{'' if faults == 1 else 's'} found. Keep this database"
                " as it is, and compare it with a backup from before.",
                returncode=1,
            )
        self.stdout.write(
            "No fault found. Write that row and its hash on paper: as long as the row"
            " keeps the hash, no act in the journal up to it has been changed."
        )

    def _run(self, check: Check) -> tuple[int, int]:
        walked = check.count()
        self.stdout.write(f"{check.name}: {walked} …")
        self.stdout.flush()
        faults = 0
        try:
            for fault in check.faults():
                faults += 1
                self.stdout.write(f"  {fault}")
        except (ValueError, LookupError, ObjectDoesNotExist) as error:
            # What was altered can be past reading; that is a fault, not a crash.
            faults += 1
            self.stdout.write(f"  {check.name} cannot be read to its end: {error}.")
        return walked, faults


def _require_records() -> None:
    """Raise :class:`CommandError` where there is nothing to check, or no longer."""
    name = connection.settings_dict["NAME"]
    if connection.vendor == "sqlite" and not Path(name).exists():
        raise CommandError(
            f"There are no records at {name}. Say with KETTLEBOOK_DATA where they are;"
            " those of the demo are in .demo."
        )
    executor = MigrationExecutor(connection)
    if executor.migration_plan(executor.loader.graph.leaf_nodes()):
        raise CommandError(
            "These records are older than this program. Start “serve” once, which backs"
            " them up and brings them up to date."
        )
