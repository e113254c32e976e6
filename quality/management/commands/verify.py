"""Prove that the records are whole: journal, rows, signatures, files, masses."""

from __future__ import annotations

import time
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

from producer.models import JournalHead
from producer.moment import one_moment
from quality.services.still_signed import UNREADABLE
from quality.services.verification import CHECKS, Check, Remark, noted, untold

ROWS_A_LOOK = 1000  # rows between two looks at the clock
ON_A_TERMINAL, IN_A_FILE = 1.0, 10.0  # seconds between two counts
MOST_SHOWN = 1000  # sentences of one check; the rest are counted


class Command(BaseCommand):
    """``verify``: one line a check, one sentence a fault; the exit code is 1 on any."""

    help = (
        "Check the database, the journal's chain, every row against the journal, the"
        " signatures, the uploaded files and the mass balance. Changes nothing."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        """Take hashes that were noted elsewhere."""
        parser.add_argument(
            "--noted",
            nargs="+",
            default=[],
            metavar="ROW:HASH",
            help=(
                "a journal row and its hash, as noted on paper or printed on a dossier;"
                f" {noted.LEAST_DIGITS} digits of the hash are enough. Several may be"
                " given, also as a file with one on each line."
            ),
        )

    def handle(self, **options: Any) -> None:
        """Run every check, then state the end of the chain for safe keeping."""
        _require_records()
        notes = list(_notes(options["noted"]))
        with one_moment():
            results = [self._run(check) for check in _checks(notes)]
            head = JournalHead.objects.filter(pk=1).first()
        rows = sum(walked for walked, _ in results)
        faults = sum(found for _, found in results)
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
        self.stdout.write("No fault found.")
        if head:
            self._say_how_to_note(head)

    def _say_how_to_note(self, head: JournalHead) -> None:
        self.stdout.write(
            "Write that row and its hash on paper, where nobody can change them: as"
            " long as the row keeps the hash, no act in the journal up to it has been"
            " changed. To ask later, type: python3 manage.py verify --noted"
            f" {head.sequence}:{head.hash[: noted.LEAST_DIGITS]}"
        )

    def _run(self, check: Check) -> tuple[int, int]:
        walked = check.count()
        self.stdout.write(f"{check.name}: {walked} …")
        self.stdout.flush()
        progress = _Progress(self.stdout, walked)
        faults = 0
        try:
            for sentence in check.faults(progress.tell):
                progress.clear()
                if isinstance(sentence, Remark):
                    self.stdout.write(f"  Remark: {sentence}")
                    continue
                faults += 1
                if faults <= MOST_SHOWN:
                    self.stdout.write(f"  {sentence}")
        except UNREADABLE as error:
            # What was altered can be past reading; that is a fault, not a crash.
            faults += 1
            progress.clear()
            self.stdout.write(f"  {check.name} cannot be read to its end: {error}.")
        progress.clear()
        if faults > MOST_SHOWN:
            self.stdout.write(f"  … and {faults - MOST_SHOWN} more.")
        return walked, faults


class _Progress:
    """How far a check is: one changing line on a terminal, now and then a line else."""

    def __init__(self, out: Any, of: int) -> None:
        self.out, self.of = out, of
        self.on_a_terminal = out.isatty()
        self.next_at = time.monotonic() + self._pause
        self.is_shown = False

    @property
    def _pause(self) -> float:
        return ON_A_TERMINAL if self.on_a_terminal else IN_A_FILE

    def tell(self, walked: int) -> None:
        """Say how many rows were walked, if it is time to."""
        if walked % ROWS_A_LOOK or time.monotonic() < self.next_at:
            return
        self.next_at = time.monotonic() + self._pause
        line = f"  {walked:,} of {self.of:,} rows"
        self.is_shown = self.on_a_terminal
        self.out.write(f"\r{line}" if self.is_shown else line, ending=self._ending)
        self.out.flush()

    @property
    def _ending(self) -> str:
        return "" if self.on_a_terminal else "\n"

    def clear(self) -> None:
        """Take the changing line away before another is written."""
        if self.is_shown:
            self.is_shown = False
            self.out.write("\r" + " " * 60 + "\r", ending="")


def _checks(notes: list[noted.Note]) -> Iterator[Check]:
    yield from CHECKS
    if notes:
        yield Check(
            name="Hashes noted elsewhere",
            count=lambda: len(notes),
            walk=untold(lambda: noted.faults(notes)),
        )


def _notes(arguments: Iterable[str]) -> Iterator[noted.Note]:
    """Return the notes given, each as such or as a file with one on each line."""
    for argument in arguments:
        is_file = ":" not in argument or Path(argument).is_file()
        for line in _lines(Path(argument)) if is_file else [argument]:
            try:
                yield noted.parse(line)
            except ValueError as error:
                raise CommandError(str(error), returncode=2) from error


def _lines(path: Path) -> list[str]:
    try:
        lines = path.read_text("utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise CommandError(
            f"The notes {path} cannot be read: {error}. Give a row and its hash, like"
            " 812:9f86d0…, or a file with one on each line.",
            returncode=2,
        ) from error
    return [line for line in lines if line.strip()]


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
