"""The public page of a bottle beside an empty view, few bottles beside two million.

The peer is what ``django-admin startproject`` makes, with one view that returns a few
words, its own middleware and DEBUG off. Both are served the same way: waitress as
``manage.py serve`` starts it, in a process of its own, asked by one client over a
connection that stays open, in turns: one request after the other, so what is compared
is the time of a page as a client has it. Five hundred bottles are asked for, of as many
filling lots as there are; each was looked at once before. Ours is as it is shipped: the
checks of the host, the security headers, the question for the bottle, the counting of
the scan, and what it keeps for itself for a few seconds.

The bottles are filled a lot at a time by SQL into an SQLite file, so that the memory of
the generator does not grow with them; product and label text are made by the services.
"""

from __future__ import annotations

import contextlib
import http.client
import itertools
import json
import os
import random
import socket
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import textwrap
import time
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

from producer.codes import new_bottle_code
from tests.benchmarks import Row

FEW, MANY = 20_000, 2_000_000  # bottles
A_LOT = 2000  # bottles of one filling, as many as one may have
REQUESTS = 1500  # of one turn
TURNS = 5
ASKED = 500  # different bottles
GOAL_RATE = 1 / 4
GOAL_GROWTH = 1.5
FILE = "records.sqlite3"
HERE = "127.0.0.1"
PATIENCE = 120  # seconds until a server answers
ROOT = Path(__file__).resolve().parents[2]

EMPTY_VIEW = """
from django.http import HttpResponse
from django.urls import path
urlpatterns = [path("b/<str:code>/", lambda request, code: HttpResponse("Nothing."))]
"""
SERVE = """
import sys
from waitress import serve
sys.path.insert(0, {where!r})
from {wsgi} import application
serve(application, host={host!r}, port={port}, threads=8, ident=None)
"""
BUILD = (
    "import django; django.setup(); from tests.benchmarks import pages;"
    " pages.build({bottles})"
)


class Served(NamedTuple):
    """A server of this host: its port and its process."""

    port: int
    pid: int


def rows() -> Iterator[Row]:
    """Measure the page beside the empty view, and beside itself with few bottles."""
    with tempfile.TemporaryDirectory(prefix="kettlebook-pages-") as name:
        directory = Path(name)
        few, many = (_built(directory / str(n), n) for n in (FEW, MANY))
        with (
            served(_ours(directory / str(FEW)), str(ROOT), "producer.wsgi") as at_few,
            served(_ours(directory / str(MANY)), str(ROOT), "producer.wsgi") as at_many,
            served(*_empty_project(directory)) as at_empty,
        ):
            for server, codes in ((at_few, few), (at_many, many), (at_empty, few)):
                page_times(server, codes)  # the first look at each is not what is asked
            taken: dict[str, list[float]] = {"few": [], "many": [], "empty": []}
            for _ in range(TURNS):
                taken["few"] += page_times(at_few, few)
                taken["many"] += page_times(at_many, many)
                taken["empty"] += page_times(at_empty, few)
    ours, peer = _rate(taken["many"]), _rate(taken["empty"])
    yield Row(
        f"bottle pages a second with {MANY:,} bottles; peer: an empty Django view",
        ours,
        peer,
        f"ratio ≥ {GOAL_RATE}",
        ours >= GOAL_RATE * peer,
    )
    slow, quick = _p95(taken["many"]), _p95(taken["few"])
    yield Row(
        f"p95 of the page in ms with {MANY:,} bottles; peer: with {FEW:,}",
        slow * 1000,
        quick * 1000,
        f"ratio ≤ {GOAL_GROWTH}: flat",
        slow <= GOAL_GROWTH * quick,
    )


def _rate(times: list[float]) -> float:
    """Return pages a second by the median, which one hiccup does not move."""
    return 1 / statistics.median(times)


def _p95(times: list[float]) -> float:
    return statistics.quantiles(times, n=20)[-1]


def page_times(server: Served, codes: list[str]) -> list[float]:
    """Return how many seconds each of the pages took, over a connection kept open."""
    connection = http.client.HTTPConnection(HERE, server.port, timeout=PATIENCE)
    connection.connect()
    connection.sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    times = []
    for code in itertools.islice(itertools.cycle(codes), REQUESTS):
        start = time.perf_counter()
        connection.request("GET", f"/b/{code}/")
        answer = connection.getresponse()
        body = answer.read()
        times.append(time.perf_counter() - start)
        if answer.status != http.HTTPStatus.OK or not body:
            raise AssertionError((answer.status, code))
    connection.close()
    return times


# ------------------------------------------------------------------ the two servers


def _ours(directory: Path) -> dict[str, str]:
    return _environment(directory, "producer.settings")


def _environment(directory: Path, settings: str) -> dict[str, str]:
    environment = {
        **os.environ,
        "KETTLEBOOK_DATA": str(directory),
        "DJANGO_SETTINGS_MODULE": settings,
        "PYTHONPATH": str(ROOT),
    }
    for name in ("DATABASE_URL", "KETTLEBOOK_URL", "KETTLEBOOK_DEBUG"):
        environment.pop(name, None)
    return environment


