"""``manage.py demo``: an invented smallholding to look at and to play with."""

from __future__ import annotations

import contextlib
import json
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import (
    BaseCommand,
    CommandError,
    CommandParser,
    call_command,
)
from django.db import DatabaseError, OperationalError, connection

from producer import bootstrap, serving

try:
    import fcntl
except ImportError:  # Windows; a second demo there is told by its busy port
    fcntl = None  # type: ignore[assignment]

STARTED_OVER = (
    "records.sqlite3",
    "records.sqlite3-wal",
    "records.sqlite3-shm",
    "logins.json",
    "loaded",
)


class Command(BaseCommand):
    """Load the demo once, then serve it."""

    help = (
        "Set up and serve the demo: an invented smallholding. Real data is untouched."
    )
    requires_system_checks = ()

    def add_arguments(self, parser: CommandParser) -> None:
        """Take port, address and --fresh."""
        parser.add_argument("--port", type=int, default=8000)
        parser.add_argument("--address", default="127.0.0.1")
        parser.add_argument(
            "--fresh", action="store_true", help="Throw the demo away and start over."
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Prepare and serve."""
        data, address, port = bootstrap.DEMO_DATA, options["address"], options["port"]
        require_own_data(data)
        if address in serving.WILDCARDS:
            raise CommandError(
                "Name the address under which others find this computer, like:"
                f" python3 manage.py demo --address 192.168.1.20 --port {port}"
            )
        with serving.explained(), alone(data):
            serving.require_free_port(address, port)
            self._load(data, is_fresh=options["fresh"])
            (data / "running").write_text(settings.PUBLIC_URL, encoding="utf-8")
            serving.serve(address, port, announce=lambda: self._announce(data))
        self.stdout.write("\nThe demo has stopped.")

    def _load(self, data: Path, *, is_fresh: bool) -> None:
        if is_fresh or not is_loaded(data):
            start_over(data)
        self._say("Preparing the demo …")
        try:
            serving.prepare()
        except OperationalError:
            raise  # a full disk, told elsewhere
        except DatabaseError as error:
            raise CommandError(
                f"This demo was loaded by another version of Kettlebook ({error})."
                " Type: python3 manage.py demo --fresh"
            ) from error
        if not is_loaded(data):
            logins = str(data / "logins.json")
            call_command("load_demo", "--logins", logins, stdout=self.stdout)
            (data / "loaded").touch()

    def _announce(self, data: Path) -> None:
        lines = [f"\nOpen {settings.PUBLIC_URL} and sign in as one of these:\n"]
        logins = json.loads((data / "logins.json").read_text(encoding="utf-8"))
        for login in logins:
            rights = ", ".join(login["rights"])
            lines.append(
                f"  {login['username']:<10} {login['password']:<24}"
                f" {login['name']} ({rights})"
            )
        lines.append("\nCtrl-C stops it. “--fresh” starts the demo over.")
        self._say("\n".join(lines))

    def _say(self, text: str) -> None:
        self.stdout.write(text)
        self.stdout.flush()


def require_own_data(data: Path) -> None:
    """Refuse to run on anything but the demo's own SQLite file."""
    is_own = (
        settings.IS_DEMO
        and connection.vendor == "sqlite"
        and str(connection.settings_dict["NAME"]) == str(data / "records.sqlite3")
        and Path(settings.DATA_DIR) == data
    )
    if not is_own:
        raise CommandError("The demo runs by itself only. Type: python3 manage.py demo")
    # Somebody may have put or linked records of their own there; a demo left “running”.
    there = {path.name for path in data.iterdir()} if data.exists() else set()
    if "running" not in there and there - {"secret.key"}:
        raise CommandError(
            f"{data} was not made by the demo, so it is left alone. Move it elsewhere,"
            " then repeat the command."
        )


def is_loaded(data: Path) -> bool:
    """Say whether a whole demo is there; an interrupted load left no mark."""
    needed = ("loaded", "logins.json", "records.sqlite3")
    return all((data / name).exists() for name in needed)


def start_over(data: Path) -> None:
    """Remove the demo's own records and uploads, and nothing else."""
    for name in STARTED_OVER:
        (data / name).unlink(missing_ok=True)
    if (data / "uploads").exists():
        shutil.rmtree(data / "uploads")


@contextlib.contextmanager
def alone(data: Path) -> Iterator[None]:
    """Hold the demo's directory; refuse while another demo holds it."""
    data.mkdir(parents=True, exist_ok=True, mode=0o700)
    with (data / "running").open("a+", encoding="utf-8") as lock:
        try:
            if fcntl:
                fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            lock.seek(0)
            where = lock.read().strip() or "in another terminal"
            raise CommandError(
                f"The demo is running already: {where}. Open that, or stop it by Ctrl-C"
                " where it was started."
            ) from error
        yield
