"""``manage.py test``: on SQLite, on PostgreSQL, in a browser, and by standards."""

from __future__ import annotations

import argparse
import contextlib
import dataclasses
import os
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from types import FrameType
from typing import Any
from xml.etree import ElementTree

from django.conf import settings
from django.core.management import BaseCommand, CommandError

from producer.bootstrap import DATABASES
from producer.published import epcis_schema
from producer.throwaway import Unavailable, find_chromium, postgresql

PHASES = ("sqlite", "postgresql", "browser", "published")
# A file whole to one process: what its tests share is made once.
ON_ALL_CORES = ("-n", "auto", "--dist", "loadfile")
CHOICES: Mapping[str, Sequence[str]] = {
    "sqlite": ("-m", "not browser and not published", *ON_ALL_CORES),
    # The house (style, types, imports) and pure tests are the same on every engine.
    "postgresql": (
        "-m",
        "not browser and not published and not any_engine",
        *ON_ALL_CORES,
    ),
    "browser": ("-m", "browser"),  # a browser has every core busy by itself
    "published": ("-m", "published", *ON_ALL_CORES),
}
# What a page says is no matter of the engine. Each page is read and each form is sent
# on both, by tests/doors; the page of the journal is asked in words of each.
ON_POSTGRESQL = (
    *("tests/producer", "tests/batches", "tests/quality", "tests/doors"),
    *("--ignore-glob=*/quality/*_page.py", "--ignore-glob=*/batches/*_page.py"),
    "--ignore-glob=*_pages.py",
)
NO_TEST_FOUND = 5  # the code pytest ends with


@dataclasses.dataclass(frozen=True)
class Outcome:
    """How a phase ended."""

    phase: str
    words: str
    seconds: float
    good: bool


class Command(BaseCommand):
    """Run the tests in four phases and say at the end what was left out."""

    help = "Run all tests. What it does not know itself goes to pytest, on SQLite only."
    requires_system_checks = ()

    def run_from_argv(self, argv: list[str]) -> None:
        """Keep our own options and hand every other word to pytest as it is."""
        parser = argparse.ArgumentParser(
            prog="manage.py test",
            description=self.help,
            usage="manage.py test [--only PHASE] [--require PHASES] [for pytest …]",
            allow_abbrev=False,
        )
        parser.add_argument("--only", choices=PHASES, help="run one phase alone")
        parser.add_argument(
            "--require",
            default="",
            help="fail if skipped, like: postgresql,browser,published",
        )
        known, extra = parser.parse_known_args(argv[2:])
        try:
            self.handle(only=known.only, require=known.require, extra=extra)
        except CommandError as error:
            self.stderr.write(str(error))
            sys.exit(error.returncode)
        except KeyboardInterrupt:
            sys.exit("\nStopped; nothing was left behind.")

    def handle(self, *args: Any, **options: Any) -> None:
        """Run the phases; raise :class:`CommandError` unless all ended well."""
        extra = options["extra"]
        phases, required = phases_for(options["only"], options["require"], extra)
        # What a CI sends when its patience ends; the server must not outlive us.
        signal.signal(signal.SIGTERM, _leave)
        outcomes = []
        # Tables are laid once for all phases that take SQLite: see tests/laid.py.
        with tempfile.TemporaryDirectory(prefix="kettlebook-laid-") as laid:
            for phase in phases:
                self.stdout.write(f"\n─── {phase} " + "─" * (65 - len(phase)))
                self.stdout.flush()
                is_required = phase in required
                outcomes.append(
                    run_phase(phase, extra, laid=laid, is_required=is_required)
                )
        self.stdout.write("\n" + "─" * 70)
        for outcome in outcomes:
            self.stdout.write(
                f"{outcome.phase:<12} {outcome.seconds:6.1f} s  {outcome.words}"
            )
        self.stdout.flush()
        if not all(outcome.good for outcome in outcomes):
            raise CommandError("Not everything passed; see above.")