def _empty_project(directory: Path) -> tuple[dict[str, str], str, str]:
    """Make a project as Django makes one, with one empty view and DEBUG off."""
    subprocess.run(  # noqa: S603 - our own program
        [sys.executable, "-m", "django", "startproject", "empty", str(directory)],
        env={k: v for k, v in os.environ.items() if k != "DJANGO_SETTINGS_MODULE"},
        check=True,
    )
    (directory / "empty" / "urls.py").write_text(EMPTY_VIEW, encoding="utf-8")
    settings = directory / "empty" / "settings.py"
    made = settings.read_text(encoding="utf-8")
    made = made.replace("DEBUG = True", "DEBUG = False")
    made = made.replace("ALLOWED_HOSTS = []", f"ALLOWED_HOSTS = [{HERE!r}]")
    settings.write_text(made, encoding="utf-8")
    return _environment(directory, "empty.settings"), str(directory), "empty.wsgi"


@contextlib.contextmanager
def served(environment: dict[str, str], where: str, wsgi: str) -> Iterator[Served]:
    """Serve a project until it is left; yield how it is reached."""
    with socket.socket() as probe:
        probe.bind((HERE, 0))
        port: int = probe.getsockname()[1]
    program = SERVE.format(where=where, wsgi=wsgi, host=HERE, port=port)
    with subprocess.Popen(  # noqa: S603 - our own program
        [sys.executable, "-c", program], env=environment, stderr=subprocess.DEVNULL
    ) as server:
        try:
            _wait_for(port, server)
            yield Served(port, server.pid)
        finally:
            server.terminate()


def _wait_for(port: int, server: subprocess.Popen[bytes]) -> None:
    end = time.monotonic() + PATIENCE
    while time.monotonic() < end:
        if server.poll() is not None:
            raise AssertionError(f"The server ended with {server.returncode}.")
        with contextlib.suppress(OSError), socket.create_connection((HERE, port), 1):
            return
        time.sleep(0.1)
    raise AssertionError("The server does not answer.")


# ------------------------------------------------------------------ the bottles


def _built(directory: Path, bottles: int) -> list[str]:
    """Build a premises with so many bottles; return the codes of some of them."""
    directory.mkdir()
    done = subprocess.run(  # noqa: S603 - our own program
        [sys.executable, "-c", BUILD.format(bottles=bottles)],
        env=_ours(directory),
        stdout=subprocess.PIPE,
        text=True,
        check=True,
    )
    codes: list[str] = json.loads(done.stdout.splitlines()[-1])
    return codes


def build(bottles: int) -> None:
    """Fill so many bottles into the records; print the codes of some."""
    from django.conf import settings  # noqa: PLC0415
    from django.core.management import call_command  # noqa: PLC0415

    from tests import label_texts, make  # noqa: PLC0415

    call_command("migrate", verbosity=0, interactive=False)
    call_command("collectstatic", verbosity=0, interactive=False)
    owner = make.set_up()
    crew = make.Crew(
        make.account(by=owner, name="Mirja Aalto", rights=["maker"]),
        make.account(by=owner, name="Rasmus Lind", rights=["reviewer"]),
    )
    version = make.liquid_version(crew)
    for language in ("en", "de"):
        label_texts.approved(
            crew, version.formula, language, cautions="Wear gloves.", doses=True
        )
    lot = make.filled(crew, make.released_liquid(crew, version))
    file = sqlite3.connect(Path(settings.DATA_DIR) / FILE)
    chosen = random.Random(1)  # noqa: S311 - the same bottles in each run
    some: list[str] = []
    for number in range(bottles // A_LOT):
        codes = _fill(file, lot.pk, number)
        some += chosen.sample(codes, max(1, ASKED * A_LOT // bottles))
    file.commit()
    file.close()
    print(json.dumps(chosen.sample(some, min(ASKED, len(some)))))  # noqa: T201


def _fill(file: sqlite3.Connection, pattern: int, number: int) -> list[str]:
    """Fill one lot more, like the one that was filled by the service."""
    columns = [row[1] for row in file.execute("PRAGMA table_info(batches_fillinglot)")]
    copied = ", ".join(c for c in columns if c not in {"id", "code", "count"})
    cursor = file.execute(
        textwrap.dedent(f"""
        INSERT INTO batches_fillinglot (code, count, {copied})
        SELECT ?, ?, {copied} FROM batches_fillinglot WHERE id = ?
        """),  # noqa: S608 - names of ours
        (f"F-{number}", A_LOT, pattern),
    )
    lot, codes = cursor.lastrowid, [new_bottle_code() for _ in range(A_LOT)]
    file.executemany(
        "INSERT INTO batches_bottle (filling_lot_id, number, code, status)"
        " VALUES (?, ?, ?, 'filled')",
        ((lot, place, code) for place, code in enumerate(codes, start=1)),
    )
    return codes
