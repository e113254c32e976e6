"""The real server in a process of its own, on records of its own, to be killed.

What is served is what ``manage.py serve`` serves, by the settings of the premises and
not by those of the tests: SQLite in WAL mode with synchronous FULL, or a database of
its own on the PostgreSQL that the suite was given. A :class:`Kitchen` has the records,
a :class:`Server` is the process, a :class:`Person` speaks HTTP to it.

Run as a module in the kitchen's surroundings it is the other side: ``build`` writes the
records of a small premises, ``lives`` forks a server for each line that it is sent. A
fork is what makes twenty lives cheap; each opens its own connections.
"""

from __future__ import annotations

import contextlib
import dataclasses
import http.client
import http.cookiejar
import json
import os
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.parse
import urllib.request
import uuid
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import IO

from tests import laid
from tests.doors.pages import Page

ROOT = Path(__file__).resolve().parent.parent
PATIENCE = 60  # seconds: eight helpers at once make a slow machine
HERE = "127.0.0.1"
RACES = 4  # lots that hold the last 40 g


@dataclasses.dataclass(frozen=True)
class Kitchen:
    """Records of their own, and how to run the program on them."""

    environment: Mapping[str, str]
    facts: Mapping[str, str]

    def run(self, *words: str) -> str:
        """Run a command of manage.py on the records; return what it said."""
        done = subprocess.run(  # noqa: S603 - our own program
            [sys.executable, "manage.py", *words],
            cwd=ROOT,
            env=dict(self.environment),
            capture_output=True,
            text=True,
            check=False,
            timeout=PATIENCE,
        )
        assert done.returncode == 0, done.stdout + done.stderr
        return done.stdout

    def ask(self, code: str) -> str:
        """Run Python with Django set up on the records; return what it printed."""
        done = subprocess.run(  # noqa: S603 - our own program
            [sys.executable, "-c", f"import django; django.setup()\n{code}"],
            cwd=ROOT,
            env=dict(self.environment),
            capture_output=True,
            text=True,
            check=False,
            timeout=PATIENCE,
        )
        assert done.returncode == 0, done.stdout + done.stderr
        return done.stdout.strip()


@contextlib.contextmanager
def kitchen(directory: Path) -> Iterator[Kitchen]:
    """Build a small premises in a directory; what was made outside of it goes again."""
    environment = {
        name: value
        for name, value in os.environ.items()
        if not name.startswith(("KETTLEBOOK_", "PYTEST_", "DATABASE_"))
    }
    environment |= {
        "KETTLEBOOK_DATA": str(directory),
        "DJANGO_SETTINGS_MODULE": "producer.settings",
    }
    with contextlib.ExitStack() as stack:
        if os.environ.get("DATABASE_URL"):
            address = stack.enter_context(_database_of_its_own())
            environment["DATABASE_URL"] = address
        else:
            laid.lay(directory / laid.NAME)
        done = subprocess.run(
            [sys.executable, "-m", "tests.real_server", "build"],
            cwd=ROOT,
            env=environment,
            capture_output=True,
            text=True,
            check=False,
            timeout=2 * PATIENCE,
        )
        assert done.returncode == 0, done.stderr
        yield Kitchen(environment, json.loads(done.stdout.splitlines()[-1]))


@contextlib.contextmanager
def _database_of_its_own() -> Iterator[str]:
    """Make a database on the PostgreSQL of this run, and drop it afterwards."""
    import psycopg  # noqa: PLC0415 - only where there is one

    address = os.environ["DATABASE_URL"]
    name = f"kitchen_{uuid.uuid4().hex}"
    with psycopg.connect(address, autocommit=True) as connection:
        connection.execute(f'CREATE DATABASE "{name}"')
        try:
            yield address.rpartition("/")[0] + "/" + name
        finally:
            connection.execute(f'DROP DATABASE "{name}" WITH (FORCE)')


def free_port() -> int:
    """Return a port that nobody listens on."""
    with socket.socket() as probe:
        probe.bind((HERE, 0))
        port: int = probe.getsockname()[1]
    return port


# ------------------------------------------------------------------ the process


