"""How far one machine goes, and two: what ``producer/papers/capacity.md`` quotes.

Three arrangements with 40,000 bottles each, whose rows are made by SQL as for the
benchmark of the trace: SQLite; PostgreSQL on one machine, its disk waited for; the same
with a standby that every act waits for, on this same host, set up by our paper on two
machines. Two clusters of one host share its cores and its disk, and there is no network
between them: add the way there and back to each act.

What is measured of each: an act (a pH reading by its service, committed), the bottle
page as a visitor gets it from a server of its own, on a day without a recall and with
one, from a bottle back to its lots, the bytes that a bottle takes with all that the
services write about it until it is sent, and the memory of a server.

The peer is SQLite.
"""

from __future__ import annotations

import contextlib
import json
import os
import random
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

from tests import machines
from tests.benchmarks import Row, pages

BOTTLES = 40_000
FILLED = 48  # bottles of the filling that is measured
ACTS, WALKS, LOOKS = 200, 400, 5
PATIENCE = 900  # seconds
ROOT = Path(__file__).resolve().parents[2]
CALL = "import django; django.setup(); from tests.benchmarks import capacity; capacity."

SQLITE, ONE, TWO = "SQLite", "PostgreSQL", "PostgreSQL and a standby"
# name, unit and whether it is enough, by what the paper takes as the day of a premises
ASKED: Mapping[str, tuple[str, str, Callable[[float], bool]]] = {
    "act": ("ms an act", "≤ 250: nobody waits", lambda ms: ms <= 250),
    "page": ("bottle pages a second", "≥ 100", lambda rate: rate >= 100),
    "recall": (
        "bottle pages a second while a recall is open",
        "≥ 100",
        lambda rate: rate >= 100,
    ),
    "back": ("ms from a bottle back to its lots", "≤ 10", lambda ms: ms <= 10),
    "bytes": (
        f"bytes a bottle, of {FILLED} filled from a batch of their own",
        "≤ 20,000: 5 million in 100 GB",
        lambda n: n <= 20_000,
    ),
    "memory": ("MB of memory of a server", "≤ 500", lambda mb: mb <= 500),
}

Found = dict[str, float]


def rows() -> Iterator[Row]:
    """Measure the three arrangements, one after the other."""
    with tempfile.TemporaryDirectory(prefix="kettlebook-capacity-") as name:
        plain = _surroundings(Path(name) / "sqlite")
        _run(plain, "build()")
        lite = {**_filling(plain), **_measured(plain), **_recalled(plain)}
        yield from _compared(SQLITE, lite, lite)
        with _machines() as two:
            urls = two.environment()
            directory = Path(name) / "postgresql"
            alone = _surroundings(directory, DATABASE_URL=urls["DATABASE_URL"])
            both = _surroundings(directory, **urls)
            _run(alone, "build()")
            one = {**_filling(alone), **_measured(alone)}
            two.second.create()
            two.second.start()
            two.make_standby(two.first, two.second)
            pair = {**_measured(both), **_recalled(both)}
            # Only pages are asked for, of the primary alone.
            yield from _compared(ONE, {**one, "recall": _served(alone)["page"]}, lite)
            yield from _compared(TWO, pair, lite)


def _compared(what: str, found: Found, lite: Found) -> Iterator[Row]:
    # A bottle takes the same on each of two machines, and is not measured again.
    for name in found:
        (unit, goal, is_enough), value = ASKED[name], found[name]
        yield Row(
            f"{what}: {unit}; peer: SQLite", value, lite[name], goal, is_enough(value)
        )


def _surroundings(directory: Path, **urls: str) -> dict[str, str]:
    directory.mkdir(exist_ok=True)
    environment = {
        name: value
        for name, value in os.environ.items()
        if not name.startswith(("KETTLEBOOK_", "DATABASE_"))
    }
    return environment | {
        "KETTLEBOOK_DATA": str(directory),
        "DJANGO_SETTINGS_MODULE": "producer.settings",
        "PYTHONPATH": str(ROOT),
        **urls,
    }


@contextlib.contextmanager
def _machines() -> Iterator[machines.Pair]:
    """Yield two machines of which the second is not set up yet."""
    with machines.places(sync=True) as made:
        made.first.create()
        made.first.start()
        made.first.sql("primary")
        yield made


def _filling(environment: dict[str, str]) -> Found:
    found: Found = json.loads(_run(environment, "bottle()"))
    return found


def _measured(environment: dict[str, str]) -> Found:
    found: Found = json.loads(_run(environment, "measure()"))
    return {**found, **_served(environment)}


def _recalled(environment: dict[str, str]) -> Found:
    """Open a recall; return what a page takes from now on."""
    _run(environment, "recall()")
    return {"recall": _served(environment)["page"]}


