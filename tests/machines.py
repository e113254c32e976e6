"""Two PostgreSQL clusters on this host, set up by the very words of our paper.

The blocks of ``producer/papers/two_machines.md`` are run as they stand there; only what
differs between two Debian machines and two directories of one host is replaced, and a
replacement that finds nothing to replace is a fault of the paper or of this file.

Run as a module in the surroundings of the program it writes the records of a small
premises with a bottle that somebody can scan.
"""

from __future__ import annotations

import contextlib
import functools
import json
import os
import re
import shlex
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import psycopg

from producer import throwaway
from tests.real_server import HERE, PATIENCE, ROOT, Kitchen, free_port

PAPER = ROOT / "producer" / "papers" / "two_machines.md"
FIRST, SECOND = "10.0.0.1", "10.0.0.2"
DEBIAN = "/var/lib/postgresql/15/main"
_BLOCK = re.compile(r"^```\w+ (\w+)\n(.*?)^```$", re.MULTILINE | re.DOTALL)


@functools.cache
def blocks() -> dict[str, str]:
    """Return the blocks of the paper by their names."""
    found = _BLOCK.findall(PAPER.read_text(encoding="utf-8"))
    assert len(dict(found)) == len(found), "two blocks of one name"
    return dict(found)


def replaced(text: str, **words: str) -> str:
    """Return a text with each of these words replaced; each must be there."""
    for word, other in words.items():
        assert word in text, f"no {word!r} in:\n{text}"
        text = text.replace(word, other)
    return text


class Machine(throwaway._Server):
    """A cluster of its own in a directory of its own, reached at a port of its own."""

    def __init__(self, directory: Path, *, sync: bool) -> None:
        user = throwaway._server_user()
        directory.mkdir(mode=0o700)
        if user:
            os.chown(directory, user.pw_uid, user.pw_gid)
        super().__init__(throwaway._binaries(), directory, user)
        self.port = free_port()
        # A killed process loses nothing that it gave to the system; a power cut would.
        self._sync = "" if sync else " -c fsync=off"
        self.data = directory / "data"

    def create(self) -> None:
        """Do what installing Debian's package does, then the two files of the paper."""
        initdb = ["initdb", "-D", str(self.data), "-U", "postgres", "-E", "UTF8"]
        self._require([*initdb, "-A", "trust", "--no-sync"])
        words = {f"'localhost,{FIRST}'": f"'{HERE}'"}
        both = replaced(blocks()["both"], **words)
        hba = replaced(blocks()["hba"], **{"10.0.0.0/24": f"{HERE}/32"})
        with (self.data / "postgresql.conf").open("a", encoding="utf-8") as conf:
            conf.write(f"\nport = {self.port}\n")
            conf.write(f"unix_socket_directories = '{self.directory}'\n{both}")
        (self.data / "pg_hba.conf").write_text(f"local all all trust\n{hba}", "utf-8")

    def start(self) -> None:
        """Start it and wait until it can be asked."""
        log = str(self.directory / "server.log")
        # Debian keeps the port outside of the data; a copied cluster has another's.
        options = f"-p {self.port} -k {self.directory}{self._sync}"
        self._require(
            ["pg_ctl", "-D", str(self.data), "-l", log, "-w", "-o", options, "start"]
        )

    def kill(self) -> None:
        """End it as a lost machine ends: no goodbye, connections cut off."""
        code = self._call(["pg_ctl", "-D", str(self.data), "-m", "immediate", "stop"])
        assert code == 0

    def type(self, block: str, **words: str) -> None:
        """Type the lines of a block of the paper into the shell of this machine."""
        text = replaced(blocks()[block], **{DEBIAN: str(self.data), **words})
        for line in text.splitlines():
            self._carry_out(shlex.split(line))

    def _carry_out(self, command: list[str]) -> None:
        if command[:3] == ["sudo", "-u", "postgres"]:
            command = command[3:]
        if command[0] == "pg_ctlcluster":
            # A cluster that was killed is stopped already.
            {"start": self.start, "stop": self.stop}[command[3]]()
        elif command[0] == "mv":
            Path(command[1]).rename(command[2])
        else:
            assert command[0] == "pg_basebackup", command
            self._require(command)

    def sql(self, block: str) -> None:
        """Type a block of the paper into psql of this machine."""
        for statement in filter(str.strip, blocks()[block].split(";\n")):
            self.ask(statement)

    def ask(self, statement: str, database: str = "postgres") -> Any:
        """Return the first row of an answer, asked as the server's own user."""
        where = f"host={self.directory} port={self.port} user=postgres"
        where = f"{where} dbname={database}"
        with psycopg.connect(where, autocommit=True) as connection:
            cursor = connection.execute(statement.encode())
            return cursor.fetchone() if cursor.description else None


