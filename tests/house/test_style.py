"""Typed, linted, formatted, short, in our words, and nothing lying about."""

from __future__ import annotations

import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
TOP_LEVEL = {
    "README.md",
    "DEVELOPERS.md",
    "LICENSE",
    "manage.py",
    "pyproject.toml",
    "producer",
    "batches",
    "quality",
    "templates",
    "tests",
}
APPS = ("producer", "batches", "quality")
MOST_LINES = 400
MOST_LINES_OF_TESTS = 650  # scenario after scenario, read one at a time
# What a practitioner would take for another trade, or for a claim we do not make.
NEVER = (
    "sku",
    "ticket",
    "campaign",
    "journey",
    "score",
    "wizard",
    "superfat",
    "compliant",
    "certified",
    "natural pesticide",
    "safe for bees",
    "skin-friendly",
)

pytestmark = pytest.mark.any_engine


def tool(*arguments: str) -> subprocess.CompletedProcess[str]:
    """Run a tool of our own environment over the repository."""
    return subprocess.run(  # noqa: S603 - our own environment, no outside input
        [sys.executable, "-m", *arguments],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.mark.parametrize(
    "arguments",
    [
        ("ruff", "check", "."),
        ("ruff", "format", "--check", "."),
        ("mypy",),
    ],
    ids=["linted", "formatted", "typed"],
)
def test_the_code_is(arguments: tuple[str, ...]) -> None:
    result = tool(*arguments)
    assert result.returncode == 0, result.stdout + result.stderr


def test_control_the_tools_object_to_a_careless_module(tmp_path: Path) -> None:
    careless = tmp_path / "careless.py"
    careless.write_text("import os\ndef f(x): return x+'1'\n", encoding="utf-8")
    config = f"--config={ROOT / 'pyproject.toml'}"
    assert tool("ruff", "check", config, str(careless)).returncode != 0
    assert tool("ruff", "format", config, "--check", str(careless)).returncode != 0
    cache = f"--cache-dir={tmp_path / 'cache'}"
    typed = tool("mypy", "--config-file=", "--strict", cache, str(careless))
    assert "Function is missing a type annotation" in typed.stdout


def modules() -> list[Path]:
    return [
        path
        for folder in (*APPS, "tests")
        for path in sorted((ROOT / folder).rglob("*.py"))
        if "migrations" not in path.parts
    ]


def test_no_module_is_longer_than_can_be_read_at_once() -> None:
    counted = {
        str(path.relative_to(ROOT)): len(path.read_text("utf-8").splitlines())
        for path in modules()
    }
    assert len(counted) > 50
    too_long = {
        name: lines
        for name, lines in counted.items()
        if lines > (MOST_LINES_OF_TESTS if name.startswith("tests") else MOST_LINES)
    }
    assert too_long == {}


def test_the_top_level_is_as_planned() -> None:
    names = {
        path.name
        for path in ROOT.iterdir()
        if not path.name.startswith(".") and path.name != "__pycache__"
    }
    assert names == TOP_LEVEL


def texts() -> Iterator[tuple[str, str]]:
    """Yield every text that a user or reader of the program may see.

    Not the list of what must not stand on a label, which has to name it.
    """
    for folder in (*APPS, "templates"):
        for path in sorted((ROOT / folder).rglob("*")):
            if path == ROOT / "batches" / "claims.py":
                continue
            if path.suffix in {".py", ".html", ".txt", ".css", ".js", ".svg", ".md"}:
                yield str(path.relative_to(ROOT)), path.read_text(encoding="utf-8")


def found(words: tuple[str, ...], text: str) -> list[str]:
    pattern = rf"\b({'|'.join(map(re.escape, words))})s?\b"
    return [match[0] for match in re.finditer(pattern, text, re.IGNORECASE)]


def test_the_words_we_never_use_are_not_used() -> None:
    read = list(texts())
    assert len(read) > 100
    assert [(name, hits) for name, text in read if (hits := found(NEVER, text))] == []


def test_control_such_a_word_is_found() -> None:
    assert found(NEVER, "Your bottle's Journey; 3 tickets; GMP-compliant.") == [
        "Journey",
        "tickets",
        "compliant",
    ]
    assert found(NEVER, "Underscore, a certificate, a riskunit.") == []


def test_no_text_names_a_place_on_somebodys_machine() -> None:
    places = tuple("/" + place for place in ("work/", "tmp/", "root/", "home/"))
    read = [*texts(), *((str(p), p.read_text("utf-8")) for p in modules())]
    named = [
        (name, place)
        for name, text in read
        for place in places
        if re.search(rf"(?<![\w.]){re.escape(place)}", text)
    ]
    assert named == []
