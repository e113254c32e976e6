"""How many queries a page takes."""

from __future__ import annotations

from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext


def questions(client: Client, address: str) -> int:
    """Count the queries of a page, asked once before so that nothing is met first."""
    client.get(address)
    with CaptureQueriesContext(connection) as asked:
        assert client.get(address).status_code == 200
    return len(asked)