class Server:
    """One life after the other of the server, each ended by a kill."""

    def __init__(self, kitchen: Kitchen) -> None:
        self.port = free_port()
        self.url = f"http://{HERE}:{self.port}"
        self._kitchen = kitchen
        self._process: subprocess.Popen[str] | None = None

    def start(self) -> None:
        """Start “manage.py serve” and wait until it answers."""
        self._process = subprocess.Popen(  # noqa: S603 - our own program
            [sys.executable, "manage.py", "serve", "--port", str(self.port)],
            cwd=ROOT,
            env={**self._kitchen.environment, "KETTLEBOOK_URL": self.url},
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            text=True,
        )
        wait_for(self.port)

    def kill(self) -> None:
        """Kill it as a power cut does: nothing is told, nothing is tidied up."""
        assert self._process is not None
        self._process.send_signal(signal.SIGKILL)
        self._process.wait(PATIENCE)


class Lives(Server):
    """A server that is born by a fork, so that many lives take little time."""

    def __init__(self, kitchen: Kitchen) -> None:
        super().__init__(kitchen)
        self._pid = 0
        self._mother = subprocess.Popen(  # noqa: S603 - ourselves
            [sys.executable, "-m", "tests.real_server", "lives", str(self.port)],
            cwd=ROOT,
            env=dict(kitchen.environment),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )

    def start(self) -> None:
        """Fork a server and wait until it answers."""
        assert not self._pid, "the last life has not ended"
        self._pid = int(self._say("start"))
        wait_for(self.port)

    def kill(self) -> None:
        """Kill it, and wait until it is gone."""
        os.kill(self._pid, signal.SIGKILL)
        assert int(self._say("gone")) == self._pid
        self._pid = 0

    def close(self) -> None:
        """End the mother, and the child that a test left behind."""
        if self._pid:
            self.kill()
        for end in (self._mother.stdin, self._mother.stdout):
            if end is not None:
                end.close()
        self._mother.wait(PATIENCE)

    def _say(self, word: str) -> str:
        into, out = self._mother.stdin, self._mother.stdout
        assert into is not None
        assert out is not None
        into.write(f"{word}\n")
        into.flush()
        return out.readline()


def wait_for(port: int) -> None:
    """Wait until somebody answers at the port."""
    until = time.monotonic() + PATIENCE
    while time.monotonic() < until:
        with contextlib.suppress(OSError), socket.create_connection((HERE, port), 1):
            return
        time.sleep(0.02)
    raise AssertionError(f"no server came up at port {port}")


# ------------------------------------------------------------------ the people


@dataclasses.dataclass(frozen=True)
class Answer:
    """What came back: the status, where it leads, and the page."""

    status: int
    location: str
    page: Page

    @property
    def words(self) -> str:
        """Return all words of the page."""
        return self.page.words


class _NoRedirect(urllib.request.HTTPRedirectHandler):
    def redirect_request(self, *_: object) -> None:
        """Leave a redirect to whoever asked: it is the acknowledgement."""


class Person:
    """Somebody with a browser of their own: cookies, forms, and no hidden ways."""

    def __init__(self, url: str) -> None:
        self.url = url
        self._cookies = http.cookiejar.CookieJar()
        self._opener = urllib.request.build_opener(
            _NoRedirect, urllib.request.HTTPCookieProcessor(self._cookies)
        )

    def sign_in(self, username: str, password: str) -> None:
        """Sign in as people do."""
        form = self.form("/sign-in/")
        answer = self.send(
            "/sign-in/", {**form, "username": username, "password": password}
        )
        assert answer.status == 302, answer.words

    def get(self, address: str) -> Answer:
        """Open a page; its address may be a whole one."""
        return self._ask(urllib.request.Request(self._whole(address)))  # noqa: S310 - ours

    def form(self, address: str) -> dict[str, str]:
        """Open a page and return what its form is filled with before anybody types."""
        answer = self.get(address)
        assert answer.status == 200, f"{address}: {answer.status} {answer.location}"
        filled = {
            one["name"]: one.get("value", "")
            for one in answer.page.attributes("input")
            if one.get("type") not in {"search", "checkbox", "radio", "file"}
            and "name" in one
        }
        chosen, name = {}, ""
        for tag, attributes in answer.page.elements:
            if tag == "select":
                name = attributes["name"]
            elif tag == "option" and ("selected" in attributes or name not in chosen):
                chosen[name] = attributes.get("value", "")
        return {**filled, **chosen}

    def send(self, address: str, fields: Mapping[str, str]) -> Answer:
        """Send a form; raise :class:`OSError` if nobody answers any more."""
        data = urllib.parse.urlencode(fields).encode()
        request = urllib.request.Request(self._whole(address), data)  # noqa: S310 - ours
        request.add_header("Referer", self._whole(address))
        return self._ask(request)

    def record(self, address: str, **typed: object) -> Answer:
        """Open a form, type into it and send it."""
        filled = {name: str(value) for name, value in typed.items()}
        return self.send(address, {**self.form(address), **filled})

    def _whole(self, address: str) -> str:
        return address if address.startswith("http") else f"{self.url}{address}"

    def _ask(self, request: urllib.request.Request) -> Answer:
        try:
            with self._opener.open(request, timeout=PATIENCE) as found:
                return _answer(found.status, found, "")
        except urllib.error.HTTPError as told:  # a redirect, or a page that refuses
            with told:
                return _answer(told.code, told, told.headers.get("Location", ""))
        except (urllib.error.URLError, http.client.HTTPException) as gone:
            raise ConnectionError(str(gone)) from gone


