"""Eight people draw from one stock at once: what fails, what is lost, how fast it is.

Ours are the SQLite options of ``producer.settings`` and what the stock service does: a
look at the stock, then one conditional UPDATE, in a transaction. The peers use the
options Django has when nobody sets any: once with the very same code, once the way a
value is changed in its tutorial, read and then saved.
"""

from __future__ import annotations

import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any, NamedTuple

from django.conf import settings
from django.db import OperationalError, connections, models, transaction

from producer.models import Stock
from tests.benchmarks import Row

THREADS = 8
DRAWS = 200
ALL = THREADS * DRAWS
PLENTY_MG = 10 * ALL


class Run(NamedTuple):
    """What came of it."""

    errors: int
    lost: int
    seconds: float

    @property
    def rate(self) -> float:
        """Return how many draws a second were acknowledged."""
        return (ALL - self.errors) / self.seconds


def rows() -> Iterator[Row]:
    """Measure ours and both peers on databases of their own."""
    ours = measure("ours", settings.DATABASES["default"]["OPTIONS"], draw)
    plain = measure("plain", {}, draw)
    naive = measure("naive", {}, read_then_save)
    what = f"of {ALL} draws by {THREADS} threads"
    yield Row(
        f"refused as locked, {what}; peer: same code, Django's default options",
        ours.errors,
        plain.errors,
        "0",
        ours.errors == 0,
    )
    yield Row(
        f"acknowledged and lost, {what}; peer: read, then save, by the same options",
        ours.lost,
        naive.lost,
        "0, and the peer loses some, or the measurement sees nothing",
        ours.lost == 0 < naive.lost,
    )
    yield Row(
        f"acknowledged a second, {what}; peer: same code, Django's default options",
        ours.rate,
        plain.rate,
        "ratio ≥ 1",
        ours.rate >= plain.rate,
    )


def draw(alias: str) -> None:
    """Take a milligram as the stock service does."""
    with transaction.atomic(using=alias):
        stocks = Stock.objects.using(alias)
        stock = stocks.get(pk=1)
        changed = stocks.filter(pk=stock.pk, on_hand_mg__gte=1).update(
            on_hand_mg=models.F("on_hand_mg") - 1
        )
        if not changed:
            raise AssertionError("there was plenty")


def read_then_save(alias: str) -> None:
    """Take a milligram without a thought of others."""
    stock = Stock.objects.using(alias).get(pk=1)
    stock.on_hand_mg -= 1
    stock.save(using=alias)


def measure(alias: str, options: dict[str, Any], act: Callable[[str], None]) -> Run:
    """Let all threads draw at once from a new database with these options."""
    with tempfile.TemporaryDirectory(prefix="kettlebook-") as directory:
        _open_database(alias, Path(directory), options)
        start = time.perf_counter()
        gate = threading.Barrier(THREADS)
        with ThreadPoolExecutor(THREADS) as pool:
            errors = sum(
                pool.map(lambda _: _draw_all(alias, act, gate), range(THREADS))
            )
        seconds = time.perf_counter() - start
        left = Stock.objects.using(alias).get(pk=1).on_hand_mg
        connections[alias].close()
    return Run(errors, left - (PLENTY_MG - (ALL - errors)), seconds)


def _open_database(alias: str, directory: Path, options: dict[str, Any]) -> None:
    database = {
        "ENGINE": "django.db.backends.sqlite3",
        "NAME": str(directory / "writers.sqlite3"),
        "OPTIONS": options,
    }
    known = connections.configure_settings({"default": {}, alias: database})
    connections.settings[alias] = known[alias]
    with connections[alias].schema_editor() as editor:
        editor.create_model(Stock)
    Stock.objects.using(alias).create(
        pk=1, kind=Stock.Kind.LOT, code="plenty", on_hand_mg=PLENTY_MG
    )


def _draw_all(alias: str, act: Callable[[str], None], gate: threading.Barrier) -> int:
    """Draw again and again; return how often the database was locked."""
    errors = 0
    gate.wait()
    for _ in range(DRAWS):
        try:
            act(alias)
        except OperationalError as error:
            if "locked" not in str(error):
                raise
            errors += 1
    connections[alias].close()
    return errors
