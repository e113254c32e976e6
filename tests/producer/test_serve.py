from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.core.checks import Error
from django.core.checks import Warning as CheckWarning
from django.core.management import CommandError, call_command
from django.db.migrations.executor import MigrationExecutor
from pytest_django import Settings

from producer import serving
from producer.management.commands import serve
from producer.models import JournalHead, User
from producer.services import people


@pytest.fixture
def served(monkeypatch: pytest.MonkeyPatch, settings: Settings) -> list[str]:
    """Return a list of what was done, in order, with no server in it."""
    done: list[str] = []

    def fake(address: str, port: int, *, announce: Callable[[], None]) -> None:
        done.append("serve")
        announce()

    settings.PUBLIC_URL = "http://127.0.0.1:8907"
    settings.DATA_DIR.chmod(0o700)
    monkeypatch.setattr(serving, "require_free_port", lambda *_: None)
    monkeypatch.setattr(serving, "prepare", lambda: done.append("prepare"))
    monkeypatch.setattr(serving, "serve", fake)
    monkeypatch.setattr(serve, "run_checks", lambda **_: [])
    return done


def run(**options: Any) -> str:
    said = io.StringIO()
    call_command("serve", stdout=said, **options)
    return said.getvalue()


def test_an_empty_premises_prints_the_setup_code(db: None, served: list[str]) -> None:
    said = run(port=8907)
    assert served == ["prepare", "serve"]
    assert "http://127.0.0.1:8907/setup/" in said
    assert people.setup_code_path().read_text("utf-8") in said
    assert people.setup_code_path().stat().st_mode & 0o077 == 0


def test_a_premises_with_an_owner_prints_no_code(
    owner: User, served: list[str]
) -> None:
    said = run(port=8907)
    assert "setup code" not in said


def test_on_this_computer_alone_it_says_what_labels_would_carry(
    owner: User, served: list[str], settings: Settings
) -> None:
    assert "Only this computer can open that address" in run(port=8907)
    settings.PUBLIC_URL = "https://kettle.example"
    said = run(port=8907)
    assert "Only this computer" not in said
    assert "It listens on 127.0.0.1, port 8907" in said


@pytest.mark.parametrize("address", ["0.0.0.0", "::"])  # noqa: S104
def test_listening_everywhere_needs_an_address_for_people(
    served: list[str], settings: Settings, address: str
) -> None:
    host = f"[{address}]" if ":" in address else address
    settings.PUBLIC_URL = f"http://{host}:8907"
    with pytest.raises(CommandError, match="export KETTLEBOOK_URL=http"):
        run(address=address, port=8907)
    assert served == []


def test_listening_everywhere_with_an_address_for_people_serves(
    owner: User, served: list[str], settings: Settings
) -> None:
    settings.PUBLIC_URL = "http://kettle.lan:8907"
    run(address="0.0.0.0", port=8907)  # noqa: S104
    settings.PUBLIC_URL = "http://192.168.1.20:8907"
    run(address="192.168.1.20", port=8907)
    assert served == ["prepare", "serve"] * 2


def test_a_warning_of_ours_is_said_and_serves(
    owner: User, served: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    warning = CheckWarning("in the clear", hint="a proxy", id="kettlebook.W001")
    monkeypatch.setattr(serve, "run_checks", lambda **_: [warning])
    assert "in the clear\na proxy" in run()
    assert served == ["prepare", "serve"]


@pytest.mark.parametrize(
    "message",
    [
        CheckWarning("DEBUG is on", id="security.W018"),
        Error("no address", id="kettlebook.E001"),
    ],
)
def test_anything_else_that_is_found_stops_it_before_the_records(
    served: list[str], monkeypatch: pytest.MonkeyPatch, message: CheckWarning
) -> None:
    monkeypatch.setattr(serve, "run_checks", lambda **_: [message])
    with pytest.raises(CommandError, match=message.msg):
        run()
    assert served == []


def test_an_upgrade_is_backed_up_first(
    owner: User, served: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def back_up(name: str, path: str, **_: Any) -> None:
        assert Path(path).name.startswith("before-upgrade-")
        served.append(name)

    monkeypatch.setattr(serve, "call_command", back_up)
    run()
    assert served == ["prepare", "serve"]  # nothing waits, nothing is backed up
    served.clear()
    monkeypatch.setattr(
        MigrationExecutor, "migration_plan", lambda *_: ["something waits"]
    )
    run()
    assert served == ["backup", "prepare", "serve"]


def test_a_first_start_broken_off_is_carried_on(
    db: None, served: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    JournalHead.objects.all().delete()  # some tables were made, no record was written
    monkeypatch.setattr(
        MigrationExecutor, "migration_plan", lambda *_: ["something waits"]
    )
    monkeypatch.setattr(serve, "call_command", lambda name, *_: served.append(name))
    monkeypatch.setattr(people, "needs_setup", lambda: False)
    run()
    assert served == ["prepare", "serve"]


def test_looking_only_says_what_is_found_and_changes_nothing(
    served: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    warning = CheckWarning("Mind the door.", hint="Shut it.", id="kettlebook.W001")
    monkeypatch.setattr(serve, "run_checks", lambda **_: [warning])
    said = run(check_only=True)
    assert "Mind the door.\nShut it." in said
    assert "Nothing stands in the way." in said
    assert served == []


def test_it_says_how_many_rows_of_an_older_version_the_journal_keeps_from_now_on(
    owner: User, served: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    assert "older version" not in run()
    monkeypatch.setattr(serving, "prepare", lambda: 712)
    assert "712 rows of an older version were written into the journal" in run()