def _answer(status: int, body: IO[bytes], location: str) -> Answer:
    page = Page()
    page.feed(body.read().decode())
    page.close()
    return Answer(status, location, page)


# ------------------------------------------------------------------ the other side


def _build() -> Mapping[str, str]:
    """Write the records of a small premises; return what a test needs to know."""
    from producer import serving  # noqa: PLC0415 - after setup
    from tests import lab, make  # noqa: PLC0415

    serving.prepare()
    owner = make.set_up()
    crew = make.Crew(
        make.account(by=owner, name="Mirja Aalto", rights=["maker"]),
        make.account(by=owner, name="Rasmus Lind", rights=["reviewer"]),
    )
    rival = make.account(by=owner, name="Tove Berg", rights=["maker"])
    make.paste_version(crew)
    oil = make.released_lot(crew, make.sunflower(crew.maker))
    for material in (make.coconut, make.potash):
        make.released_lot(crew, material(crew.maker))
    water = [
        make.released_lot(crew, make.water(crew.maker), quantity_mg=40_000)
        for _ in range(RACES)
    ]
    make.released_lot(crew, make.water(crew.maker))  # enough, when those are empty
    for tool in (make.scale, lab.check_weight, make.meter, make.vessel):
        tool(crew.maker)
    pots = [make.open_batch(crew), make.open_batch(crew)]
    for pot in pots:
        make.charge(crew, pot, oil.stock, 800_000)
    return {
        "password": make.PASSWORD,
        "maker": crew.maker.username,
        "rival": rival.username,
        "pot": pots[0].number,
        "other": pots[1].number,
        "oil": oil.code,
        "water": " ".join(f"{lot.pk}:{lot.code}" for lot in water),
        "line": str(make.line_of(pots[0], "distilled water").position),
        "formula": str(pots[0].formula_version.formula_id),
        "oil_line": str(make.line_of(pots[0], "sunflower oil").position),
        "vessel": str(make.vessel(crew.maker).pk),
        "scale": str(make.scale(crew.maker).pk),
        "weight": str(lab.check_weight(crew.maker).pk),
        "oil_pk": str(oil.pk),
    }


def _lives(port: int) -> None:
    """Fork a server for each “start”; answer “gone” once the last one is."""
    from django.db import connections  # noqa: PLC0415 - after setup
    from django.test import Client  # noqa: PLC0415

    from producer import serving  # noqa: PLC0415

    # Once for all lives: addresses, forms and templates are read on the first request.
    assert Client().get("/sign-in/", headers={"host": HERE}).status_code == 200
    connections.close_all()
    pid = 0
    for line in sys.stdin:
        if line.strip() == "gone":
            os.waitpid(pid, 0)
        else:
            pid = os.fork()
            if not pid:
                serving.serve(HERE, port, announce=lambda: None)
                os._exit(0)
        sys.stdout.write(f"{pid}\n")
        sys.stdout.flush()


def _other_side(words: list[str]) -> None:
    import django  # noqa: PLC0415 - only on this side

    django.setup()
    if words[0] == "build":
        sys.stdout.write(json.dumps(dict(_build())) + "\n")
    else:
        _lives(int(words[1]))


if __name__ == "__main__":
    _other_side(sys.argv[1:])
