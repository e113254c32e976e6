"""Every page that records something writes exactly one act; nothing else writes any."""

from __future__ import annotations

import dataclasses
import datetime
from typing import Any

import pytest
from django.core.files.base import File
from django.http import HttpResponseBase
from django.test import Client
from django.urls import reverse

from producer import journal
from producer.models import JournalEntry, JournalHead, User
from tests import make
from tests.database import row_values
from tests.doors import world as worlds
from tests.doors.acts_table import ACTS, EXEMPT, Act
from tests.doors.world import World

pytestmark = [
    pytest.mark.django_db,
    pytest.mark.usefixtures("standing_world", "papers_are_blank"),
]

JOURNAL = {JournalEntry._meta.label, JournalHead._meta.label}
# A draw is an act of which there is no record but the journal.
ONLY_JOURNAL = {"quality:audit_draw"}
each_act = pytest.mark.parametrize("act", ACTS, ids=str)


@dataclasses.dataclass
class Sending:
    """A form filled in as a person would, and the way to send it."""

    client: Client
    account: User
    address: str
    form: Any
    fields: dict[str, Any]

    def send(self, *, without: str = "", **others: Any) -> HttpResponseBase:
        """Send it, less one field if one is named."""
        for value in self.fields.values():
            if isinstance(value, File):
                value.seek(0)
        fields = {**self.fields, **others}
        fields.pop(without, None)
        return self.client.post(self.address, fields)


def sending(world: World, act: Act) -> Sending:
    """Open the page and fill its form in."""
    crew = make.Crew(world.accounts["maker"], world.accounts["reviewer"])
    arguments, typed = act.where(world, crew)
    account = world.accounts[act.role]
    client = Client()
    client.force_login(account)
    address = reverse(act.name, args=arguments)
    page = client.get(address)
    assert page.status_code == 200, (address, page.status_code)
    form = page.context["form"]
    unknown = set(typed) - set(form.fields)
    assert not unknown, f"{act} has no field {unknown}"
    shown = {name: shown_value(form, name) for name in form.fields}
    fields = {
        name: as_typed(value)
        for name, value in {**shown, **typed}.items()
        if value not in (None, "", False, [])
    }
    return Sending(client, account, address, form, fields)


def shown_value(form: Any, name: str) -> Any:
    """Return what a field is filled with; a list without an empty line has its first.

    So does a browser.
    """
    value, field = form[name].value(), form.fields[name]
    if value is None and getattr(field, "empty_label", "") is None:
        first = next(iter(field.choices), ("", ""))
        return first[0]
    return value


def as_typed(value: Any) -> Any:
    """Return what a browser sends for a value that the page is filled with."""
    if isinstance(value, datetime.datetime):
        return value.strftime("%Y-%m-%dT%H:%M")
    if value is True:
        return "on"
    return value if isinstance(value, (list, File)) else str(value)


def complaints(response: HttpResponseBase) -> Any:
    """Return what a form that was shown again says, for the message of a failure."""
    context = getattr(response, "context", None)
    return context and context.get("form") and context["form"].errors


def changed(before: dict[str, str], after: dict[str, str]) -> set[str]:
    """Return the tables that do not hold what they held."""
    return {table for table in after if after[table] != before[table]}


def names_that_take_post(world: World) -> set[str]:
    """Return the URL names whose page answers a POST, found by trying each."""
    account = worlds.all_rights(world)
    found = set()
    for name, addresses in worlds.addresses(world).items():
        client = Client()  # signing out is one of them
        client.force_login(account)
        answers = {client.post(address).status_code for address in addresses}
        assert len({status == 405 for status in answers}) == 1, name
        if answers != {405}:
            found.add(name)
    return found


def test_every_page_that_takes_a_post_is_in_the_table_or_exempt(world: World) -> None:
    in_table = {act.name for act in ACTS}
    assert not in_table & set(EXEMPT)
    assert names_that_take_post(world) == in_table | set(EXEMPT)


@each_act
def test_an_act_writes_one_entry_by_its_account_and_none_the_second_time(
    world: World, act: Act
) -> None:
    filled = sending(world, act)
    before, written = row_values(), JournalEntry.objects.count()

    first = filled.send()
    assert first.status_code == 302, complaints(first)
    assert JournalEntry.objects.count() == written + 1
    entry = JournalEntry.objects.latest("sequence")
    assert entry.actor == filled.account
    assert entry.actor_name == filled.account.person.name
    assert entry.act
    assert entry.subject_label
    assert entry.submission is not None
    after = row_values()
    records = changed(before, after) - JOURNAL
    assert bool(records) == (act.name not in ONLY_JOURNAL), records

    again = filled.send()
    assert again.status_code == 302, complaints(again)
    assert changed(after, row_values()) == set()
    assert list(journal.faults()) == []


# That every form is sent on both engines, the test above sees to.
@pytest.mark.any_engine
@each_act
def test_a_form_that_cannot_be_used_changes_nothing(world: World, act: Act) -> None:
    filled = sending(world, act)
    needed = [
        name
        for name, field in filled.form.fields.items()
        if field.required and name in filled.fields
    ]
    assert "submission" in filled.fields
    before = row_values()
    for name in {"submission", *needed}:
        response = filled.send(without=name)
        assert response.status_code == 200, f"{act} was taken without {name}"
        nothing_was_sent = set(filled.fields) == {name}
        assert nothing_was_sent or complaints(response), f"{act}: {name}"
    nonsense = filled.send(submission="not a submission")
    assert nonsense.status_code == 200
    assert changed(before, row_values()) == set()


@pytest.mark.any_engine
@each_act
def test_the_same_form_from_an_account_without_the_right_changes_nothing(
    world: World, act: Act
) -> None:
    if act.name == "producer:password":
        return_to_own_password(world)
        return
    filled = sending(world, act)
    before = row_values()
    filled.client.force_login(world.accounts["auditor"])
    assert filled.send().status_code == 403
    assert changed(before, row_values()) == set()


def return_to_own_password(world: World) -> None:
    """Everybody may change their own password, with the old one only."""
    filled = sending(world, next(a for a in ACTS if a.name == "producer:password"))
    before = row_values()
    assert filled.send(current_password="guessed").status_code == 200
    assert changed(before, row_values()) == set()


def test_coming_and_going_write_no_act(world: World) -> None:
    client, before = Client(), row_values()
    account = world.accounts["maker"]
    fields = {"username": account.username, "password": make.PASSWORD}
    came = client.post(reverse("producer:sign_in"), fields)
    assert came.status_code == 302
    assert client.get(reverse("producer:journal")).status_code == 200
    went = client.post(reverse("producer:sign_out"))
    assert went.status_code == 302
    assert client.get(reverse("producer:journal")).status_code == 302
    assert changed(before, row_values()) == set()


def test_reading_every_page_changes_no_value_of_any_row(
    world: World, everything: User
) -> None:
    before, pages = row_values(), 0
    for addresses in worlds.addresses(world).values():
        for address in addresses:
            client = Client()
            client.force_login(everything)
            response = client.get(address)
            response.getvalue()  # what streams is read to its end
            pages += response.status_code == 200
    assert changed(before, row_values()) == set()
    assert pages > 60


def test_control_a_value_changed_by_a_page_would_be_seen(world: World) -> None:
    before = row_values()
    type(world.lot.stock).objects.filter(pk=world.lot.pk).update(on_hand_mg=1)
    assert changed(before, row_values()) == {"producer.Stock"}
