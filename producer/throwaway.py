"""What tests need from the machine: a PostgreSQL of their own, and a browser."""

from __future__ import annotations

import contextlib
import os
import pwd
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

BROWSERS = ("chromium", "chromium-browser", "google-chrome")
BINARIES = ("/usr/lib/postgresql", "/usr/local/pgsql")
SERVERS_USERS = ("postgres", "nobody")


class Unavailable(Exception):
    """The machine does not have it; the message says what to type to get it."""


def find_chromium() -> str:
    """Return the path of a Chromium."""
    named = os.environ.get("KETTLEBOOK_CHROMIUM")
    for name in filter(None, (named, *BROWSERS)):
        path = shutil.which(name)
        if path:
            return path
    raise Unavailable("no Chromium here. On Debian type: sudo apt-get install chromium")


@contextlib.contextmanager
def postgresql() -> Iterator[str]:
    """Yield the address of a PostgreSQL that is thrown away afterwards.

    ``KETTLEBOOK_TEST_DATABASE_URL`` names a server to use instead.
    """
    named = os.environ.get("KETTLEBOOK_TEST_DATABASE_URL")
    if named:
        yield named
        return
    binaries = _binaries()
    # Not below the temporary directory of root, which others may not enter.
    with tempfile.TemporaryDirectory(prefix="kettlebook-pg-") as directory:
        user = _server_user(Path(directory))
        data = f"{directory}/data"
        _run(binaries, "initdb", ["-D", data, "-U", "tests", "-A", "trust", "-E", "UTF8", "--no-sync"], user)  # fmt: skip # noqa: E501
        port = _free_port()
        options = (
            f"-p {port} -c listen_addresses=127.0.0.1 -k {directory}"
            " -c fsync=off -c synchronous_commit=off -c full_page_writes=off"
            " -c max_connections=200"
        )
        _run(binaries, "pg_ctl", ["-D", data, "-l", f"{directory}/log", "-w", "-o", options, "start"], user)  # fmt: skip # noqa: E501
        try:
            yield f"postgres://tests@127.0.0.1:{port}/postgres"
        finally:
            _run(binaries, "pg_ctl", ["-D", data, "-m", "immediate", "stop"], user)


def _binaries() -> Path:
    found = [
        path.parent for place in BINARIES for path in Path(place).glob("**/bin/initdb")
    ]
    on_path = shutil.which("initdb")
    if on_path:
        found.append(Path(on_path).resolve().parent)
    if not found:
        raise Unavailable(
            "no PostgreSQL here. On Debian type: sudo apt-get install postgresql"
        )
    return max(
        found, key=lambda path: [int(part) for part in path.parts if part.isdigit()]
    )


def _server_user(directory: Path) -> str | None:
    """PostgreSQL refuses to run as root; return whom to run it as, if we are."""
    if os.geteuid() != 0:
        return None
    for name in SERVERS_USERS:
        with contextlib.suppress(KeyError):
            entry = pwd.getpwnam(name)
            os.chown(directory, entry.pw_uid, entry.pw_gid)
            return name
    raise Unavailable("PostgreSQL does not run as root, and there is no other user")


def _run(binaries: Path, name: str, arguments: list[str], user: str | None) -> None:
    done = subprocess.run(
        [str(binaries / name), *arguments],
        user=user,
        extra_groups=[] if user else None,
        cwd="/",
        env={**os.environ, "LC_ALL": "C.UTF-8", "HOME": "/"},
        # pg_ctl leaves a server behind that would hold a pipe open for ever
        stdout=subprocess.DEVNULL,
        stderr=subprocess.STDOUT,
        check=False,
        timeout=120,
    )
    if done.returncode:
        raise Unavailable(f"{name} of PostgreSQL ended with {done.returncode}")


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port
