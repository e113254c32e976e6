from __future__ import annotations

import os
import pwd
import shutil
import signal
from pathlib import Path
from urllib.parse import unquote, urlsplit

import pytest

from producer import throwaway
from producer.throwaway import Unavailable

pytestmark = pytest.mark.any_engine


def has_server() -> bool:
    try:
        throwaway._binaries()
    except Unavailable:
        return False
    return True


needs_server = pytest.mark.skipif(
    not has_server(), reason="no PostgreSQL binaries on this machine"
)


@pytest.fixture(autouse=True)
def _no_server_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("KETTLEBOOK_TEST_DATABASE_URL", raising=False)


def place_of(address: str) -> Path:
    return Path(unquote(address.split("@")[1].split("/", maxsplit=1)[0]))


def pid_of(address: str) -> int:
    lines = (place_of(address) / "data" / "postmaster.pid").read_text("utf-8")
    return int(lines.split()[0])


def is_alive(pid: int) -> bool:
    status = Path(f"/proc/{pid}/status")
    # A zombie is dead and waits for whoever has taken its parent's place.
    return status.exists() and "State:\tZ" not in status.read_text("utf-8")


@needs_server
def test_the_server_is_private_and_gone_after_ctrl_c() -> None:
    seen: list[tuple[int, Path]] = []

    def until_ctrl_c() -> None:
        with throwaway.postgresql() as address:
            pid, place = pid_of(address), place_of(address)
            seen.append((pid, place))
            assert is_alive(pid)
            assert (place / ".s.PGSQL.5432").exists()
            state = place.stat()
            assert state.st_mode & 0o077 == 0
            assert state.st_uid != 0
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        until_ctrl_c()
    ((pid, place),) = seen
    assert not is_alive(pid)
    assert not place.exists()


@needs_server
def test_a_server_that_died_does_not_hide_how_the_tests_went() -> None:
    def until_it_dies() -> None:
        with throwaway.postgresql() as address:
            os.kill(pid_of(address), signal.SIGQUIT)
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        until_it_dies()


def test_a_server_that_is_named_is_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("KETTLEBOOK_TEST_DATABASE_URL", "postgres://tests@db/x")
    with throwaway.postgresql() as address:
        assert urlsplit(address).hostname == "db"


def test_a_machine_without_a_server_says_what_to_type(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(throwaway, "BINARIES", ())
    monkeypatch.setattr(shutil, "which", lambda _: None)
    with (
        pytest.raises(Unavailable, match="apt-get install postgresql"),
        throwaway.postgresql(),
    ):
        pass


def test_the_newest_server_is_taken(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for version in ("9", "15", "17"):
        path = tmp_path / version / "bin" / "initdb"
        path.parent.mkdir(parents=True)
        path.touch()
    monkeypatch.setattr(throwaway, "BINARIES", (str(tmp_path),))
    monkeypatch.setattr(shutil, "which", lambda _: None)
    assert throwaway._binaries() == tmp_path / "17" / "bin"


def test_root_runs_it_as_the_first_user_there_is(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    somebody = pwd.getpwuid(os.getuid())

    def look_up(name: str) -> pwd.struct_passwd:
        if name == "postgres":
            raise KeyError(name)
        return somebody

    monkeypatch.setattr(os, "geteuid", lambda: 0)
    monkeypatch.setattr(pwd, "getpwnam", look_up)
    assert throwaway._server_user() == somebody
    monkeypatch.setattr(os, "geteuid", lambda: 1000)
    assert throwaway._server_user() is None


def test_a_machine_without_a_browser_says_what_to_type(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(shutil, "which", lambda _: None)
    with pytest.raises(Unavailable, match="apt-get install chromium"):
        throwaway.find_chromium()


def test_a_browser_that_is_named_comes_first(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("KETTLEBOOK_CHROMIUM", "/opt/own/chromium")
    monkeypatch.setattr(shutil, "which", lambda name: name)
    assert throwaway.find_chromium() == "/opt/own/chromium"
