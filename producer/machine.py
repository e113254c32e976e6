"""Standard library only: what the machine lacks, got by its package manager or named.

What cannot be mended here ends in one sentence that says what to type.
"""

from __future__ import annotations

import ctypes
import errno
import importlib
import importlib.util
import os
import shlex
import shutil
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent

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
BARE_NEED = 30_000_000  # bytes that an environment takes with nothing in it yet
NO_NETWORK = (
    "NewConnectionError",
    "ConnectTimeoutError",
    "ReadTimeoutError",
    "ProxyError",
    "Connection refused",
    "ConnectionResetError",
    "name resolution",
    "Name or service not known",
    "Network is unreachable",
    "Could not resolve",
    "Failed to fetch",
)


class Stuck(Exception):
    """Something a person must do; the message is the sentence that says it."""


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
            f"Prints need {', '.join(missing)}."
            f" {_type_as_administrator(f'{install} {packages}')}"
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


def ensure_venv_module() -> bool:
    """See that environments can be made; say whether something was installed for it.

    Raises :class:`Stuck` with what to type where we may not install.
    """
    if importlib.util.find_spec("ensurepip") and importlib.util.find_spec("venv"):
        return False
    prefix = _as_administrator()
    if shutil.which("apt-get") is None or prefix is None:
        raise Stuck(_venv_sentence())
    say(f"This Python has no venv module; installing {_venv_package()} …")
    _apt(prefix, [_venv_package()])
    importlib.invalidate_caches()
    if importlib.util.find_spec("ensurepip") is None:
        raise Stuck(_venv_sentence())
    return True


def say(sentence: str) -> None:
    """Show progress at once, also through a pipe."""
    sys.stdout.write(sentence + "\n")
    sys.stdout.flush()


def explain(error: OSError) -> str:
    """Return what a person can do about a file error."""
    place = Path(os.fsdecode(error.filename)) if error.filename else ROOT
    if error.errno in {errno.ENOSPC, errno.EDQUOT}:
        return (
            f"The disk is full ({place}). Free about 500 MB, then repeat the command."
        )
    if error.errno in {errno.EACCES, errno.EPERM, errno.EROFS}:
        if place.is_relative_to(ROOT):
            return (
                f"{place} cannot be written. Copy Kettlebook to a directory of your"
                f" own, or type: sudo chown -R $USER {shlex.quote(str(ROOT))}"
            )
        return (
            f"{place} cannot be read and written. Choose a directory of your own:"
            " export KETTLEBOOK_DATA=$HOME/kettlebook\nThen repeat the command."
        )
    return f"{place}: {error.strerror or error}. Mend this, then repeat the command."


def explain_text(output: str) -> str:
    """Return what a person can do about what venv or pip printed."""
    # What ensurepip says of a full disk, venv keeps to itself.
    is_full = shutil.disk_usage(ROOT).free < BARE_NEED
    if is_full or "No space left" in output or "Disk quota exceeded" in output:
        return explain(OSError(errno.ENOSPC, "", str(ROOT / ".venv")))
    if "Permission denied" in output or "Read-only file system" in output:
        return explain(OSError(errno.EACCES, "", str(ROOT / ".venv")))
    if "ensurepip is not available" in output or "No module named ensurepip" in output:
        return _venv_sentence()
    if "CERTIFICATE_VERIFY_FAILED" in output:
        return (
            "The package index shows a certificate that this computer does not trust."
            " Set its clock, or name the certificate of your network with PIP_CERT,"
            " then repeat the command."
        )
    if any(sign in output for sign in NO_NETWORK):
        return (
            "The package index cannot be reached. Connect to the network, or point pip"
            " at a copy with PIP_INDEX_URL, then repeat the command."
        )
    tail = "\n".join(output.strip().splitlines()[-15:])
    return (
        f"{tail}\n\nInstalling did not work; the lines above say why. Mend that, then"
        " repeat the command."
    )


def run(command: Sequence[str]) -> subprocess.CompletedProcess[str]:
    """Run a program with arguments of ours and keep what it prints."""
    return subprocess.run(  # noqa: S603 - no shell, and every word is ours
        command, capture_output=True, text=True, check=False
    )


def _venv_package() -> str:
    return f"python{sys.version_info.major}.{sys.version_info.minor}-venv"


def _venv_sentence() -> str:
    if shutil.which("apt-get"):
        advice = _type_as_administrator(f"apt-get install -y {_venv_package()}")
    else:
        advice = (
            "Install it with your system's package manager, or install a whole Python"
            " from python.org, then repeat the command."
        )
    return f"This Python lacks its venv or ensurepip module. {advice}"


def _type_as_administrator(command: str) -> str:
    if os.name == "posix" and os.geteuid() == 0:
        how = f"Type: {command}"
    elif shutil.which("sudo"):
        how = f"Type: sudo {command}"
    else:
        how = f"As the administrator (type “su -” to become that) type: {command}"
    return f"{how}\nThen repeat the command."


def _as_administrator() -> list[str] | None:
    """Return what to put before a command to run it as root; None if we may not."""
    if os.name != "posix":
        return None
    if os.geteuid() == 0:
        return []
    sudo = shutil.which("sudo")
    if sudo is None or run([sudo, "-n", "true"]).returncode:
        return None
    return [sudo, "-n"]


def _apt(prefix: list[str], packages: list[str]) -> None:
    """Install packages; raise :class:`Stuck` when apt cannot."""
    quiet = [*prefix, "env", "DEBIAN_FRONTEND=noninteractive", "apt-get", "-q"]
    # A stale list of packages is no reason to give up: they may be at hand.
    say("  asking for the list of packages …")
    updated = run([*quiet, "update"])
    say("  fetching and installing …")
    done = run([*quiet, "install", "-y", "--no-install-recommends", *packages])
    if done.returncode == 0:
        return
    said = f"{updated.stderr}{done.stderr}".strip()
    command = f"apt-get install -y {' '.join(packages)}"
    if "No space left" in said or "enough free space" in said:
        raise Stuck(explain(OSError(errno.ENOSPC, "", "/var")))
    if any(sign in said for sign in NO_NETWORK) or "Unable to locate" in said:
        raise Stuck(
            "The system's package server cannot be reached. Connect to the network."
            f" {_type_as_administrator(command)}"
        )
    tail = "\n".join(said.splitlines()[-5:])
    raise Stuck(f"{tail}\n\nInstalling failed. {_type_as_administrator(command)}")
