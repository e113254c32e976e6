from __future__ import annotations

import errno
import signal
import socket
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from django.core.checks import Error, run_checks
from django.core.checks import Warning as CheckWarning
from django.core.management import CommandError
from django.db import OperationalError
from pytest_django import Settings

from producer import baseline, checks, serving

HERE = "127.0.0.1"


@pytest.fixture
def taken() -> Iterator[int]:
    """Return a port that somebody else listens on."""
    with socket.socket() as other:
        other.bind((HERE, 0))
        other.listen(1)
        yield other.getsockname()[1]


def refusal(address: str, port: int) -> str:
    with pytest.raises(CommandError) as refused:
        serving.require_free_port(address, port)
    return str(refused.value)


# ------------------------------------------------------------------- ports


def test_a_free_port_is_no_cause_for_words(taken: int) -> None:
    with socket.socket() as probe:
        probe.bind((HERE, 0))
        free = probe.getsockname()[1]
    serving.require_free_port(HERE, free)


def test_a_busy_port_is_told_with_one_that_is_free(taken: int) -> None:
    said = refusal(HERE, taken)
    assert f"Port {taken} on {HERE} cannot be used: something else is using it." in said
    proposed = int(said.rsplit(" ", 1)[1].rstrip("."))
    assert proposed > taken
    with socket.socket() as server:
        server.bind((HERE, proposed))  # it is free indeed


def test_the_port_proposed_is_not_the_busy_one_next_to_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    busy = {8000, 8001, 8002}
    monkeypatch.setattr(
        serving,
        "_fault",
        lambda _address, port: errno.EADDRINUSE if port in busy else None,
    )
    assert refusal(HERE, 8000).endswith("--port 8003.")


def test_a_port_of_the_administrator_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(
        serving,
        "_fault",
        lambda _address, port: errno.EACCES if port < 1024 else None,
    )
    said = refusal(HERE, 80)
    assert "below 1024 belong to the administrator" in said
    assert said.endswith("--port 1024.")


@pytest.mark.parametrize("port", [0, -1, 65_536])
def test_a_number_that_is_no_port_is_told(port: int) -> None:
    assert "between 1 and 65535" in refusal(HERE, port)


@pytest.mark.parametrize("address", ["192.0.2.7", "no-such-name.invalid"])
def test_an_address_of_somebody_else_is_told(address: str) -> None:
    # 192.0.2.0/24 is kept for documentation and ".invalid" never resolves: RFC 5737
    # and RFC 2606, from memory.
    assert f"{address} is not an address of this computer" in refusal(address, 8000)


# --------------------------------------------------------- what goes wrong, in words


@pytest.mark.parametrize(
    ("error", "says"),
    [
        (OperationalError("database or disk is full"), "The disk is full"),
        (OSError(errno.ENOSPC, "No space left", "/srv/x"), "The disk is full (/srv/x)"),
        (OperationalError("attempt to write a readonly database"), "KETTLEBOOK_DATA="),
        (OperationalError("database is locked"), "Stop it, then repeat"),
        (OperationalError("connection failed: refused"), "DATABASE_URL"),
    ],
)
def test_what_goes_wrong_becomes_a_sentence(error: Exception, says: str) -> None:
    with pytest.raises(CommandError) as told, serving.explained():
        raise error
    assert says in str(told.value)


def test_a_fault_of_ours_is_not_dressed_up() -> None:
    with pytest.raises(ZeroDivisionError), serving.explained():
        raise ZeroDivisionError


# ------------------------------------------------------------------- the server


class FakeServer:
    def __init__(self, act: Callable[[], None]) -> None:
        self.run = act
        self.closed = False

    def close(self) -> None:
        self.closed = True


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> dict[str, Any]:
    """Return what the server was asked for, without a server."""
    facts: dict[str, Any] = {}

    def interrupted() -> None:
        raise KeyboardInterrupt

    def create(application: object, **options: Any) -> FakeServer:
        facts.update(options, server=FakeServer(interrupted))
        server: FakeServer = facts["server"]
        return server

    monkeypatch.setattr(serving, "create_server", create)
    monkeypatch.setattr(serving, "get_wsgi_application", lambda: None)
    monkeypatch.setattr(signal, "signal", lambda *_: None)
    return facts


