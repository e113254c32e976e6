"""From SQLite to PostgreSQL: every row the same, the chain whole, signatures good.

Needs both engines at once: the one for the tests is PostgreSQL, and SQLite is a file
that other processes fill, move and look at.
"""

from __future__ import annotations

import dataclasses
import hashlib
import json
import os
import subprocess
import sys
import uuid
from pathlib import Path
from typing import Any

import psycopg
import pytest
from django.conf import settings

from tests import laid
from tests.quality.moving import NOTE

pytestmark = pytest.mark.postgresql

SCENE = (
    "import os, sys; os.environ['DJANGO_SETTINGS_MODULE'] = 'tests.settings';"
    "import django; django.setup();"
    "from tests.quality import moving; moving.main(sys.argv[1])"
)


@dataclasses.dataclass(frozen=True)
class Places:
    """A directory with records in SQLite, and a server with room for more."""

    data: Path
    server: str

    def made(self, like: str = "template1") -> str:
        """Make a database, empty or like one at an address; return its address."""
        name = f"moved_{uuid.uuid4().hex}"
        template = like.rpartition("/")[2]
        with psycopg.connect(self.server, autocommit=True) as admin:
            admin.execute(f'CREATE DATABASE "{name}" TEMPLATE "{template}"'.encode())
        return f"{self.server.rpartition('/')[0]}/{name}"

    def run(
        self, *words: str, url: str = "", data: Path | None = None
    ) -> subprocess.CompletedProcess[str]:
        """Run a program of ours on one of the two."""
        environment = {**os.environ, "KETTLEBOOK_DATA": str(data or self.data)}
        environment.pop("DATABASE_URL", None)
        environment.pop("DJANGO_SETTINGS_MODULE", None)
        if url:
            environment["DATABASE_URL"] = url
        return subprocess.run(  # noqa: S603 - ourselves
            [sys.executable, *words],
            cwd=settings.BASE_DIR,
            env=environment,
            capture_output=True,
            text=True,
            check=False,
            timeout=200,
        )

    def told(self, what: str, url: str = "", data: Path | None = None) -> Any:
        """Run one of the scenes of ``moving``, and return what it tells."""
        done = self.run("-c", SCENE, what, url=url, data=data)
        assert done.returncode == 0, done.stderr
        return json.loads(done.stdout)

    def transfer(
        self, to: str, url: str = "", data: Path | None = None
    ) -> subprocess.CompletedProcess[str]:
        """Move the records."""
        return self.run("manage.py", "transfer", "--to", to, url=url, data=data)


@pytest.fixture(scope="module")
def server() -> str:
    """Return the address of the PostgreSQL of this run."""
    if not os.environ.get("DATABASE_URL", "").startswith("postgres"):
        pytest.skip("needs PostgreSQL beside SQLite; that part of the tests has both")
    return os.environ["DATABASE_URL"]


@pytest.fixture(scope="module")
def places(server: str, tmp_path_factory: pytest.TempPathFactory) -> Places:
    """Return a premises on SQLite; it is never changed by a test."""
    return Places(tmp_path_factory.mktemp("sqlite"), server)


@pytest.fixture(scope="module")
def before(places: Places) -> Any:
    """Return what the premises holds."""
    laid.lay(places.data / laid.NAME)
    return places.told("build")


@pytest.fixture(scope="module")
def moved(places: Places, before: Any) -> tuple[str, str]:
    """Return the address of the copy, and what the transfer said."""
    address = places.made()
    done = places.transfer(address)
    assert done.returncode == 0, done.stdout + done.stderr
    return address, done.stdout


def test_every_row_of_every_table_is_the_same_on_postgresql(
    places: Places, before: Any, moved: tuple[str, str]
) -> None:
    after = places.told("look", moved[0])
    assert after["counts"] == before["counts"]
    assert after["values"] == before["values"]
    assert after["charges"] == before["charges"]
    assert after["note"] == before["note"] == NOTE
    assert before["counts"]["batches.Charge"] > 4
    assert before["counts"]["producer.JournalEntry"] > 50
    assert any(not at.endswith("000+00:00") for *_, at in before["charges"])


def test_a_signature_made_on_sqlite_verifies_on_postgresql(
    places: Places, before: Any, moved: tuple[str, str]
) -> None:
    address, said = moved
    signature = places.told("look", address)["signature"]
    assert signature == before["signature"]
    assert signature[0] == signature[1]
    assert signature[2] == NOTE
    done = places.run("manage.py", "verify", url=address)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "No fault found." in done.stdout
    assert "No fault found." in said
    # control: one sign more in the signed record, and it verifies no longer
    forged = places.made(like=address)
    forge(forged)
    broken = places.run("manage.py", "verify", url=forged)
    assert broken.returncode == 1
    assert "signature" in broken.stdout.lower()


def forge(address: str) -> None:
    """Change the signed records behind the program's back."""
    with psycopg.connect(address) as hand:
        hand.execute("ALTER TABLE quality_signature DISABLE TRIGGER USER")
        hand.execute("UPDATE quality_signature SET record = record || ' '")
        hand.execute("ALTER TABLE quality_signature ENABLE TRIGGER USER")


