"""Look at the database as it is at one moment, while others go on writing."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator

from django.db import connection, transaction


@contextlib.contextmanager
def one_moment() -> Iterator[None]:
    """Let every query inside see the same state, and none of them change anything.

    Without it an act that ends between two checks would look like a fault. Nobody who
    writes has to wait. Inside a transaction that others have begun nothing is done.
    """
    if connection.in_atomic_block:
        yield
    elif connection.vendor == "postgresql":
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
            yield
    else:
        with connection.cursor() as cursor:
            # Django's own transactions are IMMEDIATE, which would stop all writers.
            cursor.execute("PRAGMA query_only = ON")
            cursor.execute("BEGIN DEFERRED")
            try:
                yield
            finally:
                cursor.execute("COMMIT")
                cursor.execute("PRAGMA query_only = OFF")
