"""Prove that the records are whole: journal, signatures, files, masses, states."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError

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
        results = [self._run(check) for check in CHECKS]
        rows = sum(walked for walked, _ in results)
        faults = sum(found for _, found in results)
        head = JournalHead.objects.get(pk=1)
        self.stdout.write(f"{rows} rows checked.")
        self.stdout.write(f"The journal ends at row {head.sequence} with {head.hash}.")
        if faults:
            raise CommandError(
                f"{faults} fault{'' if faults == 1 else 's'} found. Keep this database"
                " as it is, and compare it with a backup from before.",
                returncode=1,
            )
        self.stdout.write(
            "No fault found. Write that row and its hash on paper: as long as the row"
            " keeps the hash, nothing up to it has been changed."
        )

    def _run(self, check: Check) -> tuple[int, int]:
        walked = check.count()
        self.stdout.write(f"{check.name}: {walked} …")
        self.stdout.flush()
        faults = 0
        for fault in check.faults():
            faults += 1
            self.stdout.write(f"  {fault}")
        return walked, faults
