"""``manage.py benchmark NAME``: measure beside a peer, in one run."""

from __future__ import annotations

import importlib
import json
import sys
from collections.abc import Iterable
from pathlib import Path
from typing import Any, Protocol

from django.conf import settings
from django.core.management import BaseCommand, CommandError, CommandParser

WIDTHS = "{:>12} {:>12} {:>9}  {:<6} {}"


class Measured(Protocol):
    """What a benchmark yields; see ``tests/benchmarks``."""

    name: str
    ours: float
    peer: float
    goal: str
    holds: bool

    @property
    def ratio(self) -> float | None:
        """Return ours divided by the peer's."""


class Command(BaseCommand):
    """Run one benchmark and print a line for each comparison as it is made."""

    help = "Measure: ours, a peer, their ratio, the goal and whether it holds."
    requires_system_checks = ()

    def add_arguments(self, parser: CommandParser) -> None:
        """Take the name and --json."""
        parser.add_argument("name", nargs="?", default="", metavar="NAME")
        parser.add_argument(
            "--json", action="store_true", help="one JSON object a line, for programs"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Measure; end with code 1 if a goal is missed."""
        rows = find(options["name"])
        as_json = options["json"]
        if not as_json:
            self._say(WIDTHS.format("ours", "peer", "ratio", "holds", "what; goal"))
        missed = 0
        for row in rows:
            missed += not row.holds
            self._say(in_json(row) if as_json else in_words(row))
        if missed:
            sys.exit(1)

    def _say(self, line: str) -> None:
        self.stdout.write(line)
        self.stdout.flush()


def names() -> list[str]:
    """Return which benchmarks there are."""
    directory = Path(settings.BASE_DIR) / "tests" / "benchmarks"
    return sorted(
        path.stem for path in directory.glob("*.py") if not path.stem.startswith("_")
    )


def find(name: str) -> Iterable[Measured]:
    """Return the rows of a benchmark, measured while they are walked through."""
    if name not in names():
        raise CommandError(
            f"There is no benchmark “{name}”. There are: {', '.join(names())}."
        )
    module = importlib.import_module(f"tests.benchmarks.{name}")
    rows: Iterable[Measured] = module.rows()
    return rows


def in_json(row: Measured) -> str:
    """Return a row for programs."""
    facts = ("name", "ours", "peer", "ratio", "goal", "holds")
    return json.dumps({fact: getattr(row, fact) for fact in facts}, ensure_ascii=False)


def in_words(row: Measured) -> str:
    """Return a row for people."""
    ratio = "–" if row.ratio is None else f"{row.ratio:.2f}"
    holds = "yes" if row.holds else "NO"
    return WIDTHS.format(
        f"{row.ours:,.4g}", f"{row.peer:,.4g}", ratio, holds, f"{row.name}; {row.goal}"
    )
