"""Standard library only: the project's own environment, made on first use.

``manage.py`` calls :func:`enter`, which returns only inside ``.venv`` with every
pinned dependency and shared library in place. What cannot be mended here ends in one
sentence that says what to type.
"""

from __future__ import annotations

import argparse
import atexit
import hashlib
import importlib
import importlib.machinery
import io
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
import tomllib
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any, NoReturn

from producer.machine import (
    Stuck,
    ensure_libraries,
    ensure_venv_module,
    explain,
    explain_text,
    run,
    say,
)

ROOT = Path(__file__).resolve().parent.parent
ENVIRONMENT = ROOT / ".venv"
STAMP = ENVIRONMENT / "kettlebook.json"
CONSTRAINTS = ROOT / "producer" / "constraints.txt"
DEMO_DATA = ROOT / ".demo"

# All others look at the addresses, hence at the prints, hence at Pango.
NEED_NO_LIBRARIES = {"backup", "restore", "help", "version", "--help", "--version"}
DATABASES = ("DATABASE_URL", "DATABASE_READ_URL")
NEED_TEST_EXTRA = {"test", "benchmark"}
# What these write is for the eyes of the account that runs them.
PRIVATE = {"demo", "serve", "backup", "restore", "migrate", "load_demo"}


def enter(argv: Sequence[str]) -> None:
    """Return inside the project's environment, or replace this process by one there."""
    command = argv[1] if len(argv) > 1 else "help"
    _print_what_it_can()
    try:
        is_new = not is_complete(extras_for(command))
        if is_new:
            make_environment(extras_for(command))
        if is_new or not _is_inside():
            _go_inside(argv)
        if command not in NEED_NO_LIBRARIES:
            ensure_libraries()
        set_up_surroundings(command, argv[2:])
        _make_data_directory(command)
    except Stuck as stuck:
        sys.exit(f"\n{stuck}")
    except OSError as error:
        sys.exit(f"\n{explain(error)}")
    except KeyboardInterrupt:
        sys.exit("\nStopped. The same command carries on from here.")


def _make_data_directory(command: str) -> None:
    # The settings make it, with its key; here a full disk still gets a sentence.
    if command in {"demo", "serve"}:
        importlib.import_module("producer.settings")


def _print_what_it_can() -> None:
    # A terminal that knows no “…” shall get a question mark, not a traceback.
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")


def extras_for(command: str) -> frozenset[str]:
    """Return which optional dependencies a command needs."""
    return frozenset({"test"} if command in NEED_TEST_EXTRA else ())