def empty(address: str) -> None:
    """Leave the tables as a transfer that was broken off leaves them."""
    with psycopg.connect(address) as hand:
        rows = hand.execute(
            "SELECT tablename FROM pg_tables WHERE schemaname = 'public'"
            " AND tablename <> 'django_migrations'"
        ).fetchall()
        for (table,) in rows:
            hand.execute(f'ALTER TABLE "{table}" DISABLE TRIGGER USER'.encode())
        names = ", ".join(f'"{table}"' for (table,) in rows)
        hand.execute(f"TRUNCATE {names} CASCADE".encode())
        for (table,) in rows:
            hand.execute(f'ALTER TABLE "{table}" ENABLE TRIGGER USER'.encode())


def test_the_next_act_continues_the_chain_and_finds_the_triggers(
    places: Places, before: Any, moved: tuple[str, str]
) -> None:
    address = places.made(like=moved[0])
    after = places.told("act", address)
    assert after["faults"] == []
    assert after["head"][0] == before["head"][0] + 2
    assert after["counts"]["producer.Supplier"] == (
        before["counts"]["producer.Supplier"] + 1
    )
    assert after["counts"]["batches.Reading"] == before["counts"]["batches.Reading"] + 1
    assert after["unguarded"] == []
    with psycopg.connect(address) as look:
        row = look.execute(
            "SELECT previous_hash FROM producer_journalentry WHERE sequence = %s",
            [before["head"][0] + 1],
        ).fetchone()
    assert row == (before["head"][1],)
    done = places.run("manage.py", "verify", url=address)
    assert done.returncode == 0, done.stdout + done.stderr


def test_nothing_changes_where_the_records_come_from(
    places: Places, before: Any, moved: tuple[str, str]
) -> None:
    assert places.told("look") == before
    files = sorted(places.data.glob("uploads/*/*"))
    assert files
    assert all(
        hashlib.sha256(path.read_bytes()).hexdigest() == path.name for path in files
    )


def test_it_says_what_to_set_next_and_where_the_chain_ends(
    places: Places, before: Any, moved: tuple[str, str]
) -> None:
    _, said = moved
    assert "set DATABASE_URL" in said
    assert f"keep KETTLEBOOK_DATA as it is ({places.data}" in said
    assert f"ends at row {before['head'][0]} with {before['head'][1]}" in said


def test_a_database_with_rows_is_refused_and_keeps_them(
    places: Places, before: Any, moved: tuple[str, str]
) -> None:
    done = places.transfer(moved[0])
    assert done.returncode == 1
    assert "has rows in" in done.stderr
    after = places.told("look", moved[0])
    assert (after["values"], after["faults"]) == (before["values"], [])


def test_a_database_of_something_else_is_refused(places: Places, before: Any) -> None:
    address = places.made()
    with psycopg.connect(address) as other:
        other.execute("CREATE TABLE hens (name text)")
    done = places.transfer(address)
    assert done.returncode == 1
    assert "tables of something else: hens" in done.stderr
    with psycopg.connect(address) as other:
        tables = other.execute(
            "SELECT count(*) FROM pg_tables WHERE schemaname = 'public'"
        ).fetchone()
    assert tables == (1,)


def test_a_transfer_that_breaks_off_leaves_no_row_and_can_be_repeated(
    places: Places, before: Any, moved: tuple[str, str]
) -> None:
    address = places.made(like=moved[0])
    empty(address)
    with psycopg.connect(address) as hand:
        # The table that is filled last but one gets no room for what it is to hold.
        hand.execute(
            "ALTER TABLE quality_signature ADD CONSTRAINT full_up CHECK (id < 1)"
        )
    done = places.transfer(address)
    assert done.returncode != 0
    assert "full_up" in done.stderr
    assert "Traceback" not in done.stderr
    with psycopg.connect(address) as hand:
        kept = hand.execute("SELECT count(*) FROM producer_person").fetchone()
        hand.execute("ALTER TABLE quality_signature DROP CONSTRAINT full_up")
    assert kept == (0,)
    assert places.transfer(address).returncode == 0
    assert places.told("look", address)["values"] == before["values"]


@pytest.mark.parametrize("address", ["mysql://a@b/c", "nonsense", "hens://a/b"])
def test_an_address_of_no_such_database_is_told_in_words(
    places: Places, before: Any, address: str
) -> None:
    done = places.transfer(address)
    assert done.returncode == 1
    assert "postgres://user@host/name" in done.stderr
    assert "Traceback" not in done.stderr


def test_back_to_sqlite_is_the_same_once_more(
    places: Places, before: Any, moved: tuple[str, str], tmp_path: Path
) -> None:
    back = tmp_path / "back"
    back.mkdir()
    done = places.transfer(f"sqlite:///{back / 'records.sqlite3'}", moved[0])
    assert done.returncode == 0, done.stdout + done.stderr
    assert "leave DATABASE_URL unset" in " ".join(done.stdout.split())
    again = places.told("look", data=back)
    assert again == before
