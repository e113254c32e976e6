"""Scenes on two machines, played in a process of their own, which prints JSON.

It is sent a call a line and answers a line. Each scene begins as a program that was
just started: without a connection, and without knowing whether the standby is current.
"""

from __future__ import annotations

import collections
import contextlib
import json
import sys
from collections.abc import Iterator
from typing import Any

from django.db import Error, connection, connections
from django.test import Client

from batches import trace
from batches.models import Batch, FillingLot
from producer import reads
from producer.models import Stock, Supplier, User
from producer.services import registers
from quality.services import recalling

OURS = ("batches_", "quality_")


def is_read_from_the_standby() -> None:
    """Tell whether a view that only looks would read from there."""
    with reads.looking():
        _tell(reads.alias() == reads.READS)


def commits_of_the_program() -> None:
    """Tell what an act of the program waits for."""
    with connection.cursor() as cursor:
        cursor.execute("SHOW synchronous_commit")
        _tell(cursor.fetchone()[0])


def asked(addresses: list[str], who: str) -> None:
    """Open pages; tell how many questions about our tables went where."""
    client = Client(headers={"host": "127.0.0.1"})
    if who:
        client.force_login(
            User.objects.get(username=who),
            "django.contrib.auth.backends.ModelBackend",
        )
    found = {}
    client.get(addresses[0])  # looks at both machines
    for address in addresses:
        with _watched() as questions:
            answer = client.get(address)
            if answer.streaming:
                answer.getvalue()
        if answer.status_code != 200:
            raise AssertionError((address, answer.status_code))
        found[address] = {
            **{
                alias: sum(any(name in sql for name in OURS) for sql in texts)
                for alias, texts in questions.items()
            },
            "default of any table": len(questions["default"]),
        }
    _tell(found)


def decided(who: str, code: str) -> None:
    """Carry out an act that walks the genealogy, where only looking was promised."""
    reviewer, root = User.objects.get(username=who), Stock.objects.get(code=code)
    with reads.looking():
        with _watched() as alone:
            trace.downstream_ids(root.pk)
        with _watched() as act:
            recalling.open_recall(
                by=reviewer,
                root=root,
                hazard_class="2",
                reason="We want to know how fast we are.",
                public_notice="None.",
                is_mock=True,
            )
    _tell({"walk alone": _counted(alone), "act": _counted(act)})


def written() -> None:
    """Write while only looking, read what belongs to a row, and force a write."""
    maker = User.objects.get(username="mirja.aalto")
    with reads.looking():
        batch = Batch.objects.first()
        if batch is None:
            raise AssertionError("no batch")
        with _watched() as questions:
            registers.save(
                by=maker, entry=Supplier(name=f"Supplier {Supplier.objects.count()}")
            )
    wrote = {
        alias
        for alias, texts in questions.items()
        for sql in texts
        if sql.startswith(("INSERT", "UPDATE", "DELETE"))
    }
    with _watched() as belonging:
        list(FillingLot.objects.filter(batch=batch))
        str(batch.formula_version.formula)
    (where,) = _counted(belonging)
    try:
        Supplier.objects.using(reads.READS).create(name="Nobody")
        forced = "taken"
    except Error as error:
        forced = str(error)
    _tell(
        {
            "read from": batch._state.db,
            "belonging read, outside": where,
            "saved on": sorted(wrote),
            "forced": forced,
        }
    )


@contextlib.contextmanager
def _watched() -> Iterator[dict[str, list[str]]]:
    """Yield a place where each question is noted under the database that is asked."""
    noted: dict[str, list[str]] = {"default": [], reads.READS: []}

    def note(alias: str) -> Any:
        def execute(go: Any, sql: str, params: Any, many: Any, context: Any) -> Any:
            noted[alias].append(sql)
            return go(sql, params, many, context)

        return execute

    with contextlib.ExitStack() as stack:
        for alias in noted:
            stack.enter_context(connections[alias].execute_wrapper(note(alias)))
        yield noted


def _counted(noted: dict[str, list[str]]) -> dict[str, int]:
    return collections.Counter(alias for alias, texts in noted.items() for _ in texts)


def _tell(what: Any) -> None:
    print(json.dumps(what), flush=True)  # noqa: T201


def main() -> None:
    """Play one scene after the other."""
    for line in sys.stdin:
        name, told = json.loads(line)
        reads._look.__init__()  # type: ignore[misc]
        globals()[name](*told)
        connections.close_all()
