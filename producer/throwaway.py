"""What tests need from the machine: a PostgreSQL of their own, and a browser."""

from __future__ import annotations

import contextlib
import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import quote

BROWSERS = ("chromium", "chromium-browser", "google-chrome")
BINARIES = ("/usr/lib/postgresql", "/usr/local/pgsql", "/usr/pgsql-*")
SERVERS_USERS = ("postgres", "nobody")
PATIENCE = 120  # seconds
# Nobody outside reaches it, and nothing needs to outlast a power cut.
OPTIONS = (
    "-c listen_addresses= -c fsync=off -c synchronous_commit=off"
    " -c full_page_writes=off -c max_connections=200"
)


class Unavailable(Exception):
    """The machine does not have it; the message says what to type to get it."""


def find_chromium() -> str:
    """Return the path of a Chromium, or raise :class:`Unavailable`."""
    named = os.environ.get("KETTLEBOOK_CHROMIUM")
    for name in filter(None, (named, *BROWSERS)):
        path = shutil.which(name)
        if path:
            return path
    raise Unavailable("no Chromium here. On Debian type: sudo apt-get install chromium")


@contextlib.contextmanager
def postgresql() -> Iterator[str]:
    """Yield the address of a PostgreSQL that is thrown away afterwards.

    It is reached by a socket in a directory of its own, so it meets no other server.
    ``KETTLEBOOK_TEST_DATABASE_URL`` names a server to use instead. Raises
    :class:`Unavailable` when there is neither.
    """
    named = os.environ.get("KETTLEBOOK_TEST_DATABASE_URL")
    if named:
        yield named
        return
    binaries = _binaries()
    user = _server_user()
    with tempfile.TemporaryDirectory(prefix="kettlebook-pg-", dir=_place(user)) as made:
        if user:
            os.chown(made, user.pw_uid, user.pw_gid)
        server = _Server(binaries, Path(made), user)
        server.start()
        try:
            yield f"postgres://tests@{quote(made, safe='')}/postgres"
        finally:
            server.stop()


class _Server:
    def __init__(
        self, binaries: Path, directory: Path, user: pwd.struct_passwd | None
    ) -> None:
        self.binaries = binaries
        self.directory = directory
        self.user = user

    def start(self) -> None:
        data = str(self.directory / "data")
        initdb = ["initdb", "-D", data, "-U", "tests", "-A", "trust", "-E", "UTF8"]
        self._require([*initdb, "--no-sync"])
        options = f"{OPTIONS} -k {self.directory}"
        log = str(self.directory / "server.log")
        try:
            self._require(
                ["pg_ctl", "-D", data, "-l", log, "-w", "-o", options, "start"]
            )
        except BaseException:
            self.stop()  # interrupted while it came up
            raise

    def stop(self) -> None:
        # A server that has died already is stopped; what it was for says how it went.
        data = str(self.directory / "data")
        self._call(["pg_ctl", "-D", data, "-m", "immediate", "-w", "stop"])

    def _require(self, command: list[str]) -> None:
        code = self._call(command)
        if code:
            said = (self.directory / "said.log").read_text("utf-8", "replace")
            tail = " ".join(said.split())[-300:]
            raise Unavailable(f"{command[0]} of PostgreSQL ended with {code}: {tail}")

    def _call(self, command: list[str]) -> int:
        # A file, not a pipe: the server that pg_ctl leaves behind would keep it open.
        with (self.directory / "said.log").open("wb") as said:
            done = subprocess.run(
                [str(self.binaries / command[0]), *command[1:]],
                user=self.user.pw_uid if self.user else None,
                group=self.user.pw_gid if self.user else None,
                extra_groups=[] if self.user else None,
                cwd=self.directory,
                env={**os.environ, "LC_ALL": "C.UTF-8", "HOME": str(self.directory)},
                stdin=subprocess.DEVNULL,
                stdout=said,
                stderr=subprocess.STDOUT,
                check=False,
                timeout=PATIENCE,
            )
        return done.returncode


def _binaries() -> Path:
    """Return the directory of the newest PostgreSQL that can be a server."""
    found = [
        path.parent
        for pattern in BINARIES
        for place in Path("/").glob(pattern.lstrip("/"))
        for path in place.glob("**/bin/initdb")
    ]
    on_path = shutil.which("initdb")
    if on_path:
        found.append(Path(on_path).resolve().parent)
    if not found:
        raise Unavailable(
            "no PostgreSQL here. On Debian type: sudo apt-get install postgresql"
        )
    return max(found, key=_version)


def _version(binaries: Path) -> list[int]:
    return [int(part) for part in binaries.parts if part.isdigit()]


def _server_user() -> pwd.struct_passwd | None:
    """Return whom to run the server as: PostgreSQL refuses to be root."""
    if os.geteuid() != 0:
        return None
    for name in SERVERS_USERS:
        with contextlib.suppress(KeyError):
            return pwd.getpwnam(name)
    raise Unavailable("PostgreSQL does not run as root, and there is no other user")


def _place(user: pwd.struct_passwd | None) -> str | None:
    """Return where that user may enter; root's own temporary directory may be shut."""
    return "/tmp" if user else None  # noqa: S108 - mkdtemp makes a private one in it
