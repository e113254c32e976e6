"""The page of events for others, and the files of a lot and a batch."""

from __future__ import annotations

import datetime
import json
from typing import Any

import pytest
from django.http import HttpResponseBase
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from pytest_django import Settings

from producer.models import User
from quality.epcis.reading import read
from quality.services import tracking_events
from tests import make
from tests.doors.pages import page_of
from tests.quality import tracked

pytestmark = pytest.mark.django_db


@pytest.fixture
def reader(client: Client, auditor: User) -> Client:
    client.force_login(auditor)
    return client


def asked(reader: Client, first: object, last: object) -> HttpResponseBase:
    days: dict[str, Any] = {"from": first, "to": last}
    answer: HttpResponseBase = reader.get(reverse("quality:events"), days)
    return answer


def today() -> datetime.date:
    return timezone.localdate()


def text_in(answer: Any) -> str:
    assert answer.status_code == 200
    assert answer["Content-Type"] == "application/ld+json"
    return str(answer.getvalue().decode())


def test_an_auditor_takes_the_events_of_some_days(
    reader: Client, crew: make.Crew
) -> None:
    make.released_paste(crew)
    day = today()
    answer = asked(reader, day - datetime.timedelta(days=400), day)
    assert answer["Content-Disposition"] == (
        f'attachment; filename="events-{day - datetime.timedelta(days=400)}-{day}.json"'
    )
    assert read(text_in(answer)).edges == tracked.edges_of()


def test_the_page_of_a_lot_and_of_a_batch_lead_to_their_file(
    reader: Client, crew: make.Crew
) -> None:
    batch = make.released_paste(crew)
    lot = batch.charges.filter(source__kind="lot")[0].source
    for page, code in (("producer:lot", lot.code), ("batches:batch", batch.number)):
        address = reverse("quality:events_of", args=[code])
        assert address in reader.get(reverse(page, args=[code])).text
        answer = reader.get(address)
        assert answer["Content-Disposition"] == (
            f'attachment; filename="events-{code}.json"'
        )
        found = json.loads(text_in(answer))["epcisBody"]["eventList"]
        scope = tracking_events.of_stock(lot if code == lot.code else batch.stock)
        assert found == list(tracking_events.events(scope))


def test_the_journal_leads_to_the_page(reader: Client, crew: make.Crew) -> None:
    assert reverse("quality:events") in reader.get(reverse("producer:journal")).text


@pytest.mark.parametrize(
    ("days", "says"),
    [
        ((2, 1), "The last day lies before the first one. Swap them."),
        ((900, 901), "Nothing was recorded there. Choose other days."),
    ],
)
def test_days_that_make_no_file_are_told_beside_the_day(
    reader: Client, crew: make.Crew, days: tuple[int, int], says: str
) -> None:
    make.released_lot(crew, make.sunflower(crew.maker))
    first, last = (today() + datetime.timedelta(days=days_on) for days_on in days)
    page = page_of(asked(reader, first, last))
    assert says in page.words
    assert "Not handed out" in page.words


@pytest.mark.parametrize("words", ["", "yesterday", "0001-01-01", "9999-12-31"])
def test_what_is_no_day_shows_the_form_again(
    reader: Client, crew: make.Crew, words: str
) -> None:
    answer = asked(reader, words, words)
    assert answer.status_code == 200
    assert "Not handed out" in page_of(answer).words


def test_a_batch_just_opened_says_that_nothing_has_happened(
    reader: Client, crew: make.Crew
) -> None:
    batch = make.open_batch(crew)
    page = page_of(reader.get(reverse("quality:events_of", args=[batch.number])))
    assert f"Nothing has happened to {batch.number} yet" in page.words


def test_names_that_only_this_computer_can_open_are_warned_of(
    reader: Client, crew: make.Crew, settings: Settings
) -> None:
    page = reverse("quality:events")
    warning = "which only this computer can open"
    assert warning in page_of(reader.get(page)).words
    settings.PUBLIC_URL = "https://kettle.example"
    assert warning not in page_of(reader.get(page)).words
    make.held_lot(crew, make.sunflower(crew.maker))
    file = text_in(asked(reader, today() - datetime.timedelta(days=400), today()))
    assert "127.0.0.1" not in file
    assert '"epcClass":"https://kettle.example/lots/' in file


def test_the_page_says_what_is_in_it_and_what_is_not(
    reader: Client, crew: make.Crew
) -> None:
    words = page_of(reader.get(reverse("quality:events"))).words
    assert "Not handed out" not in words
    assert "No names, addresses or telephone numbers" in words
    assert "GS1 keys only where you have them" in words
