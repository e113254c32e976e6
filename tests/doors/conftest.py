"""What the tests of the doors share."""

from __future__ import annotations

import pytest
from django.test import Client

from producer.models import User
from tests.doors import kept
from tests.doors import world as worlds
from tests.doors.world import World


@pytest.fixture
def world(db: None) -> World:
    """Return a premises with something of everything."""
    return kept.world()


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
