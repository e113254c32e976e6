"""The first act of all, in a premises where there is nothing yet."""

from __future__ import annotations

from django.test import Client
from django.urls import reverse

from producer.models import JournalEntry, User
from producer.services import people
from tests import make
from tests.database import row_values


def test_the_first_run_page_writes_the_first_act(db: None) -> None:
    client, address = Client(), reverse("producer:set_up")
    page = client.get(address)
    fields = {
        "submission": page.context["form"]["submission"].value(),
        "code": people.make_setup_code(),
        "premises_name": "Hollow Beck Soapery",
        "time_zone": "Europe/London",
        "name": "Odile Brandt",
        "username": "odile.brandt",
        "password": make.PASSWORD,
    }
    before = row_values()
    assert client.post(address, {**fields, "code": "guessed"}).status_code == 200
    assert row_values() == before
    assert client.post(address, fields).status_code == 302
    entry = JournalEntry.objects.get()
    assert entry.sequence == 1
    assert entry.actor == User.objects.get()
    after = row_values()
    assert client.post(address, fields).status_code == 302
    assert row_values() == after
