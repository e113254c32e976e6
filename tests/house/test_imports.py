"""The import rule holds, and the contract that says so can fail."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PACKAGES = ("producer", "batches", "quality")

pytestmark = pytest.mark.any_engine


def lint_imports(directory: Path) -> subprocess.CompletedProcess[str]:
    """Hold the packages in a directory against the contracts of pyproject.toml."""
    return subprocess.run(  # noqa: S603 - our own environment, no outside input
        [Path(sys.executable).parent / "lint-imports", "--no-cache"],
        cwd=directory,
        capture_output=True,
        text=True,
        check=False,
    )


def test_every_contract_is_kept() -> None:
    result = lint_imports(ROOT)
    assert result.returncode == 0, result.stdout + result.stderr
    assert "0 broken" in result.stdout


@pytest.mark.parametrize(
    ("module", "line"),
    [
        ("producer/quantities.py", "import django"),
        ("producer/services/stock.py", "import batches.models"),
        ("batches/models/batches.py", "import batches.services.moves"),
        ("batches/services/filling.py", "import quality.models"),
        ("quality/services/signing.py", "import quality.views"),
    ],
)
def test_control_an_import_against_the_arrow_breaks_a_contract(
    tmp_path: Path, module: str, line: str
) -> None:
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    for package in PACKAGES:
        shutil.copytree(
            ROOT / package,
            tmp_path / package,
            ignore=shutil.ignore_patterns("__pycache__", "static"),
        )
    with (tmp_path / module).open("a", encoding="utf-8") as file:
        file.write(f"\n{line}\n")
    result = lint_imports(tmp_path)
    assert result.returncode != 0
    assert "BROKEN" in result.stdout
