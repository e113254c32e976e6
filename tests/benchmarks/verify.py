"""``verify`` over a million acts: how fast beside a plain reading, and in what memory.

The records are premises of the demo with lots received, released and drawn from by
hand of the clerk, ten acts a lot, written straight into an SQLite file. The peer reads
the same journal rows with the driver alone and takes a SHA-256 over each. Each
measurement is a process of its own, so that its memory is its own.

Signed batches are not among them: what a signature costs is measured apart, on the
whole demo, for it grows with the batches and not with the acts.
"""

from __future__ import annotations

import datetime
import hashlib
import json
import os
import resource
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from tests.benchmarks import Row

FEW, MANY = 100_000, 1_000_000  # journal rows
ACTS_A_LOT = 10
GOAL_SECONDS = 120
GOAL_MEMORY_RATIO = 1.25
FILE = "records.sqlite3"
AT = datetime.datetime(2026, 1, 1, 8, tzinfo=datetime.UTC)
SETUP = "import django; django.setup(); from tests.benchmarks import verify; verify."


def rows() -> Iterator[Row]:
    """Measure a plain reading and ``verify`` over few acts and over many."""
    few, many = _measured(FEW), _measured(MANY)
    yield Row(
        f"journal rows a second of {MANY:,}, all checks; peer: SQLite's driver and"
        " SHA-256 alone",
        MANY / many["seconds"],
        MANY / many["plain_seconds"],
        f"all of them in {GOAL_SECONDS} s",
        many["seconds"] <= GOAL_SECONDS,
    )
    yield Row(
        f"peak memory in MB with {MANY:,} journal rows; peer: the same with {FEW:,}",
        many["memory"],
        few["memory"],
        f"ratio ≤ {GOAL_MEMORY_RATIO}: bounded, whatever the number of rows",
        many["memory"] <= GOAL_MEMORY_RATIO * few["memory"],
    )
    yield Row(
        "signatures a second on the whole demo; peer: journal rows a second",
        _signatures(),
        MANY / many["seconds"],
        "none; what a batch more costs",
        holds=True,
    )


def _measured(acts: int) -> dict[str, float]:
    with tempfile.TemporaryDirectory(prefix="kettlebook-verify-") as directory:
        _run(directory, f"build({acts})")
        plain = json.loads(_run(directory, "read_plainly()"))
        ours = json.loads(_run(directory, "look()"))
    return {**ours, "plain_seconds": plain["seconds"]}


def _signatures() -> float:
    with tempfile.TemporaryDirectory(prefix="kettlebook-verify-") as directory:
        _run(directory, "tell_the_demo()")
        rate: float = json.loads(_run(directory, "look_at_signatures()"))
    return rate


def _run(directory: str, call: str) -> str:
    environment = {
        **os.environ,
        "KETTLEBOOK_DATA": directory,
        "DJANGO_SETTINGS_MODULE": "producer.settings",
    }
    environment.pop("DATABASE_URL", None)
    done = subprocess.run(  # noqa: S603 - our own program
        [sys.executable, "-c", SETUP + call],
        env=environment,
        stdout=subprocess.PIPE,
        text=True,
        check=True,
    )
    return done.stdout


def read_plainly() -> None:
    """Read the journal with the driver alone; print the seconds it took."""
    start = time.process_time()
    file = sqlite3.connect(_path())
    for row in file.execute("SELECT * FROM producer_journalentry ORDER BY sequence"):
        hashlib.sha256("\n".join(map(str, row)).encode()).hexdigest()
    print(json.dumps({"seconds": time.process_time() - start}))  # noqa: T201


def look() -> None:
    """Run ``verify``; print the seconds and the peak memory it took."""
    from django.core.management import call_command  # noqa: PLC0415

    start = time.process_time()
    call_command("verify", stdout=sys.stderr)
    seconds = time.process_time() - start
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(json.dumps({"seconds": seconds, "memory": memory}))  # noqa: T201


def look_at_signatures() -> None:
    """Check the signatures alone; print how many a second."""
    from quality.models import Signature  # noqa: PLC0415
    from quality.services import signing  # noqa: PLC0415

    start = time.process_time()
    faults = list(signing.faults())
    if faults:
        raise AssertionError(faults)
    print(json.dumps(Signature.objects.count() / (time.process_time() - start)))  # noqa: T201


def tell_the_demo(chapters: int | None = None) -> None:
    """Make the tables and tell the demo into them."""
    from django.core.management import call_command  # noqa: PLC0415

    from quality.demo import story  # noqa: PLC0415

    call_command("migrate", verbosity=0, interactive=False)
    story.tell(
        logins=_path().with_name("logins.json"),
        say=lambda _line: None,
        chapters=story.CHAPTERS[:chapters],
    )