def requirements(extras: Iterable[str]) -> list[str]:
    """Return the dependency ranges of ``pyproject.toml``."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    wanted: list[str] = list(project["dependencies"])
    for extra in sorted(extras):
        wanted += project["optional-dependencies"][extra]
    return wanted


def key_of(extras: Iterable[str]) -> str:
    """Return a text that changes whenever the environment has to."""
    parts = [_kind_of_python(), CONSTRAINTS.read_text("utf-8"), *requirements(extras)]
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()


def _kind_of_python() -> str:
    """Return the version and platform that installed packages are made for.

    Not ``sys.version``: that changes with every security update of the system's
    Python, and an environment that still works must not need the network for it.
    """
    return importlib.machinery.EXTENSION_SUFFIXES[0]


def is_complete(extras: frozenset[str]) -> bool:
    """Say whether the environment holds what is needed, in the pinned versions."""
    stamp = _stamp()
    has = frozenset(stamp.get("extras", ()))
    return (
        bool(stamp)
        and _python().exists()
        and extras <= has
        and stamp.get("key") == key_of(has)
    )


def make_environment(extras: frozenset[str]) -> None:
    """Make or mend ``.venv``.

    The stamp is written last. An environment without one was never finished and is
    made anew; one whose stamp has no key was left while it changed, and is mended.
    """
    before = _stamp()
    extras |= frozenset(before.get("extras", ()))
    if not before or not _works(_python()):
        _make_bare_environment()
    else:
        _write_stamp(extras, key="")
    _install(extras)
    _write_stamp(extras, key=key_of(extras))


def _make_bare_environment() -> None:
    if ensure_venv_module():
        # It may have brought a newer Python with it than the one that runs this.
        os.execv(sys.executable, [sys.executable, *sys.orig_argv[1:]])
    say("Making the environment in .venv …")
    # From within .venv the Python below it: it is about to be deleted.
    python = getattr(sys, "_base_executable", None) or sys.executable
    done = run([python, "-m", "venv", "--clear", str(ENVIRONMENT)])
    if done.returncode or not _works(_python()):
        raise Stuck(explain_text(done.stdout + done.stderr))


def set_up_surroundings(command: str, rest: Sequence[str]) -> None:
    """Set what must be in the environment before the settings are read.

    The demo never touches real data: its own directory, its own SQLite file, whatever
    the environment says. Tests get a directory that is gone afterwards.
    """
    if command in PRIVATE:
        os.umask(0o077)
    if command == "demo":
        for name in (*DATABASES, "KETTLEBOOK_HOSTS", "KETTLEBOOK_DEBUG"):
            os.environ.pop(name, None)
        os.environ["DJANGO_SETTINGS_MODULE"] = "producer.settings"
        os.environ["KETTLEBOOK_DATA"] = str(DEMO_DATA)
        os.environ["KETTLEBOOK_DEMO"] = "1"
        os.environ["KETTLEBOOK_URL"] = _local_address(rest)
    elif command == "serve":
        os.environ.pop("KETTLEBOOK_DEMO", None)
        if not os.environ.get("KETTLEBOOK_URL"):
            os.environ["KETTLEBOOK_URL"] = _local_address(rest)
    elif command in {"test", "benchmark", "restore"}:
        # Only this process reads it; the test runner gives each phase its own. A
        # restore may go where real records are kept by default, which the settings
        # would no longer leave empty: they make a key there.
        directory = tempfile.mkdtemp(prefix="kettlebook-")
        atexit.register(shutil.rmtree, directory, ignore_errors=True)
        os.environ["KETTLEBOOK_DATA"] = directory
        for name in DATABASES:
            os.environ.pop(name, None)


def _is_inside() -> bool:
    return Path(sys.prefix).resolve() == ENVIRONMENT.resolve()


def _python() -> Path:
    folder = "Scripts" if os.name == "nt" else "bin"
    return ENVIRONMENT / folder / ("python.exe" if os.name == "nt" else "python")


def _works(python: Path) -> bool:
    """Say whether an environment has a Python of this kind, with pip."""
    if not python.exists():
        return False
    ask = "import importlib.machinery as m, pip; print(m.EXTENSION_SUFFIXES[0])"
    done = run([str(python), "-c", ask])
    return done.returncode == 0 and done.stdout.strip() == _kind_of_python()


def _go_inside(argv: Sequence[str]) -> NoReturn:
    sys.stdout.flush()
    script = str(ROOT / "manage.py")
    os.execv(str(_python()), [str(_python()), script, *argv[1:]])


def _stamp() -> dict[str, Any]:
    """Return what the environment was made for; nothing if it was never finished."""
    try:
        stamp = json.loads(STAMP.read_text("utf-8"))
    except (FileNotFoundError, NotADirectoryError, ValueError):
        return {}
    return stamp if isinstance(stamp, dict) else {}


def _write_stamp(extras: frozenset[str], *, key: str) -> None:
    stamp = {"extras": sorted(extras), "key": key}
    STAMP.write_text(json.dumps(stamp), encoding="utf-8")


def _install(extras: frozenset[str]) -> None:
    say("Installing the pinned dependencies; a minute or two on the first run …")
    options = (
        "--disable-pip-version-check --no-input --no-user --progress-bar off"
        " --retries 2 --timeout 30"
    )
    command = [str(_python()), "-m", "pip", "install", *options.split()]
    command += ["-c", str(CONSTRAINTS), *requirements(extras)]
    lines = []
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
    ) as pip:
        for line in pip.stdout or ():
            lines.append(line)
            _show_progress(line)
    if pip.returncode:
        raise Stuck(explain_text("".join(lines)))


def _show_progress(line: str) -> None:
    words = line.split()
    if words[:1] == ["Collecting"]:
        say(f"  {re.split('[=<>!~;]', words[1])[0]}")
    elif words[:2] == ["WARNING:", "Retrying"]:
        say("  the package index does not answer; trying again …")
    elif line.startswith("Installing collected"):
        say("  unpacking …")


def _local_address(rest: Sequence[str]) -> str:
    parser = argparse.ArgumentParser(add_help=False, allow_abbrev=False)
    parser.add_argument("--port", default="8000")
    parser.add_argument("--address", default="127.0.0.1")
    known, _ = parser.parse_known_args(rest)
    host = f"[{known.address}]" if ":" in known.address else known.address
    return f"http://{host}:{known.port}"
