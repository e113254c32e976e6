"""``manage.py test``: everything, on SQLite, on PostgreSQL and in a browser."""

from __future__ import annotations

import contextlib
import dataclasses
import os
import subprocess
import sys
import tempfile
import time
from argparse import REMAINDER
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import BaseCommand, CommandError, CommandParser

from producer.throwaway import Unavailable, find_chromium, postgresql

PHASES = ("sqlite", "postgresql", "browser")


@dataclasses.dataclass(frozen=True)
class Outcome:
    """How a phase ended."""

    phase: str
    words: str
    seconds: float
    good: bool


class Command(BaseCommand):
    """Run the tests in three phases and say at the end what was left out."""

    help = "Run all tests. Further arguments go to pytest and run on SQLite only."
    requires_system_checks = ()

    def add_arguments(self, parser: CommandParser) -> None:
        """Take --require, --only and arguments for pytest."""
        parser.add_argument(
            "--require",
            default="",
            help="Fail if these are skipped: postgresql,browser",
        )
        parser.add_argument("--only", choices=PHASES)
        parser.add_argument("pytest", nargs=REMAINDER, help="for pytest")

    def handle(self, *args: Any, **options: Any) -> None:
        """Run the phases."""
        required = set(filter(None, options["require"].split(",")))
        if unknown := required - set(PHASES):
            raise CommandError(f"There is no phase {', '.join(sorted(unknown))}.")
        phases = (options["only"],) if options["only"] else PHASES
        if options["pytest"]:
            phases = (options["only"] or "sqlite",)
        outcomes = [
            self._run(phase, phase in required, options["pytest"]) for phase in phases
        ]
        self.stdout.write("\n" + "─" * 70)
        for outcome in outcomes:
            self.stdout.write(
                f"{outcome.phase:<12} {outcome.seconds:6.1f} s  {outcome.words}"
            )
        if not all(outcome.good for outcome in outcomes):
            sys.exit(1)

    def _run(self, phase: str, is_required: bool, extra: list[str]) -> Outcome:  # noqa: FBT001
        self.stdout.write(f"\n─── {phase} " + "─" * (65 - len(phase)))
        self.stdout.flush()
        start = time.monotonic()
        try:
            with _surroundings(phase) as environment:
                code = _pytest(phase, environment, extra)
        except Unavailable as error:
            words = f"{'NOT RUN' if is_required else 'skipped'}: {error}"
            return Outcome(phase, words, time.monotonic() - start, not is_required)
        words = "passed" if code == 0 else f"FAILED (pytest ended with {code})"
        return Outcome(phase, words, time.monotonic() - start, code == 0)


@contextlib.contextmanager
def _surroundings(phase: str) -> Iterator[dict[str, str]]:
    with contextlib.ExitStack() as stack:
        data = stack.enter_context(tempfile.TemporaryDirectory(prefix="kettlebook-"))
        environment = {
            name: value
            for name, value in os.environ.items()
            if not name.startswith("KETTLEBOOK_") and name != "DATABASE_URL"
        }
        environment["KETTLEBOOK_DATA"] = data
        if phase == "postgresql":
            environment["DATABASE_URL"] = stack.enter_context(postgresql())
        if phase == "browser":
            environment["KETTLEBOOK_CHROMIUM"] = find_chromium()
        yield environment


def _pytest(phase: str, environment: dict[str, str], extra: list[str]) -> int:
    # The house (style, types, imports) and pure tests are the same on every engine.
    choice = {
        "sqlite": ["-m", "not browser", "-n", "auto"],
        "postgresql": ["-m", "not browser and not any_engine", "-n", "auto"],
        "browser": ["-m", "browser"],
    }[phase]
    where = [] if phase != "postgresql" else ["tests/producer", "tests/batches", "tests/quality", "tests/doors"]  # fmt: skip # noqa: E501
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", *choice, *(extra or where)],
        cwd=Path(settings.BASE_DIR),
        env=environment,
        check=False,
    )
    return done.returncode