def _served(environment: dict[str, str]) -> Found:
    codes: list[str] = json.loads(_run(environment, "codes()"))
    with pages.served(environment, str(ROOT), "producer.wsgi") as server:
        pages.page_times(server, codes)  # the first look is not what is asked
        times = [one for _ in range(LOOKS) for one in pages.page_times(server, codes)]
        return {"page": 1 / statistics.median(times), "memory": _memory_of(server.pid)}


def _memory_of(pid: int) -> float:
    lines = Path(f"/proc/{pid}/status").read_text("utf-8").splitlines()
    (line,) = (line for line in lines if line.startswith("VmRSS:"))
    return int(line.split()[1]) / 1024


def _run(environment: dict[str, str], call: str) -> str:
    done = subprocess.run(  # noqa: S603 - our own program
        [sys.executable, "-c", CALL + call],
        env=environment,
        stdout=subprocess.PIPE,
        text=True,
        check=True,
        timeout=PATIENCE,
    )
    return (done.stdout.splitlines() or [""])[-1]


# ------------------------------------------------------------------ the other side


def build() -> None:
    """Fill the bottles into the records of the settings."""
    from django.core.management import call_command  # noqa: PLC0415
    from django.db import connection  # noqa: PLC0415

    from quality.management.commands import transfer  # noqa: PLC0415
    from tests.benchmarks import trace  # noqa: PLC0415

    call_command("collectstatic", verbosity=0, interactive=False)
    trace.build(BOTTLES)
    transfer.reset_sequences(connection)


def measure() -> None:
    """Tell milliseconds of an act and of a walk."""
    from batches.models import Bottle  # noqa: PLC0415
    from batches.trace import upstream_of_bottle  # noqa: PLC0415
    from tests import make  # noqa: PLC0415

    crew = _crew()
    pot = make.open_batch(crew)
    water = make.released_lot(crew, make.water(crew.maker))
    make.charge(crew, pot, water.stock, 400_000)
    act = _median(lambda _: make.read_ph(crew, pot), range(ACTS))

    chosen = random.Random(1)  # noqa: S311 - the same in each run
    numbers = chosen.sample(range(BOTTLES // 10, BOTTLES), WALKS)
    known = Bottle.objects.filter(pk__in=numbers).values_list("code", flat=True)
    back = _median(upstream_of_bottle, list(known))
    _tell({"act": act * 1000, "back": back * 1000})


def bottle() -> None:
    """Tell the bytes of a bottle, with its share of the batches that it is of."""
    from tests import leaving  # noqa: PLC0415

    crew = _crew()
    leaving.sent(crew, _filled(crew))  # tables and texts that are there once
    before = _size()
    leaving.sent(crew, _filled(crew))
    _tell({"bytes": (_size() - before) / FILLED})


def codes() -> None:
    """Tell the codes of bottles that the services filled, which are real ones."""
    from batches.models import Bottle  # noqa: PLC0415

    newest = Bottle.objects.order_by("-pk").values_list("code", flat=True)
    _tell(list(newest[:FILLED]))


def recall() -> None:
    """Recall a lot that is in nothing: from now on every bottle page walks."""
    from quality.services import recalling  # noqa: PLC0415
    from tests import make  # noqa: PLC0415

    crew = _crew()
    lot = make.released_lot(crew, make.coconut(crew.maker))
    recalling.open_recall(
        by=crew.reviewer,
        root=lot.stock,
        hazard_class="3",
        reason="It smells of something else.",
        public_notice="Keep it closed.",
    )


def _filled(crew: Any) -> Any:
    """Make a paste and a liquid, fill it, label, weigh and release the bottles."""
    from tests import leaving, make  # noqa: PLC0415

    water = make.released_lot(crew, make.water(crew.maker))
    paste = make.released_paste(crew, basis_mg=1_500_000)
    liquid = make.cooked_batch(
        crew,
        make.liquid_version(crew),
        sources={"batch": paste.stock, "water": water.stock},
        basis_mg=2_000_000,
        share="0.99",
    )
    make.signed(crew.reviewer, liquid, "release")
    liquid = make.fresh(liquid)
    return leaving.bottles(crew, liquid, nominal_ul=100_000, count=FILLED)


def _crew() -> Any:
    from producer.models import User  # noqa: PLC0415
    from tests import make  # noqa: PLC0415

    by_name = {user.person.name: user for user in User.objects.all()}
    return make.Crew(by_name["Mirja Aalto"], by_name["Rasmus Lind"])


def _size() -> float:
    """Return the bytes that the records take, in whole pages of the database."""
    from django.db import connection  # noqa: PLC0415

    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute(
                "SELECT (page_count - freelist_count) * page_size FROM"
                " pragma_page_count, pragma_freelist_count, pragma_page_size"
            )
        else:
            cursor.execute("SELECT pg_database_size(current_database())")
        return float(cursor.fetchone()[0])


def _median(ask: Callable[[Any], Any], asked: Any) -> float:
    times = []
    for one in asked:
        start = time.perf_counter()
        ask(one)
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def _tell(what: Any) -> None:
    print(json.dumps(what))  # noqa: T201
