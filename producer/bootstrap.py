"""Standard library only: the project's own environment, made on first use.

``manage.py`` calls :func:`enter`, which returns only inside ``.venv`` with every
pinned dependency and shared library in place. What cannot be mended here ends in one
sentence that says what to type.
"""

from __future__ import annotations

import argparse
import ctypes
import errno
import hashlib
import importlib.util
import json
import os
import shutil
import subprocess
import sys
import tempfile
import tomllib
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import NoReturn

ROOT = Path(__file__).resolve().parent.parent
ENVIRONMENT = ROOT / ".venv"
STAMP = ENVIRONMENT / "kettlebook.json"
CONSTRAINTS = ROOT / "producer" / "constraints.txt"
DEMO_DATA = ROOT / ".demo"

# What WeasyPrint opens by name when it is imported.
LIBRARIES = (
    "libgobject-2.0.so.0",
    "libpango-1.0.so.0",
    "libpangoft2-1.0.so.0",
    "libharfbuzz.so.0",
    "libharfbuzz-subset.so.0",
    "libfontconfig.so.1",
)
FONT_PLACES = ("/usr/share/fonts", "/usr/local/share/fonts", "~/.local/share/fonts")
PACKAGES = {
    "apt-get": (
        "apt-get install -y",
        "libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0 fonts-dejavu-core",
    ),
    "dnf": ("dnf install -y", "pango dejavu-sans-fonts dejavu-serif-fonts"),
    "pacman": ("pacman -S --noconfirm", "pango ttf-dejavu"),
    "zypper": ("zypper install -y", "libpango-1_0-0 dejavu-fonts"),
    "apk": ("apk add", "pango font-dejavu"),
    "brew": ("brew install", "pango"),
}
NEED_LIBRARIES = {"demo", "serve", "test", "benchmark"}
NEED_TEST_EXTRA = {"test", "benchmark"}


class Stuck(Exception):
    """Something a person must do; the message is the sentence that says it."""


def enter(argv: Sequence[str]) -> None:
    """Return inside the project's environment, or replace this process by one there."""
    command = argv[1] if len(argv) > 1 else "help"
    try:
        if not _is_inside() or not is_complete(extras_for(command)):
            make_environment(extras_for(command))
            _go_inside(argv)
        if command in NEED_LIBRARIES:
            ensure_libraries()
    except Stuck as stuck:
        sys.exit(f"\n{stuck}")
    except OSError as error:
        sys.exit(f"\n{explain(error)}")
    set_up_surroundings(command, argv[2:])


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
    parts = [sys.version, CONSTRAINTS.read_text("utf-8"), *requirements(extras)]
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()


def is_complete(extras: frozenset[str]) -> bool:
    """Say whether the environment holds what is needed, in the pinned versions."""
    try:
        stamp = json.loads(STAMP.read_text("utf-8"))
        has = frozenset(stamp["extras"])
        return extras <= has and stamp["key"] == key_of(has)
    except (FileNotFoundError, ValueError, KeyError, TypeError):
        return False


def make_environment(extras: frozenset[str]) -> None:
    """Make or mend ``.venv``; the stamp is written last, so half of one is none."""
    extras |= _extras_before()
    STAMP.unlink(missing_ok=True)
    if not _works(_python()):
        _ensure_venv_module()
        say("Making the environment in .venv …")
        done = subprocess.run(
            [sys.executable, "-m", "venv", "--clear", str(ENVIRONMENT)],
            capture_output=True,
            text=True,
            check=False,
        )
        if done.returncode or not _works(_python()):
            raise Stuck(explain_text(done.stdout + done.stderr))
    _install(extras)
    stamp = {"extras": sorted(extras), "key": key_of(extras)}
    STAMP.write_text(json.dumps(stamp), encoding="utf-8")


def ensure_libraries() -> None:
    """See that WeasyPrint's shared libraries and a font are there; install or say."""
    missing = missing_libraries()
    if not missing:
        return
    manager = next((name for name in PACKAGES if shutil.which(name)), None)
    if manager is None:
        raise Stuck(
            f"Prints need {', '.join(missing)}. Install Pango and a font with your"
            " system's package manager, then repeat the command."
        )
    install, packages = PACKAGES[manager]
    prefix = _as_administrator()
    if manager == "apt-get" and prefix is not None:
        say(f"Installing what prints need: {packages} …")
        _apt(prefix, packages.split())
        missing = missing_libraries()
    if missing:
        raise Stuck(
            f"Prints need {', '.join(missing)}. Type: sudo {install} {packages}"
            "\nThen repeat the command."
        )


def missing_libraries() -> list[str]:
    """Return which libraries cannot be opened, and “a font” if there is none."""
    missing = []
    for name in LIBRARIES if sys.platform.startswith("linux") else ():
        try:
            ctypes.CDLL(name)
        except OSError:
            missing.append(name)
    places = [Path(place).expanduser() for place in FONT_PLACES]
    if sys.platform.startswith("linux") and not any(
        next(place.rglob("*.[to]tf"), None) for place in places
    ):
        missing.append("a font")
    return missing


def set_up_surroundings(command: str, rest: Sequence[str]) -> None:
    """Set what must be in the environment before the settings are read.

    The demo never touches real data: its own directory, its own SQLite file, whatever
    the environment says. Tests get a directory that is gone afterwards.
    """
    if command == "demo":
        os.environ.pop("DATABASE_URL", None)
        os.environ.pop("KETTLEBOOK_HOSTS", None)
        os.environ["KETTLEBOOK_DATA"] = str(DEMO_DATA)
        os.environ["KETTLEBOOK_DEMO"] = "1"
        os.environ["KETTLEBOOK_URL"] = _local_address(rest)
    elif command == "serve":
        os.environ.setdefault("KETTLEBOOK_URL", _local_address(rest))
    elif command in {"test", "benchmark"}:
        # Only this process reads it; the test runner gives each phase its own.
        os.environ["KETTLEBOOK_DATA"] = tempfile.mkdtemp(prefix="kettlebook-")
        if command == "test":
            os.environ["DJANGO_SETTINGS_MODULE"] = "tests.settings"


