from __future__ import annotations

import datetime
import io
import itertools
import stat
from pathlib import Path

import pytest
from django.core.management import call_command
from django.utils import timezone

from producer.models import (
    JournalEntry,
    Premises,
    User,
)
from quality.demo import story
from quality.demo.clock import Clock
from quality.services.verification import CHECKS


@pytest.fixture
def logins(tmp_path: Path) -> Path:
    return tmp_path / "logins.json"


def load(logins: Path) -> str:
    said = io.StringIO()
    call_command("load_demo", logins=str(logins), stdout=said)
    return said.getvalue()


def test_the_demo_loads_wholly_and_every_check_holds(db: None, logins: Path) -> None:
    logins.write_text("from another day", encoding="utf-8")
    logins.chmod(0o644)

    said = load(logins)

    assert "12 of 12" in said
    assert stat.S_IMODE(logins.stat().st_mode) == 0o600
    assert {check.name: list(check.faults()) for check in CHECKS} == {
        check.name: [] for check in CHECKS
    }
    assert all(check.count() for check in CHECKS)


def test_a_database_with_an_account_is_left_alone(owner: User, logins: Path) -> None:
    before = JournalEntry.objects.count()

    said = load(logins)

    assert "nothing was loaded" in said
    assert JournalEntry.objects.count() == before
    assert not logins.exists()


def test_a_story_broken_off_leaves_nothing(db: None, logins: Path) -> None:
    def break_off(scene: object) -> None:
        raise KeyboardInterrupt

    real = timezone.now

    with pytest.raises(KeyboardInterrupt):
        story.tell(
            logins=logins,
            say=lambda _line: None,
            chapters=[*story.CHAPTERS[:2], ("The light goes out", break_off)],
        )

    assert not User.objects.exists()
    assert not JournalEntry.objects.exists()
    assert not logins.exists()
    assert timezone.now is real


def test_the_clock_of_the_demo_never_runs_backwards() -> None:
    clock = Clock(datetime.date(2026, 5, 1), Premises().zone)
    clock.set(3, "10:00")
    reads = [clock.now() for _ in range(3)]

    assert all(a < b for a, b in itertools.pairwise(reads))
    with pytest.raises(ValueError, match="runs forwards"):
        clock.set(3, "09:59")