def build(acts: int) -> None:
    """Fill the file with the registers of the demo and so many acts."""
    tell_the_demo(chapters=1)
    writer = _Writer(sqlite3.connect(_path()))
    for lot in range(acts // ACTS_A_LOT):
        writer.lot(lot)
    writer.finish()


class _Writer:
    """Writes rows as the services would, and the acts that wrote them."""

    def __init__(self, file: sqlite3.Connection) -> None:
        from producer.models import JournalHead  # noqa: PLC0415

        self.file = file
        head = JournalHead.objects.get()
        self.sequence, self.hash = head.sequence, head.hash
        self.number = 0
        self.pending: dict[str, list[dict[str, Any]]] = {}

    def lot(self, number: int) -> None:
        """Receive a lot of ten kilograms, release it, take a gram eight times."""
        from producer.models import (  # noqa: PLC0415
            LotStatusChange,
            RawLot,
            Stock,
            StockMovement,
        )

        key, left = 1000 + number, 10_000_000
        hand = {"observed_at": AT, "entered_at": AT, "entered_by_id": 1}
        stock = {"id": key, "kind": "lot", "code": f"L{key}"}
        lot = {
            "stock_id": key,
            "material_id": 1,
            "supplier_id": 1,
            "supplier_lot": "7",
            "received_on": datetime.date(2026, 1, 1),
            "expires_on": None,
            "retest_on": None,
            "place": "",
            "frozen_by": "",
        }
        gone = ACTS_A_LOT - 2
        self._add(Stock, {**stock, "on_hand_mg": left - gone * 1000})
        self._add(RawLot, {**lot, "status": "released"})
        moved = {**hand, "stock_id": key, "purpose": "", "reason": "by hand"}
        self._move(StockMovement, moved, "receipt", left, left)
        self._act("raw lot received", key)
        change = {"lot_id": key, "old": "quarantine", "new": "released", "reason": "x"}
        self._add(LotStatusChange, {"id": key, **hand, **change})
        self._act("raw lot released", key)
        for _ in range(gone):
            left -= 1000
            self._move(StockMovement, moved, "adjustment", -1000, left)
            self._act("stock adjusted", key)

    def finish(self) -> None:
        """Write what is left and the end of the chain."""
        self._flush()
        self.file.execute(
            "UPDATE producer_journalhead SET sequence = ?, hash = ?",
            (self.sequence, self.hash),
        )
        self.file.commit()
        self.file.close()

    def _move(
        self, model: Any, row: dict[str, Any], kind: str, amount: int, balance: int
    ) -> None:
        self.number += 1
        moved = {"kind": kind, "amount_mg": amount, "balance_mg": balance}
        self._add(model, {"id": self.number, **row, **moved})

    def _add(self, model: Any, row: dict[str, Any]) -> None:
        self.pending.setdefault(model._meta.db_table, []).append(row)
        self.of_act = getattr(self, "of_act", {})
        self.of_act[model] = row

    def _act(self, act: str, key: int) -> None:
        from producer.models import JournalEntry  # noqa: PLC0415
        from producer.models.journal import WRITTEN, canonical  # noqa: PLC0415
        from producer.written import columns, plain  # noqa: PLC0415

        kept = {
            model._meta.db_table: {
                "columns": columns(model),
                "rows": [[plain(name, row[name]) for name in columns(model)]],
            }
            for model, row in self.of_act.items()
        }
        self.of_act = {}
        entry = JournalEntry(
            sequence=self.sequence + 1,
            at=AT,
            actor_id=1,
            actor_name="Somebody",
            act=act,
            subject_kind="rawlot",
            subject_id=str(key),
            subject_label=f"L{key}",
            after=canonical({"status": "released", WRITTEN: kept}),
            previous_hash=self.hash,
        )
        entry.hash = entry.expected_hash()
        self.sequence, self.hash = entry.sequence, entry.hash
        row = {
            field.attname: getattr(entry, field.attname)
            for field in JournalEntry._meta.concrete_fields
        }
        self.pending.setdefault(JournalEntry._meta.db_table, []).append(row)
        if not self.sequence % 10_000:
            self._flush()

    def _flush(self) -> None:
        for table, waiting in self.pending.items():
            names = list(waiting[0])
            marks = ", ".join("?" * len(names))
            self.file.executemany(
                f"INSERT INTO {table} ({', '.join(names)}) VALUES ({marks})",  # noqa: S608
                ([_stored(row[name]) for name in names] for row in waiting),
            )
        self.pending = {}


def _stored(value: Any) -> Any:
    if isinstance(value, datetime.datetime):
        return str(value.replace(tzinfo=None))
    return value.isoformat() if isinstance(value, datetime.date) else value


def _path() -> Path:
    from django.conf import settings  # noqa: PLC0415

    return Path(settings.DATA_DIR) / FILE
