"""What every test may ask for: the four people, and a database that can be emptied."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import hypothesis
import pytest
from django.db import connection
from django.test import TransactionTestCase
from pytest_django import Settings

from batches.services import scans
from producer.models import JournalHead, Premises, User
from tests import laid, make, papers
from tests.database import without_triggers

# Every run draws other examples, so fifty a run find in two runs what a hundred find in
# one. A busy machine is no fault of the code: no example has a time to keep.
hypothesis.settings.register_profile("house", max_examples=50, deadline=None)
hypothesis.settings.load_profile("house")


@pytest.fixture(scope="session")
def django_db_keepdb() -> bool:
    """Say that the database of the tests is there already: on SQLite it is, laid."""
    return connection.vendor == "sqlite"


@pytest.fixture(scope="session")
def django_db_modify_db_settings(
    django_db_modify_db_settings_parallel_suffix: None,
) -> None:
    """Lay the file of this process, once it is known under which name."""
    if connection.vendor == "sqlite":
        laid.lay(Path(connection.settings_dict["TEST"]["NAME"]))


@pytest.fixture(autouse=True)
def _files_of_their_own(settings: Settings, tmp_path: Path) -> None:
    """Keep uploads and the setup code of a test apart from those of every other."""
    settings.MEDIA_ROOT = tmp_path / "uploads"
    settings.DATA_DIR = tmp_path


@pytest.fixture(autouse=True)
def _no_scan_waits() -> Iterator[None]:
    """Forget the scans that wait in memory: their bottles go with their test."""
    scans.forget()
    yield
    scans.forget()


@pytest.fixture
def owner(db: None) -> User:
    """Return the owner, who set up the premises and has no other right."""
    return make.set_up()


@pytest.fixture
def premises(owner: User) -> Premises:
    """Return the premises, which is not a one-person one."""
    return Premises.objects.get()


@pytest.fixture
def maker(owner: User) -> User:
    """Return somebody who weighs, cooks and fills."""
    return make.account(by=owner, name="Mirja Aalto", rights=["maker"])


@pytest.fixture
def reviewer(owner: User) -> User:
    """Return somebody who decides about lots and batches."""
    return make.account(by=owner, name="Rasmus Lind", rights=["reviewer"])


@pytest.fixture
def auditor(owner: User) -> User:
    """Return somebody who may read and nothing else."""
    return make.account(by=owner, name="Aune Koski", rights=["auditor"])


@pytest.fixture
def crew(maker: User, reviewer: User) -> make.Crew:
    """Return maker and reviewer together, as the builders take them."""
    return make.Crew(maker, reviewer)


@pytest.fixture(scope="session", autouse=True)
def _append_only_tables_can_be_emptied() -> Iterator[None]:
    """Lift the triggers while Django empties the tables after a transactional test.

    They refuse DELETE and TRUNCATE, as they should. What a migration put into the
    tables, the head of the journal, is put back.
    """
    flush: Callable[[TransactionTestCase], None]
    flush = TransactionTestCase._fixture_teardown  # type: ignore[attr-defined]

    def flush_without_triggers(self: TransactionTestCase) -> None:
        with without_triggers():
            flush(self)
        JournalHead.objects.get_or_create(pk=1)

    TransactionTestCase._fixture_teardown = flush_without_triggers  # type: ignore[attr-defined]
    yield
    TransactionTestCase._fixture_teardown = flush  # type: ignore[attr-defined]


@pytest.fixture
def on_postgresql() -> bool:
    """Say which of the two engines the suite runs on."""
    return connection.vendor == "postgresql"


@pytest.fixture
def papers_are_blank(monkeypatch: pytest.MonkeyPatch) -> None:
    """Draw an empty page for every paper, whose words are put together all the same.

    For tests that ask for papers and look at none: to draw them takes longer than
    everything else they do.
    """
    papers.draw_blank(monkeypatch)
