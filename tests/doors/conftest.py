"""What the tests of the doors share."""

from __future__ import annotations

import pickle
import shutil
from collections.abc import Iterator

import pytest
from django.db import transaction
from django.test import Client
from django.test.utils import override_settings
from pytest_django import DjangoDbBlocker, Settings

from producer.models import User
from tests.doors import world as worlds
from tests.doors.world import Standing, World


@pytest.fixture(scope="module")
def standing_world(
    django_db_setup: None,
    django_db_blocker: DjangoDbBlocker,
    tmp_path_factory: pytest.TempPathFactory,
) -> Iterator[Standing]:
    """Let one world stand for all tests of a module, and take it back at its end.

    For a module whose every test begins with the world: it names this in its
    ``pytestmark``, so that it comes before the transaction of the first test. Each
    test writes in a transaction inside, which is taken back as ever, so it begins with
    the same rows as if they had been put there for it alone.
    """
    data = tmp_path_factory.mktemp("world")
    files = data / "uploads"
    files.mkdir()
    with django_db_blocker.unblock(), transaction.atomic():
        with override_settings(MEDIA_ROOT=files, DATA_DIR=data):
            made = worlds.build()
        yield Standing(pickle.dumps(made), files)
        transaction.set_rollback(True)


@pytest.fixture
def world(request: pytest.FixtureRequest, db: None, settings: Settings) -> World:
    """Return a premises with something of everything, put there now if none stands."""
    if "standing_world" not in request.fixturenames:
        return worlds.build()
    standing: Standing = request.getfixturevalue("standing_world")
    shutil.copytree(standing.files, settings.MEDIA_ROOT, dirs_exist_ok=True)
    return standing.world()


@pytest.fixture
def everything(world: World) -> User:
    """Return an account that holds every right."""
    return worlds.all_rights(world)


@pytest.fixture
def browser(everything: User) -> Client:
    """Return a browser in which everything may be done."""
    client = Client()
    client.force_login(everything)
    return client
