"""What the machine lacks, with every machine that could be below us faked."""

from __future__ import annotations

import ctypes
import errno
import importlib.util
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from producer import machine
from producer.machine import Stuck

pytestmark = pytest.mark.any_engine


class Ran:
    """What was asked of the machine, and what it answers."""

    def __init__(self, *answers: tuple[str, int, str]) -> None:
        self.asked: list[str] = []
        self.answers = answers

    def __call__(self, command: list[str]) -> subprocess.CompletedProcess[str]:
        text = " ".join(command)
        self.asked.append(text)
        for part, code, said in self.answers:
            if part in text:
                return subprocess.CompletedProcess(command, code, "", said)
        return subprocess.CompletedProcess(command, 0, "", "")


def on_a_machine(
    monkeypatch: pytest.MonkeyPatch,
    *,
    programs: tuple[str, ...] = (),
    is_root: bool = False,
    run: Callable[[list[str]], Any] | None = None,
) -> None:
    def which(name: str) -> str | None:
        return f"/usr/bin/{name}" if name in programs else None

    monkeypatch.setattr(shutil, "which", which)
    monkeypatch.setattr(os, "geteuid", lambda: 0 if is_root else 1000)
    monkeypatch.setattr(machine, "run", run or Ran())


# ------------------------------------------------- a Python without ensurepip


@pytest.fixture
def no_ensurepip(monkeypatch: pytest.MonkeyPatch) -> None:
    real = importlib.util.find_spec
    monkeypatch.setattr(
        importlib.util,
        "find_spec",
        lambda name: None if name == "ensurepip" else real(name),
    )


@pytest.mark.parametrize(
    ("programs", "is_root", "says"),
    [
        (("apt-get", "sudo"), False, "Type: sudo apt-get install -y python3."),
        (
            ("apt-get",),
            False,
            "As the administrator (type “su -” to become that) type:",
        ),
        ((), False, "your system's package manager"),
        ((), True, "your system's package manager"),
    ],
)
def test_a_python_without_ensurepip_is_told_what_to_type(
    monkeypatch: pytest.MonkeyPatch,
    no_ensurepip: None,
    programs: tuple[str, ...],
    is_root: bool,  # noqa: FBT001
    says: str,
) -> None:
    ran = Ran(("sudo -n true", 1, "a password is required"))
    on_a_machine(monkeypatch, programs=programs, is_root=is_root, run=ran)
    with pytest.raises(Stuck) as stuck:
        machine.ensure_venv_module()
    assert says in str(stuck.value)
    assert "repeat the command" in str(stuck.value)
    assert not [asked for asked in ran.asked if "install" in asked]


@pytest.mark.parametrize("is_root", [True, False])
def test_who_may_install_gets_the_venv_module_installed(
    monkeypatch: pytest.MonkeyPatch,
    is_root: bool,  # noqa: FBT001
) -> None:
    there: list[str] = []
    real = importlib.util.find_spec
    monkeypatch.setattr(
        importlib.util,
        "find_spec",
        lambda name: real(name) if name != "ensurepip" or there else None,
    )

    class Installs(Ran):
        def __call__(self, command: list[str]) -> subprocess.CompletedProcess[str]:
            if "install" in command:
                there.append(command[-1])
            return super().__call__(command)

    ran = Installs()
    programs = ("apt-get",) if is_root else ("apt-get", "sudo")
    on_a_machine(monkeypatch, programs=programs, is_root=is_root, run=ran)
    assert machine.ensure_venv_module()
    version = f"{sys.version_info[0]}.{sys.version_info[1]}"
    assert there == [f"python{version}-venv"]
    assert ran.asked[-1].startswith("env" if is_root else "/usr/bin/sudo -n env")


def test_a_whole_python_asks_for_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    ran = Ran()
    on_a_machine(monkeypatch, programs=("apt-get",), is_root=True, run=ran)
    assert not machine.ensure_venv_module()
    assert ran.asked == []


@pytest.mark.parametrize(
    ("said", "says"),
    [
        ("E: Failed to fetch http://deb… Temporary failure resolving", "the network"),
        ("E: You don't have enough free space in /var/cache", "The disk is full"),
        ("E: dpkg was interrupted", "dpkg was interrupted\n\nInstalling failed."),
    ],
)
def test_a_failing_apt_says_why(
    monkeypatch: pytest.MonkeyPatch, no_ensurepip: None, said: str, says: str
) -> None:
    ran = Ran(("install", 100, said))
    on_a_machine(monkeypatch, programs=("apt-get",), is_root=True, run=ran)
    with pytest.raises(Stuck) as stuck:
        machine.ensure_venv_module()
    assert says in str(stuck.value)


# --------------------------------------------- what venv and pip print, in words