class Pair:
    """Both machines, and the addresses by which the program reaches them."""

    def __init__(self, first: Machine, second: Machine) -> None:
        self.first, self.second = first, second
        self.primary, self.standby = first, second

    def change_places(self) -> None:
        """Note that the second is the primary from now on, or the first again."""
        self.primary, self.standby = self.standby, self.primary

    @property
    def places(self) -> dict[str, str]:
        """What stands in the paper for where each is."""
        return {
            f"{FIRST}:5432": f"{HERE}:{self.first.port}",
            f"{SECOND}:5432": f"{HERE}:{self.second.port}",
        }

    def environment(self) -> dict[str, str]:
        """Return what the block “serve” exports."""
        *exports, served = replaced(blocks()["serve"], **self.places).splitlines()
        assert served == "python3 manage.py serve"
        said = [shlex.split(line) for line in exports]
        assert all(words[0] == "export" for words in said)
        return dict(words[1].split("=", 1) for words in said)

    def make_standby(self, of: Machine, this: Machine) -> None:
        """Make one machine the standby of the other, by the paper."""
        where = f"host={FIRST} port=5432"
        this.type("standby", **{where: f"host={HERE} port={of.port}"})
        of.sql("wait")


@contextlib.contextmanager
def places(*, sync: bool) -> Iterator[Pair]:
    """Yield room for two machines, which are gone afterwards.

    ``sync`` says whether they wait for the disk, as real ones do.
    """
    user = throwaway._server_user()
    with tempfile.TemporaryDirectory(
        prefix="kettlebook-two-", dir=throwaway._place(user)
    ) as name:
        Path(name).chmod(0o711)
        made = Pair(
            Machine(Path(name) / "first", sync=sync),
            Machine(Path(name) / "second", sync=sync),
        )
        try:
            yield made
        finally:
            for machine in (made.first, made.second):
                machine.stop()


@contextlib.contextmanager
def pair() -> Iterator[Pair]:
    """Set two machines up by the paper; they are gone afterwards."""
    with places(sync=False) as made:
        for machine in (made.first, made.second):
            machine.create()
            machine.start()
        made.first.sql("primary")
        made.make_standby(made.first, made.second)
        yield made


@contextlib.contextmanager
def premises(two: Pair, directory: Path) -> Iterator[Kitchen]:
    """Build a small premises on two machines."""
    environment = {
        name: value
        for name, value in os.environ.items()
        if not name.startswith(("KETTLEBOOK_", "PYTEST_", "DATABASE_"))
    }
    environment |= two.environment()
    environment |= {
        "KETTLEBOOK_DATA": str(directory),
        "DJANGO_SETTINGS_MODULE": "producer.settings",
    }
    done = subprocess.run(
        [sys.executable, "-m", "tests.machines"],
        cwd=ROOT,
        env=environment,
        capture_output=True,
        text=True,
        check=False,
        timeout=3 * PATIENCE,
    )
    assert done.returncode == 0, done.stderr
    yield Kitchen(environment, json.loads(done.stdout.splitlines()[-1]))


def _build() -> dict[str, str]:
    """Write the records; return what a test needs to know."""
    from batches.models import Batch  # noqa: PLC0415 - after setup
    from producer import serving  # noqa: PLC0415
    from tests import leaving, make  # noqa: PLC0415

    serving.prepare()
    owner = make.set_up()
    crew = make.Crew(
        make.account(by=owner, name="Mirja Aalto", rights=["maker"]),
        make.account(by=owner, name="Rasmus Lind", rights=["reviewer"]),
    )
    bottle = leaving.bottles(crew)[0]
    paste = Batch.objects.exclude(pk=bottle.filling_lot.batch_id).get()
    pot = make.open_batch(crew, paste.formula_version)
    water = make.released_lot(crew, make.water(crew.maker))
    make.charge(crew, pot, water.stock, 400_000)
    return {
        "password": make.PASSWORD,
        "maker": crew.maker.username,
        "reviewer": crew.reviewer.username,
        "bottle": bottle.code,
        "filled": bottle.filling_lot.batch.number,
        "paste": paste.number,
        "pot": pot.number,
    }


if __name__ == "__main__":
    import django

    django.setup()
    sys.stdout.write(json.dumps(_build()) + "\n")
