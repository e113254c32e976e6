"""A long list of one moment: what is read in pieces is as it was at the first of them.

PostgreSQL is asked for REPEATABLE READ and refuses to write meanwhile. SQLite's WAL
keeps what a transaction began to read as it was: begun DEFERRED, not IMMEDIATE as our
acts are, it takes no lock that a writer would wait for.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from typing import Any

from django.db import connections, transaction

from producer import reads

_READING = "SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY"


@contextlib.contextmanager
def one_moment() -> Iterator[None]:
    """Read everything inside as it stands at the first question asked.

    Inside a transaction that somebody else began, theirs decides what is seen. Leaving
    it, also by closing a generator that stands in it, ends the transaction.
    """
    alias = reads.alias()  # a list that is only looked at may come from the standby
    database: Any = connections[alias]
    if database.in_atomic_block:
        yield
        return
    with contextlib.ExitStack() as stack:
        with _begun_without_a_lock(database):
            stack.enter_context(transaction.atomic(using=alias))
        if database.vendor == "postgresql":
            with database.cursor() as cursor:
                cursor.execute(_READING)
        yield


@contextlib.contextmanager
def _begun_without_a_lock(database: Any) -> Iterator[None]:
    """Let SQLite's next transaction begin DEFERRED, and those after it as before."""
    database.ensure_connection()  # which reads the mode from the settings
    usual = getattr(database, "transaction_mode", None)
    try:
        database.transaction_mode = "DEFERRED"
        yield
    finally:
        database.transaction_mode = usual
