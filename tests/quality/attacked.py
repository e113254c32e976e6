"""A premises in an SQLite file, and a hand behind the program that changes the file."""

from __future__ import annotations

import contextlib
import datetime
import io
import json
import os
import sqlite3
import subprocess
import sys
import uuid
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from django.conf import settings

from producer.models.journal import FIRST_HASH, JournalEntry

CHAPTERS = 4
FILE = "records.sqlite3"
JOURNAL = "producer_journalentry"
SETUP = "import django; django.setup(); from tests.quality import attacked; "
BUILD = f"{SETUP}attacked.build()"
VERIFY = f"{SETUP}import pathlib, sys; attacked.verify_all(pathlib.Path(sys.argv[1]))"


def run(directory: Path, *words: str) -> subprocess.CompletedProcess[str]:
    """Run a program of ours over the records of this directory."""
    environment = {
        **os.environ,
        "KETTLEBOOK_DATA": str(directory),
        "DJANGO_SETTINGS_MODULE": "producer.settings",
    }
    environment.pop("DATABASE_URL", None)
    return subprocess.run(  # noqa: S603 - our own program
        [sys.executable, *words],
        cwd=settings.BASE_DIR,
        env=environment,
        capture_output=True,
        text=True,
        check=False,
        timeout=600,
    )


def build() -> None:
    """Tell the first chapters: lots, cooks, a rework, a dilution, bottles sold."""
    from quality.demo import story  # noqa: PLC0415

    story.tell(
        logins=Path(settings.DATA_DIR) / "logins.json",
        say=lambda _line: None,
        chapters=story.CHAPTERS[:CHAPTERS],
    )


class Hand:
    """Somebody with the file, SQLite and time."""

    def __init__(self, directory: Path) -> None:
        self.directory = directory
        # Without the switches of the program: no foreign keys, REPLACE passes.
        self.file = sqlite3.connect(directory / FILE)
        self.file.execute("PRAGMA ignore_check_constraints = ON")

    def one(self, sql: str, *values: Any) -> Any:
        """Return the first value of the first row."""
        return self.file.execute(sql, values).fetchone()[0]

    def do(self, sql: str, *values: Any) -> None:
        """Change something; it must change at least one row."""
        assert self.file.execute(sql, values).rowcount > 0, sql

    @contextlib.contextmanager
    def unwatched(self) -> Iterator[None]:
        """Take all triggers away, and put them back as they were."""
        rows = "SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"
        triggers = self.file.execute(rows).fetchall()
        for name, _ in triggers:
            self.file.execute(f'DROP TRIGGER "{name}"')
        yield
        for _, sql in triggers:
            self.file.execute(sql)

    def change(self, table: str, key: int, column: str, value: Any) -> None:
        """Set one column of one row, without a trace at the triggers."""
        pk = self.key_of(table)
        with self.unwatched():
            self.do(f'UPDATE {table} SET "{column}" = ? WHERE "{pk}" = ?', value, key)  # noqa: S608

    def key_of(self, table: str) -> str:
        """Return the name of the primary key."""
        info = f"SELECT name FROM pragma_table_info('{table}') WHERE pk"  # noqa: S608
        name: str = self.one(info)
        return name

    def entries(self) -> list[JournalEntry]:
        """Return the journal as the program would read it."""
        cursor = self.file.execute(f"SELECT * FROM {JOURNAL} ORDER BY sequence")  # noqa: S608
        names = [column[0] for column in cursor.description]
        return [_entry(dict(zip(names, row, strict=True))) for row in cursor]

    def write_anew(self, entries: list[JournalEntry]) -> None:
        """Write these as the whole journal, with numbers and hashes that fit."""
        previous = FIRST_HASH
        with self.unwatched():
            self.do(f"DELETE FROM {JOURNAL}")  # noqa: S608
            for sequence, entry in enumerate(entries, start=1):
                entry.sequence, entry.previous_hash = sequence, previous
                entry.hash = previous = entry.expected_hash()
                self.put(entry)
            self.set_head(len(entries), previous)

    def put(self, entry: JournalEntry) -> None:
        """Add one journal row as it is."""
        values = {
            field.attname: getattr(entry, field.attname)
            for field in JournalEntry._meta.concrete_fields
        }
        values["at"] = f"{entry.at.replace(tzinfo=None)}"
        values["submission"] = entry.submission.hex if entry.submission else None
        marks = ", ".join("?" * len(values))
        self.do(
            f"INSERT INTO {JOURNAL} ({', '.join(values)}) VALUES ({marks})",  # noqa: S608
            *values.values(),
        )

    def set_head(self, sequence: int, digest: str) -> None:
        """Say where the journal ends."""
        self.do(
            "UPDATE producer_journalhead SET sequence = ?, hash = ?", sequence, digest
        )

    def done(self) -> None:
        """Leave the file."""
        self.file.commit()
        self.file.close()


def _entry(row: dict[str, Any]) -> JournalEntry:
    at = datetime.datetime.fromisoformat(row.pop("at")).replace(tzinfo=datetime.UTC)
    submission = row.pop("submission")
    form = uuid.UUID(hex=submission) if submission else None
    return JournalEntry(**row, at=at, submission=form)


def verify_all(top: Path) -> None:
    """Verify the records in each directory below; print what came of it as JSON."""
    from django.core.management import CommandError, call_command  # noqa: PLC0415
    from django.db import connection  # noqa: PLC0415
    from django.test import override_settings  # noqa: PLC0415

    found = {}
    for place in sorted(top.iterdir()):
        connection.close()
        connection.settings_dict["NAME"] = str(place / FILE)
        said = io.StringIO()
        with override_settings(MEDIA_ROOT=place / "uploads"):
            try:
                call_command("verify", stdout=said)
                code = 0
            except CommandError as error:
                code = error.returncode
        found[place.name] = (code, said.getvalue())
    sys.stdout.write(json.dumps(found))