def phases_for(
    only: str | None, require: str, extra: Sequence[str]
) -> tuple[Sequence[str], set[str]]:
    """Return which phases run and which of them may not be skipped."""
    required = set(filter(None, require.split(",")))
    if unknown := required - set(PHASES):
        raise CommandError(
            f"There is no phase {', '.join(sorted(unknown))}; there are"
            f" {', '.join(PHASES)}."
        )
    phases = (only,) if only else ("sqlite",) if extra else PHASES
    if left_out := required - set(phases):
        raise CommandError(
            f"{', '.join(sorted(left_out))} is required but would not run. Leave out"
            " --only and the words for pytest."
        )
    return phases, required


def run_phase(
    phase: str, extra: Sequence[str], *, laid: str, is_required: bool
) -> Outcome:
    """Run pytest for a phase in surroundings of its own, but for the tables laid."""
    start = time.monotonic()
    with contextlib.ExitStack() as stack:
        try:
            environment = stack.enter_context(_surroundings(phase))
        except Unavailable as error:
            words = f"{'NOT RUN' if is_required else 'skipped'}: {error}"
            return Outcome(phase, words, time.monotonic() - start, not is_required)
        environment["KETTLEBOOK_LAID"] = laid
        report = Path(environment["KETTLEBOOK_DATA"]) / "report.xml"
        code = _pytest(phase, environment, [f"--junitxml={report}", *extra])
        words, good = judge(code, report)
    return Outcome(phase, words, time.monotonic() - start, good)


def judge(code: int, report: Path) -> tuple[str, bool]:
    """Return how a run of pytest ended, in words, and whether that is good.

    A run that found no test, or skipped all it found, has shown nothing.
    """
    if code == NO_TEST_FOUND:
        return "FAILED: no test was found", False
    if code:
        return f"FAILED (pytest ended with {code})", False
    suites: list[ElementTree.Element] = []
    if report.exists():  # not after “--version” and the like
        suites += ElementTree.parse(report).getroot().iter("testsuite")  # noqa: S314 - ours
    found = sum(int(suite.get("tests", 0)) for suite in suites)
    skipped = sum(int(suite.get("skipped", 0)) for suite in suites)
    if found == skipped:
        return f"FAILED: no test ran, {skipped} were skipped", False
    return f"passed {found - skipped}, skipped {skipped}", True


@contextlib.contextmanager
def _surroundings(phase: str) -> Iterator[dict[str, str]]:
    """Yield the environment of a phase, free of everything that names real records."""
    with contextlib.ExitStack() as stack:
        data = stack.enter_context(tempfile.TemporaryDirectory(prefix="kettlebook-"))
        environment = {
            name: value
            for name, value in os.environ.items()
            if not name.startswith("KETTLEBOOK_")
            and name not in {*DATABASES, "DJANGO_SETTINGS_MODULE"}
        }
        environment["KETTLEBOOK_DATA"] = data
        if phase == "postgresql":
            environment["DATABASE_URL"] = stack.enter_context(postgresql())
        if phase == "browser":
            environment["KETTLEBOOK_CHROMIUM"] = find_chromium()
        if phase == "published":
            environment["KETTLEBOOK_EPCIS_SCHEMA"] = str(epcis_schema())
        yield environment


def _pytest(phase: str, environment: dict[str, str], extra: Sequence[str]) -> int:
    # Whoever names a file wants that one; otherwise a phase knows where to look.
    root = Path(settings.BASE_DIR)
    named = any((root / word.split("::", maxsplit=1)[0]).exists() for word in extra)
    where = ON_POSTGRESQL if phase == "postgresql" and not named else ()
    command = [sys.executable, "-m", "pytest", "-q", *CHOICES[phase], *extra, *where]
    done = subprocess.run(command, cwd=root, env=environment, check=False)
    return done.returncode


def _leave(_signal: int, _frame: FrameType | None) -> None:
    raise KeyboardInterrupt