def test_ctrl_c_closes_the_server(asked: dict[str, Any]) -> None:
    serving.serve(HERE, 8907, announce=lambda: None)
    assert asked["server"].closed


def test_headers_of_a_proxy_count_only_behind_tls(
    asked: dict[str, Any], settings: Settings
) -> None:
    settings.PUBLIC_URL = "http://127.0.0.1:8907"
    serving.serve(HERE, 8907, announce=lambda: None)
    assert "trusted_proxy" not in asked
    settings.PUBLIC_URL = "https://kettle.example"
    serving.serve(HERE, 8907, announce=lambda: None)
    assert asked["trusted_proxy"] == HERE
    assert asked["clear_untrusted_proxy_headers"]


# ------------------------------------------------------------------- checks of ours


def found(settings: Settings, **changes: Any) -> list[Any]:
    for name, value in changes.items():
        setattr(settings, name, value)
    messages = run_checks(include_deployment_checks=True)
    return [entry for entry in messages if str(entry.id).startswith("kettlebook.")]


def ids(messages: list[Any]) -> list[str]:
    return [entry.id for entry in messages]


def test_on_this_computer_alone_nothing_is_warned_of(settings: Settings) -> None:
    settings.DATA_DIR.chmod(0o700)
    loopback = ["localhost", "127.0.0.1", "[::1]", "127.0.0.1"]
    assert found(settings, ALLOWED_HOSTS=loopback) == []


def test_plain_http_for_others_is_warned_of_by_name(settings: Settings) -> None:
    settings.DATA_DIR.chmod(0o700)
    hosts = ["localhost", "kettle.lan"]
    messages = found(settings, ALLOWED_HOSTS=hosts, PUBLIC_URL="http://kettle.lan:8000")
    assert ids(messages) == ["kettlebook.W001"]
    assert isinstance(messages[0], CheckWarning)
    assert "kettle.lan" in messages[0].msg
    assert "passwords" in messages[0].msg


def test_tls_for_others_is_not_warned_of(settings: Settings) -> None:
    settings.DATA_DIR.chmod(0o700)
    hosts = ["localhost", "kettle.example"]
    assert (
        found(settings, ALLOWED_HOSTS=hosts, PUBLIC_URL="https://kettle.example") == []
    )


@pytest.mark.parametrize(
    "address", ["kettle.lan:8000", "kettle.lan", "", "ftp://a", "https://a.example/b"]
)
def test_an_address_that_leads_nowhere_is_an_error(
    settings: Settings, address: str
) -> None:
    settings.PUBLIC_URL = address
    messages = checks.public_address(None)
    assert ids(messages) == ["kettlebook.E001"]
    assert isinstance(messages[0], Error)


@pytest.mark.parametrize("address", ["https://kettle.example", "http://[::1]:8000"])
def test_an_address_that_leads_somewhere_is_none(
    settings: Settings, address: str
) -> None:
    settings.PUBLIC_URL = address
    assert checks.public_address(None) == []


def test_records_that_other_accounts_can_read_are_warned_of(settings: Settings) -> None:
    settings.DATA_DIR.chmod(0o750)
    assert ids(checks.private_records(None)) == ["kettlebook.W002"]
    settings.DATA_DIR.chmod(0o700)
    assert checks.private_records(None) == []


def test_records_inside_the_code_are_warned_of(settings: Settings) -> None:
    settings.IS_DEMO = False
    settings.DATA_DIR = settings.BASE_DIR / "records"
    assert ids(checks.records_outside_the_code(None)) == ["kettlebook.W003"]
    settings.IS_DEMO = True
    assert checks.records_outside_the_code(None) == []


def test_bringing_up_to_date_ends_with_the_rows_of_an_older_version(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    done: list[str] = []
    monkeypatch.setattr(serving, "call_command", lambda name, **_: done.append(name))

    def keep() -> int:
        done.append("keep")
        return 12

    monkeypatch.setattr(baseline, "keep", keep)
    assert serving.prepare() == 12
    assert done == ["migrate", "collectstatic", "keep"]
