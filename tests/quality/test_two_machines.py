"""Two machines by our paper: what is read where, what is seen when, and a fail-over.

Two clusters of this host, the real server and people who speak HTTP. Each test leaves
two machines behind, in step with each other, so the order does not matter.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
import time
import uuid
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from typing import Any

import pytest

from producer import throwaway
from tests import machines
from tests.machines import Machine, Pair
from tests.real_server import ROOT, Kitchen, Person, Server

pytestmark = pytest.mark.postgresql

BACK_WITHIN = 60  # seconds from the kill to the next acknowledged entry: as stated
OUTAGE = 1.5  # seconds until somebody promotes
ACKNOWLEDGED = 6  # before the primary dies
SCENES = (
    "import django; django.setup();"
    " from tests.quality import two_machines; two_machines.main()"
)


@pytest.fixture(scope="module")
def two() -> Iterator[Pair]:
    """Return two machines, set up by the paper."""
    if not os.environ.get("DATABASE_URL", "").startswith("postgres"):
        pytest.skip("needs PostgreSQL; that part of the tests has it")
    try:
        throwaway._binaries()
    except throwaway.Unavailable as error:
        pytest.skip(str(error))
    with machines.pair() as made:
        yield made


@pytest.fixture(scope="module")
def premises(two: Pair, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Kitchen]:
    """Return a small premises on them."""
    with machines.premises(two, tmp_path_factory.mktemp("two")) as made:
        yield made


@pytest.fixture(scope="module")
def server(premises: Kitchen) -> Iterator[Server]:
    """Return the premises under “manage.py serve”, which is never started anew."""
    made = Server(premises)
    made.start()
    yield made
    made.kill()


Play = Callable[..., Any]


@pytest.fixture(scope="module")
def play(premises: Kitchen) -> Iterator[Play]:
    """Return a way to play a scene on the two machines, in another process."""
    with subprocess.Popen(  # noqa: S603 - our own program
        [sys.executable, "-c", SCENES],
        cwd=ROOT,
        env=dict(premises.environment),
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as process:
        into, out = process.stdin, process.stdout
        assert into is not None
        assert out is not None

        def scene(name: str, *told: Any) -> Any:
            into.write(json.dumps([name, told]) + "\n")
            into.flush()
            return json.loads(out.readline())

        yield scene
        into.close()


@pytest.fixture
def in_step(play: Play) -> None:
    """Wait until a program that starts now would read from the standby."""
    until(lambda: play("is_read_from_the_standby"))


def page_of(premises: Kitchen, server: Server) -> str:
    """Return the words of the bottle page as a stranger sees it."""
    answer = Person(server.url).get(f"/b/{premises.facts['bottle']}/")
    assert answer.status == 200, answer.words
    return answer.words


def somebody(premises: Kitchen, server: Server, who: str) -> Person:
    """Sign somebody in."""
    person = Person(server.url)
    person.sign_in(premises.facts[who], premises.facts["password"])
    return person


def serves_from_the_standby(two: Pair, premises: Kitchen, server: Server) -> bool:
    """Say whether the server asked the standby for a bottle page that is seen now."""
    (before,) = two.standby.ask("SELECT clock_timestamp()::text")
    page_of(premises, server)
    (connections,) = two.standby.ask(
        "SELECT count(*) FROM pg_stat_activity WHERE usename = 'kettlebook'"  # noqa: S608
        f" AND query ~ '\"(batches|quality)_' AND query_start > '{before}'"
    )
    return bool(connections > 0)


def until(is_so: Callable[[], Any]) -> None:
    """Wait until something is so; give up after a minute."""
    end = time.monotonic() + BACK_WITHIN
    while not is_so():
        assert time.monotonic() < end, "it never came"
        threading.Event().wait(0.1)


def test_the_paper_sets_up_a_standby_that_is_waited_for(
    two: Pair, play: Play, in_step: None
) -> None:
    standing = two.primary.ask(
        "SELECT application_name, state, sync_state FROM pg_stat_replication"
    )
    assert standing == ("standby", "streaming", "sync")
    assert two.standby.ask("SELECT pg_is_in_recovery()") == (True,)
    # What its file says and what the program itself asks for, both.
    assert two.primary.ask("SHOW synchronous_commit") == ("remote_apply",)
    assert play("commits_of_the_program") == "remote_apply"


def test_bottle_pages_and_the_trace_are_read_from_the_standby(
    premises: Kitchen, play: Play, in_step: None
) -> None:
    facts = premises.facts
    looks = [
        f"/b/{facts['bottle']}/",
        f"/history/{facts['paste']}/",
        f"/affected/{facts['paste']}/",
        f"/affected/{facts['paste']}/list.csv",
        f"/flow/{facts['paste']}/",
    ]
    asked = play("asked", looks, facts["maker"])
    for address in looks:
        assert asked[address]["reads"] > 0, address
        # Who somebody is stands in no table of batches or quality.
        assert asked[address]["default"] == 0, address
    stranger = play("asked", looks[:1], "")[looks[0]]
    assert stranger["reads"] > 0
    assert (stranger["default"], stranger["default of any table"]) == (0, 0)


def test_every_other_page_is_read_from_the_primary(
    premises: Kitchen, play: Play, in_step: None
) -> None:
    facts = premises.facts
    others = ["/", f"/batches/{facts['pot']}/", "/recalls/", "/bottles/", "/store/"]
    asked = play("asked", others, facts["maker"])
    assert {asked[address]["reads"] for address in others} == {0}
    assert all(asked[address]["default"] > 0 for address in others)


def test_an_act_that_decides_never_reads_from_the_standby(
    premises: Kitchen, play: Play, in_step: None
) -> None:
    facts = premises.facts
    found = play("decided", facts["reviewer"], facts["paste"])
    # Even where a view that only looks would have called it.
    assert found["walk alone"] == {"reads": 1}
    assert found["act"].keys() == {"default"}
    assert found["act"]["default"] > 10


def test_nothing_is_written_on_the_standby(play: Play, in_step: None) -> None:
    found = play("written")
    assert found["read from"] == "reads"
    assert found["belonging read, outside"] == "default"
    assert found["saved on"] == ["default"]
    assert "read-only transaction" in found["forced"]


def test_a_recall_is_on_the_bottle_page_once_it_is_acknowledged(
    two: Pair, premises: Kitchen, server: Server, play: Play, in_step: None
) -> None:
    reviewer = somebody(premises, server, "reviewer")
    notice = f"Do not use it. {uuid.uuid4()}"
    # The server looks every few seconds only; it may still hold an older answer.
    until(lambda: serves_from_the_standby(two, premises, server))
    assert notice not in page_of(premises, server)
    with ThreadPoolExecutor(1) as pool:
        two.standby.ask("SELECT pg_wal_replay_pause()")
        try:
            opened = pool.submit(
                reviewer.record,
                f"/affected/{premises.facts['filled']}/recall/",
                hazard_class="2",
                reason="The potash was stronger than its certificate said.",
                public_notice=notice,
            )
            threading.Event().wait(2)
            assert not opened.done(), "told before the standby can show it"
            assert notice not in page_of(premises, server)
        finally:
            two.standby.ask("SELECT pg_wal_replay_resume()")
        assert opened.result(60).status == 302, opened.result().words
    assert notice in page_of(premises, server)
    until(lambda: serves_from_the_standby(two, premises, server))
    assert notice in page_of(premises, server)


def test_without_the_standby_acts_wait_until_one_machine_is_enough(
    two: Pair, premises: Kitchen, server: Server, play: Play, in_step: None
) -> None:
    maker = Writer(somebody(premises, server, "maker"), premises, "alone")
    with ThreadPoolExecutor(1) as pool:
        two.standby.kill()
        waiting = pool.submit(maker.send)
        threading.Event().wait(2)
        assert not waiting.done(), "acknowledged on one machine alone"
        assert "Batch" in page_of(premises, server), "read from the primary"
        two.primary.sql("alone")
        assert waiting.result(60)
    # It comes back and is not trusted until the primary waits for it again.
    two.standby.start()
    until(lambda: two.primary.ask("SELECT 1 FROM pg_stat_replication"))
    assert not play("is_read_from_the_standby")
    two.primary.sql("wait")
    until(lambda: play("is_read_from_the_standby"))
    assert maker.send()
    assert set(maker.acknowledged) <= set(kept(premises))


class Writer:
    """Somebody who reads pH all day and sends again what was not acknowledged."""

    def __init__(self, person: Person, premises: Kitchen, name: str) -> None:
        self.acknowledged: list[str] = []
        self.refused = 0
        self._person, self._name = person, name
        self._address = f"/batches/{premises.facts['pot']}/read/ph/"
        self._form = person.form(self._address)
        self._number = 0

    def send(self) -> bool:
        """Send one more reading; say whether it was acknowledged."""
        return self._sent(*self._next())

    def write(self, enough: threading.Event) -> None:
        """Send one after the other, each until it is acknowledged."""
        while not enough.is_set():
            told, fields = self._next()
            while not self._sent(told, fields):
                self.refused += 1
                threading.Event().wait(0.1)

    def _next(self) -> tuple[str, dict[str, str]]:
        self._number += 1
        told = f"{self._name} {self._number}"
        typed = {"submission": str(uuid.uuid4()), "value": "9.2", "method": told}
        return told, {**self._form, **typed}

    def _sent(self, told: str, fields: dict[str, str]) -> bool:
        answer = self._person.send(self._address, fields)
        if answer.status == 302 and "sign-in" not in answer.location:
            self.acknowledged.append(told)
            return True
        assert answer.status == 500, answer.words
        return False


class Visitor:
    """Somebody who opens a bottle page again and again."""

    def __init__(self, person: Person, premises: Kitchen) -> None:
        self.statuses: list[int] = []
        self._person, self._code = person, premises.facts["bottle"]

    def look(self, enough: threading.Event) -> None:
        """Look until it is enough."""
        while not enough.is_set():
            self.statuses.append(self._person.get(f"/b/{self._code}/").status)
            threading.Event().wait(0.02)


def kept(premises: Kitchen) -> list[str]:
    """Return how each reading on record was taken."""
    return premises.ask(
        "from batches.models import Reading\n"
        "for row in Reading.objects.order_by('pk'): print(row.method)"
    ).splitlines()


def test_after_a_fail_over_nothing_acknowledged_is_lost_and_work_goes_on(
    two: Pair,
    premises: Kitchen,
    server: Server,
    play: Play,
    in_step: None,
    capsys: pytest.CaptureFixture[str],
) -> None:
    writers = [
        Writer(somebody(premises, server, "maker"), premises, name)
        for name in ("at the pot", "at the bench")
    ]
    visitor = Visitor(Person(server.url), premises)
    page_of(premises, server)
    enough = threading.Event()
    with ThreadPoolExecutor(3) as pool:
        done: list[Future[None]] = [pool.submit(one.write, enough) for one in writers]
        done.append(pool.submit(visitor.look, enough))
        try:
            until(lambda: sum(len(w.acknowledged) for w in writers) >= ACKNOWLEDGED)
            died = time.monotonic()
            two.primary.kill()
            before = [len(writer.acknowledged) for writer in writers]
            looked = len(visitor.statuses)
            threading.Event().wait(OUTAGE)
            in_outage = visitor.statuses[looked:]
            promoted = time.monotonic()
            two.standby.sql("promote")
            for writer, count in zip(writers, before, strict=True):
                until(lambda w=writer, c=count: len(w.acknowledged) > c + 1)  # type: ignore[misc]
            back = time.monotonic()
        finally:
            enough.set()
        for one in done:
            one.result(BACK_WITHIN)
    two.change_places()

    with capsys.disabled():
        print(  # noqa: T201 - what was measured
            f"\n  back {back - died:.1f} s after the kill,"
            f" {back - promoted:.1f} s after the promotion"
        )
    assert back - died < BACK_WITHIN
    assert all(writer.refused for writer in writers), "it died under no load"
    on_record = kept(premises)
    acknowledged = [told for writer in writers for told in writer.acknowledged]
    assert set(acknowledged) <= set(on_record), "an acknowledged entry was lost"
    ours = [method for method in on_record if method.startswith("at the ")]
    assert len(ours) == len(set(ours)), "something was recorded twice"
    assert "No fault found." in premises.run("verify")
    # A stranger with a bottle never noticed.
    assert len(in_outage) > 10
    assert set(visitor.statuses) == {200}

    # The lost machine comes back as the standby, by the same block of the paper.
    two.make_standby(two.primary, two.standby)
    until(lambda: play("is_read_from_the_standby"))
    assert writers[0].send()
    assert two.standby.ask("SELECT pg_is_in_recovery()") == (True,)
    assert _has(two.standby, writers[0].acknowledged[-1])


def _has(machine: Machine, method: str) -> bool:
    found = machine.ask(
        f"SELECT 1 FROM batches_reading WHERE method = '{method}'",  # noqa: S608 - ours
        database="kettlebook",
    )
    return bool(found == (1,))