@pytest.mark.parametrize(
    ("printed", "says"),
    [
        (
            """
            WARNING: Retrying (Retry(total=1)) after connection broken by
            'NewConnectionError('<…>: Failed to establish a new connection: [Errno -3]
            Temporary failure in name resolution')': /simple/django/
            ERROR: No matching distribution found for Django<5.3,>=5.2
            """,
            "The package index cannot be reached. Connect to the network",
        ),
        (
            "urllib3.exceptions.ReadTimeoutError: HTTPSConnectionPool: Read timed out.",
            "The package index cannot be reached.",
        ),
        (
            "SSLError(SSLCertVerificationError(1, '[SSL: CERTIFICATE_VERIFY_FAILED]'))",
            "PIP_CERT",
        ),
        (
            "ERROR: Could not install …: [Errno 28] No space left on device",
            "The disk is full",
        ),
        (
            "Error: [Errno 13] Permission denied: '/srv/kettlebook/.venv'",
            "cannot be written. Copy Kettlebook to a directory of your own",
        ),
        (
            "was not created successfully because ensurepip is not available.",
            "lacks its venv or ensurepip module",
        ),
        (
            "ERROR: No matching distribution found for weasyprint>=66",
            "for weasyprint>=66\n\nInstalling did not work",
        ),
    ],
)
def test_what_pip_prints_becomes_a_sentence(printed: str, says: str) -> None:
    assert says in machine.explain_text(printed)


def test_a_full_disk_that_nobody_mentions_is_told(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    kept_to_itself = "Error: … '-m', 'ensurepip', … returned non-zero exit status 1."
    assert "The disk is full" not in machine.explain_text(kept_to_itself)
    monkeypatch.setattr(
        shutil, "disk_usage", lambda place: SimpleNamespace(free=3_600_000)
    )
    assert "The disk is full" in machine.explain_text(kept_to_itself)


@pytest.mark.parametrize(
    ("code", "place", "says"),
    [
        (errno.ENOSPC, machine.ROOT / "x", "The disk is full"),
        (errno.EDQUOT, machine.ROOT / "x", "The disk is full"),
        (errno.EROFS, machine.ROOT / "x", "Copy Kettlebook to a directory of your own"),
        (errno.EACCES, Path("/srv/records"), "export KETTLEBOOK_DATA="),
        (errno.EIO, Path("/srv/records"), "Input/output error. Mend this"),
    ],
)
def test_a_file_error_becomes_a_sentence(code: int, place: Path, says: str) -> None:
    error = OSError(code, os.strerror(code), str(place))
    assert says in machine.explain(error)
    assert str(place) in machine.explain(error)


# ------------------------------------------------------------- shared libraries


def without(monkeypatch: pytest.MonkeyPatch, *names: str) -> set[str]:
    """Let these libraries be missing; return the set, to take names out of it."""
    missing = set(names)

    def open_library(name: str) -> object:
        if name in missing:
            raise OSError(f"{name}: cannot open shared object file")
        return object()

    monkeypatch.setattr(ctypes, "CDLL", open_library)
    monkeypatch.setattr(sys, "platform", "linux")
    return missing


PANGO = "libpango-1.0.so.0"


def test_missing_libraries_are_named(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    without(monkeypatch, PANGO)
    (tmp_path / "some.ttf").touch()
    monkeypatch.setattr(machine, "FONT_PLACES", (str(tmp_path),))
    assert machine.missing_libraries() == [PANGO]


def test_a_machine_without_any_font_is_told(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    without(monkeypatch)
    monkeypatch.setattr(machine, "FONT_PLACES", (str(tmp_path),))
    assert machine.missing_libraries() == ["a font"]


@pytest.mark.parametrize(
    ("programs", "says"),
    [
        (("apt-get", "sudo"), "Type: sudo apt-get install -y libpango-1.0-0"),
        (("dnf", "sudo"), "Type: sudo dnf install -y pango"),
        (("apk",), "As the administrator"),
        ((), "Install Pango and a font"),
    ],
)
def test_who_may_not_install_is_told_what_to_type(
    monkeypatch: pytest.MonkeyPatch, programs: tuple[str, ...], says: str
) -> None:
    without(monkeypatch, PANGO)
    ran = Ran(("sudo -n true", 1, "a password is required"))
    on_a_machine(monkeypatch, programs=programs, run=ran)
    with pytest.raises(Stuck, match=re.escape(PANGO)) as stuck:
        machine.ensure_libraries()
    assert says in str(stuck.value)


def test_who_may_install_gets_the_libraries(monkeypatch: pytest.MonkeyPatch) -> None:
    missing = without(monkeypatch, PANGO)

    class Installs(Ran):
        def __call__(self, command: list[str]) -> subprocess.CompletedProcess[str]:
            if "install" in command:
                missing.clear()
            return super().__call__(command)

    monkeypatch.setattr(machine, "FONT_PLACES", ("/usr/share/fonts",))
    monkeypatch.setattr(Path, "rglob", lambda self, pattern: iter([self]))
    ran = Installs()
    on_a_machine(monkeypatch, programs=("apt-get",), is_root=True, run=ran)
    machine.ensure_libraries()
    assert "libpangoft2-1.0-0" in ran.asked[-1]
