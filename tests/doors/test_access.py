"""Who may do what where: every address × every role × every method."""

from __future__ import annotations

from typing import Any

import pytest
from django.http import HttpResponseBase, StreamingHttpResponse
from django.test import Client
from django.urls import reverse

from producer.services import people
from tests.database import row_counts
from tests.doors import world as worlds
from tests.doors.who_may_what import (
    IN,
    NOT_THIS_WAY,
    NOT_THIS_WAY_AT_ALL,
    NOTHING_THERE,
    SIGNED_IN_ALREADY,
    TABLE,
    Answer,
    Answers,
)
from tests.doors.world import ROLES, World

# Rights are no matter of the engine; test_every_act reads every page on both.
pytestmark = [pytest.mark.django_db, pytest.mark.any_engine]
pytestmark += [pytest.mark.usefixtures("standing_world", "papers_are_blank")]

Seen = dict[tuple[str, str], Answer]


def client_of(world: World, role: str) -> Client:
    """Return a browser in which this role is signed in."""
    client = Client()
    account = world.account(role)
    if account is not None:
        client.force_login(account)
    return client


def answer_of(response: HttpResponseBase) -> Answer:
    """Return the status, or where a redirect leads; read to its end what streams."""
    if isinstance(response, StreamingHttpResponse):
        response.getvalue()
    if response.status_code != 302:
        return response.status_code
    target = str(response.headers["Location"]).partition("?")[0]
    return IN if target == reverse("producer:sign_in") else target


def sweep(world: World, role: str, method: str, **sent: Any) -> Seen:
    """Ask for every address once; return each answer."""
    seen: Seen = {}
    for name, tries in worlds.addresses(world).items():
        for address in tries:
            client = client_of(world, role)  # signing out is one of the addresses
            response = client.generic(method, address, **sent)
            seen[name, address] = answer_of(response)
    return seen


def expected(world: World, role: str, answers: dict[str, Answers]) -> Seen:
    """Return the same shape from the table."""
    place = ROLES.index(role)
    return {
        (name, address): answers[name][place]
        for name, tries in worlds.addresses(world).items()
        for address in tries
    }


def test_every_url_name_is_in_the_table() -> None:
    assert set(TABLE) == set(worlds.url_names())


def test_every_url_that_names_a_record_is_tried_where_there_is_none() -> None:
    with_arguments = {
        name
        for name, pattern in worlds.url_names().items()
        if pattern.pattern.converters
    }
    assert set(NOTHING_THERE) == with_arguments


def test_the_site_has_no_addresses_but_those_of_the_three_apps() -> None:
    apps = {name.partition(":")[0] for name in worlds.url_names()}
    assert apps == {"producer", "batches", "quality"}


@pytest.mark.parametrize("role", ROLES)
def test_each_role_reads_what_it_may(
    world: World, role: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = row_counts()
    table = {name: on_get for name, (on_get, _) in TABLE.items()}
    assert sweep(world, role, "GET") == expected(world, role, table)
    # What is answered is known by now; to put it into words again would take longest.
    shown = "django.shortcuts.loader.render_to_string"
    monkeypatch.setattr(shown, lambda *_args, **_options: "")
    assert sweep(world, role, "HEAD") == expected(world, role, table)
    assert row_counts() == before


FORM = "application/x-www-form-urlencoded"


@pytest.mark.parametrize("role", ROLES)
def test_a_post_that_says_nothing_is_answered_by_right_and_changes_nothing(
    world: World, role: str
) -> None:
    before = row_counts()
    table = {name: on_post for name, (_, on_post) in TABLE.items()}
    for body in ("", "something=else"):
        seen = sweep(world, role, "POST", data=body, content_type=FORM)
        assert seen == expected(world, role, table)
    assert row_counts() == before


@pytest.mark.parametrize("role", ROLES)
def test_no_other_method_is_taken(world: World, role: str) -> None:
    before = row_counts()
    public = {
        "producer:set_up",
        "quality:bottle",
        "quality:bottle_scanned",
        "quality:bottle_typed",
    }
    table = {
        name: NOT_THIS_WAY_AT_ALL if name in public else NOT_THIS_WAY for name in TABLE
    }
    for method in ("PUT", "DELETE"):
        table["producer:sign_in"] = sign_in_with(method)
        assert sweep(world, role, method) == expected(world, role, table)
    assert row_counts() == before


def sign_in_with(method: str) -> Answers:
    """Return what Django's own sign-in answers: it looks who is there first."""
    return SIGNED_IN_ALREADY if method == "PUT" else (405, "/", "/", "/", "/")


@pytest.mark.parametrize("role", ROLES)
def test_what_does_not_exist_is_not_found_by_those_who_may_look(
    world: World, role: str
) -> None:
    client, place = client_of(world, role), ROLES.index(role)
    seen = {
        name: answer_of(client.get(reverse(name, args=arguments)))
        for name, (arguments, _) in NOTHING_THERE.items()
    }
    assert seen == {name: rest[place] for name, (_, rest) in NOTHING_THERE.items()}


def test_a_form_takes_nothing_from_a_right_that_may_only_look(world: World) -> None:
    """The whole form, rightly filled in, and refused all the same; then the control."""
    address = reverse("producer:lot_count", args=[world.lot.code])
    form = {
        "submission": "6e1c1f0e-3d4a-4f5c-9a41-000000000001",
        "counted_mg": "1 kg",
        "reason": "weighed the tin",
    }
    before = row_counts()
    for role in ("visitor", "owner", "reviewer", "auditor"):
        assert answer_of(client_of(world, role).post(address, form)) in {IN, 403}
    assert row_counts() == before
    assert answer_of(client_of(world, "maker").post(address, form)) == reverse(
        "producer:lot", args=[world.lot.code]
    )
    assert row_counts() != before


def test_a_closed_account_is_a_visitor_at_once(world: World) -> None:
    client = client_of(world, "auditor")
    assert answer_of(client.get("/journal/")) == 200
    people.deactivate(
        by=world.accounts["owner"], user=world.accounts["auditor"], reason="left"
    )
    assert answer_of(client.get("/journal/")) == IN


def test_the_address_asked_for_comes_back_after_signing_in(world: World) -> None:
    response = Client().get(reverse("producer:lot", args=[world.lot.code]))
    assert response.headers["Location"].endswith(f"?next=/lots/{world.lot.code}/")


def test_a_right_that_is_taken_away_is_gone_at_the_next_page(world: World) -> None:
    client = client_of(world, "maker")
    assert answer_of(client.get("/lots/receive/")) == 200
    people.change_rights(
        by=world.accounts["owner"],
        user=world.accounts["maker"],
        rights=[],
        reason="on leave",
    )
    assert answer_of(client.get("/lots/receive/")) == 403