def say(sentence: str) -> None:
    """Show progress at once, also through a pipe."""
    sys.stdout.write(sentence + "\n")
    sys.stdout.flush()


def explain(error: OSError) -> str:
    """Return what a person can do about a file error."""
    place = error.filename or ROOT
    if error.errno == errno.ENOSPC:
        return (
            f"The disk is full ({place}). Free about 500 MB, then repeat the command."
        )
    if error.errno in {errno.EACCES, errno.EPERM, errno.EROFS}:
        return (
            f"{place} cannot be written. Copy Kettlebook to a directory of your own, or"
            f" type: sudo chown -R $USER {ROOT}"
        )
    return f"{place}: {error.strerror or error}. Mend this, then repeat the command."


def explain_text(output: str) -> str:
    """Return what a person can do about what venv or pip printed."""
    if "No space left" in output:
        return explain(OSError(errno.ENOSPC, "", str(ENVIRONMENT)))
    if any(sign in output for sign in ("Permission denied", "Read-only file system")):
        return explain(OSError(errno.EACCES, "", str(ENVIRONMENT)))
    if "ensurepip" in output:
        return _venv_sentence()
    signs = ("NewConnectionError", "name resolution", "Connection", "ProxyError", "SSL")
    if any(sign in output for sign in signs):
        return (
            "The package index cannot be reached. Connect to the network, or point pip"
            " at a copy with PIP_INDEX_URL, then repeat the command."
        )
    tail = "\n".join(output.strip().splitlines()[-15:])
    return f"{tail}\n\nInstalling did not work; the lines above say why."


def _is_inside() -> bool:
    return Path(sys.prefix).resolve() == ENVIRONMENT.resolve()


def _python() -> Path:
    folder = "Scripts" if os.name == "nt" else "bin"
    return ENVIRONMENT / folder / ("python.exe" if os.name == "nt" else "python")


def _works(python: Path) -> bool:
    """Say whether an environment has a Python of this version, with pip."""
    if not python.exists():
        return False
    probe = "import sys, pip; print(sys.version)"
    done = subprocess.run(
        [str(python), "-c", probe], capture_output=True, text=True, check=False
    )
    return done.returncode == 0 and done.stdout.strip() == sys.version.strip()


def _go_inside(argv: Sequence[str]) -> NoReturn:
    sys.stdout.flush()
    script = str(ROOT / "manage.py")
    os.execv(str(_python()), [str(_python()), script, *argv[1:]])


def _extras_before() -> frozenset[str]:
    try:
        return frozenset(json.loads(STAMP.read_text("utf-8"))["extras"])
    except (FileNotFoundError, ValueError, KeyError, TypeError):
        return frozenset()


def _ensure_venv_module() -> None:
    if importlib.util.find_spec("ensurepip") and importlib.util.find_spec("venv"):
        return
    prefix = _as_administrator()
    if shutil.which("apt-get") is None or prefix is None:
        raise Stuck(_venv_sentence())
    say("This Python has no venv module; installing python3-venv …")
    _apt(prefix, ["python3-venv"])
    importlib.invalidate_caches()
    if importlib.util.find_spec("ensurepip") is None:
        raise Stuck(_venv_sentence())


def _venv_sentence() -> str:
    version = f"{sys.version_info.major}.{sys.version_info.minor}"
    return (
        "This Python lacks its venv module. On Debian and Ubuntu type:"
        f" sudo apt-get install python{version}-venv\nThen repeat the command."
    )


def _as_administrator() -> list[str] | None:
    """Return what to put before a command to run it as root; None if we may not."""
    if os.name != "posix":
        return None
    if os.geteuid() == 0:
        return []
    sudo = shutil.which("sudo")
    if sudo is None:
        return None
    asked = subprocess.run([sudo, "-n", "true"], capture_output=True, check=False)
    return [sudo, "-n"] if asked.returncode == 0 else None


def _apt(prefix: list[str], packages: list[str]) -> None:
    quiet = [*prefix, "env", "DEBIAN_FRONTEND=noninteractive", "apt-get", "-q"]
    steps = (
        [*quiet, "update"],
        [*quiet, "install", "-y", "--no-install-recommends", *packages],
    )
    for step in steps:
        done = subprocess.run(step, capture_output=True, text=True, check=False)
        if done.returncode:
            sys.stderr.write("\n".join(done.stderr.strip().splitlines()[-5:]) + "\n")


def _install(extras: frozenset[str]) -> None:
    wanted = requirements(extras)
    say("Installing the pinned dependencies; a minute or two on the first run …")
    command = [
        str(_python()), "-m", "pip", "install", "--disable-pip-version-check",
        "--no-input", "--progress-bar", "off", "--retries", "2", "--timeout", "30",
        "-c", str(CONSTRAINTS), *wanted,
    ]  # fmt: skip
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
        say(f"  {words[1].split('=')[0].split('<')[0].split('>')[0]}")
    elif line.startswith("Installing collected"):
        say("  unpacking …")


def _local_address(rest: Sequence[str]) -> str:
    parser = argparse.ArgumentParser(add_help=False, allow_abbrev=False)
    parser.add_argument("--port", default="8000")
    parser.add_argument("--address", default="127.0.0.1")
    known, _ = parser.parse_known_args(rest)
    return f"http://{known.address}:{known.port}"
