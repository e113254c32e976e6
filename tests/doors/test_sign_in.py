"""Signing in and out, guessing, forging, and the first run."""

from __future__ import annotations

from pathlib import Path

import pytest
from django.contrib.sessions.models import Session
from django.test import Client
from django.urls import reverse
from pytest_django import Settings

from producer.models import JournalEntry, Person, Premises, User
from producer.services import people
from quality.models import Signature
from tests import make
from tests.database import row_counts
from tests.doors.pages import field_value, page_of, text_of
from tests.doors.world import World

pytestmark = pytest.mark.django_db

NAME = "mirja.aalto"
ELSEWHERE = "203.0.113.7"


@pytest.fixture
def lock_out(settings: Settings) -> None:
    """Switch on what the settings of the tests switch off."""
    settings.AXES_ENABLED = True


def sign_in(
    client: Client,
    *,
    name: str = NAME,
    password: str = make.PASSWORD,
    follow: str = "",
    address: str = "127.0.0.1",
) -> tuple[int, str]:
    """Send the sign-in form; return the status and where it leads."""
    response = client.post(
        "/sign-in/" + follow,
        {"username": name, "password": password},
        REMOTE_ADDR=address,
    )
    return response.status_code, response.headers.get("Location", "")


def test_a_person_signs_in_with_name_and_password(maker: User) -> None:
    assert sign_in(Client()) == (302, "/")


@pytest.mark.parametrize(
    ("name", "password"),
    [
        (NAME, "not the password"),
        (NAME, ""),
        (NAME, make.PASSWORD.upper()),
        (NAME, make.PASSWORD + " "),
        ("nobody", make.PASSWORD),
    ],
)
def test_anything_else_is_refused_without_saying_what_was_wrong(
    maker: User, name: str, password: str
) -> None:
    client = Client()
    response = client.post("/sign-in/", {"username": name, "password": password})
    assert response.status_code == 200
    assert client.get("/").status_code == 302
    if password:
        words = page_of(response).words
        assert "Please enter a correct" in words


def test_a_closed_account_does_not_get_in(owner: User, maker: User) -> None:
    people.deactivate(by=owner, user=maker, reason="left")
    assert sign_in(Client())[0] == 200


def test_the_session_gets_a_new_number_at_sign_in(maker: User) -> None:
    client = Client()
    before = client.session  # makes one, as an attacker would have planted it
    before["planted"] = "yes"
    before.save()
    client.cookies["sessionid"] = before.session_key or ""
    sign_in(client)
    assert client.cookies["sessionid"].value != before.session_key
    assert not Session.objects.filter(session_key=before.session_key).exists()


def test_signing_out_ends_the_session_on_the_server(maker: User) -> None:
    client = Client()
    sign_in(client)
    stolen = client.cookies["sessionid"].value
    client.post("/sign-out/")
    thief = Client()
    thief.cookies["sessionid"] = stolen
    assert thief.get("/").status_code == 302


def test_a_new_password_ends_the_other_sessions(maker: User) -> None:
    here, there = Client(), Client()
    sign_in(here)
    sign_in(there)
    form = {
        "submission": field_value(page_of(here.get("/password/")), "submission"),
        "current_password": make.PASSWORD,
        "password": "a kettle of another shape",
    }
    assert here.post("/password/", form).status_code == 302
    assert here.get("/").status_code == 200
    assert there.get("/").status_code == 302
    assert sign_in(Client())[0] == 200
    assert sign_in(Client(), password="a kettle of another shape")[0] == 302


@pytest.mark.parametrize(
    "evil",
    [
        "https://evil.example/",
        "//evil.example/",
        "/\\evil.example/",
        "https:evil.example",
        "javascript:alert(1)",
        "http://testserver@evil.example/",
    ],
)
def test_signing_in_leads_to_no_other_site(maker: User, evil: str) -> None:
    assert sign_in(Client(), follow=f"?next={evil}") == (302, "/")
    client = Client()
    client.post("/sign-in/", {"username": NAME, "password": make.PASSWORD})
    assert client.get("/sign-in/", {"next": evil}).headers["Location"] == "/"


def test_signing_in_leads_on_to_the_page_that_was_asked_for(maker: User) -> None:
    assert sign_in(Client(), follow="?next=/lots/") == (302, "/lots/")


def test_signing_out_leads_to_no_other_site(maker: User) -> None:
    client = Client()
    sign_in(client)
    response = client.post("/sign-out/?next=//evil.example/")
    assert response.headers["Location"] in {"/sign-in/", "/sign-out/"}


# ------------------------------------------------------------------ guessing


@pytest.mark.usefixtures("lock_out")
def test_the_fifth_wrong_password_locks_the_name_from_this_address(
    maker: User,
) -> None:
    client = Client()
    answers = [sign_in(client, password=f"guess {number}")[0] for number in range(5)]
    assert answers == [200, 200, 200, 200, 429]
    response = client.post("/sign-in/", {"username": NAME, "password": make.PASSWORD})
    assert response.status_code == 429
    words = page_of(response).words
    assert "Wait a quarter of an hour" in words
    assert "The owner can set a new password" in words
    assert client.get("/").status_code == 302


@pytest.mark.usefixtures("lock_out")
def test_others_and_other_addresses_are_not_locked_with_it(
    maker: User, reviewer: User
) -> None:
    for number in range(6):
        sign_in(Client(), password=f"guess {number}")
    assert sign_in(Client())[0] == 429
    assert sign_in(Client(), name="rasmus.lind")[0] == 302
    assert sign_in(Client(), address=ELSEWHERE)[0] == 302


@pytest.mark.usefixtures("lock_out")
def test_four_wrong_passwords_and_the_right_one_lead_in_and_start_anew(
    maker: User,
) -> None:
    for _ in range(2):
        for number in range(4):
            assert sign_in(Client(), password=f"guess {number}")[0] == 200
        assert sign_in(Client())[0] == 302


@pytest.mark.usefixtures("lock_out")
def test_writing_the_name_another_way_wins_no_more_guesses(maker: User) -> None:
    """Names are looked up whatever their case, so they are counted the same way."""
    ways = (NAME, NAME.upper(), NAME.title(), "mIRJA.aalto", f" {NAME} ")
    for way in ways:
        sign_in(Client(), name=way, password="a guess")
    assert sign_in(Client())[0] == 429


@pytest.mark.usefixtures("lock_out")
def test_a_forged_sender_wins_no_more_guesses(maker: User) -> None:
    for number in range(5):
        Client().post(
            "/sign-in/",
            {"username": NAME, "password": "a guess"},
            headers={"X-Forwarded-For": f"198.51.100.{number}"},
        )
    assert sign_in(Client())[0] == 429


@pytest.mark.usefixtures("lock_out")
def test_guessing_at_the_signature_counts_like_guessing_at_the_door(
    world: World,
) -> None:
    reviewer = world.accounts["reviewer"]
    client = Client()
    client.force_login(reviewer)
    address = reverse("quality:sign", args=[world.waiting.number])
    before = Signature.objects.count(), JournalEntry.objects.count()

    def sign(password: str) -> int:
        page = page_of(client.get(address))
        form = {
            "submission": field_value(page, "submission"),
            "seen": field_value(page, "seen"),
            "meaning": "release",
            "password": password,
        }
        return client.post(address, form).status_code

    assert [sign(f"guess {one}") for one in range(5)] == [200, 200, 200, 200, 429]
    assert sign(make.PASSWORD) == 429
    assert (Signature.objects.count(), JournalEntry.objects.count()) == before
    assert sign_in(Client(), name="rasmus.lind")[0] == 429


def test_a_wrong_password_signs_nothing_and_is_not_shown_again(world: World) -> None:
    client = Client()
    client.force_login(world.accounts["reviewer"])
    address = reverse("quality:sign", args=[world.waiting.number])
    page = page_of(client.get(address))
    form = {
        "submission": field_value(page, "submission"),
        "seen": field_value(page, "seen"),
        "meaning": "release",
        "reason": "looked at everything",
        "password": "hunter-two-and-a-half",
    }
    before = row_counts()
    text = text_of(client.post(address, form))
    assert "This is not your password. Nothing was signed." in text
    assert "looked at everything" in text
    assert "hunter-two-and-a-half" not in text
    assert row_counts() == before
    form["password"] = make.PASSWORD  # the control, with the very same form
    assert client.post(address, form).status_code == 302
    assert Signature.objects.count() == before["quality.Signature"] + 1


def test_a_form_that_does_not_say_what_was_read_signs_nothing(world: World) -> None:
    client = Client()
    client.force_login(world.accounts["reviewer"])
    address = reverse("quality:sign", args=[world.waiting.number])
    form = {
        "submission": field_value(page_of(client.get(address)), "submission"),
        "meaning": "release",
        "reason": "looked at everything",
        "password": make.PASSWORD,
    }
    before = row_counts()
    for seen in ({}, {"seen": ""}, {"seen": " "}):
        text = text_of(client.post(address, {**form, **seen}))
        assert "The form does not say what you read." in text
    assert row_counts() == before


# ------------------------------------------------------------------ forging


def test_a_form_from_elsewhere_is_refused_in_our_words(maker: User) -> None:
    client = Client(enforce_csrf_checks=True)
    client.force_login(maker)
    before = row_counts()
    response = client.post("/registers/suppliers/new/", {"name": "Forged"})
    assert response.status_code == 403
    assert "nothing was recorded" in page_of(response).words
    assert row_counts() == before


def test_the_same_form_with_its_token_is_taken(maker: User) -> None:
    client = Client(enforce_csrf_checks=True)
    client.force_login(maker)
    page = page_of(client.get("/registers/suppliers/new/"))
    form = {
        name: field_value(page, name) for name in ("csrfmiddlewaretoken", "submission")
    }
    response = client.post("/registers/suppliers/new/", form | {"name": "Genuine"})
    assert response.status_code == 302


# ------------------------------------------------------------------ first run


def first_run(**changes: str) -> dict[str, str]:
    """Return the first-run form, filled in."""
    return {
        "submission": "6e1c1f0e-3d4a-4f5c-9a41-0000000000aa",
        "code": people.make_setup_code(),
        "premises_name": "Hollow Beck Soapery",
        "time_zone": "Europe/London",
        "name": "Odile Brandt",
        "username": "odile.brandt",
        "password": make.PASSWORD,
        **changes,
    }


def test_an_empty_installation_leads_to_the_first_run_page(db: None) -> None:
    client = Client()
    assert client.get("/").headers["Location"].startswith("/sign-in/")
    assert client.get("/sign-in/").headers["Location"] == "/setup/"
    assert client.get("/setup/").status_code == 200


@pytest.mark.parametrize("code", ["", "00000000", "ÄÖÜ", " "])
def test_without_the_code_nobody_becomes_the_owner(db: None, code: str) -> None:
    people.make_setup_code()
    response = Client().post("/setup/", first_run(code=code))
    assert response.status_code == 200
    text = text_of(response)
    assert "This is not the setup code" in text or "This is needed." in text
    assert make.PASSWORD not in text
    assert "Hollow Beck Soapery" in text  # what was typed is kept
    assert not User.objects.exists()
    assert not Premises.objects.exists()
    assert not Person.objects.exists()


def test_without_a_code_on_file_nobody_becomes_the_owner(
    db: None, settings: Settings, tmp_path: Path
) -> None:
    settings.DATA_DIR = tmp_path / "elsewhere"
    settings.DATA_DIR.mkdir()
    form = first_run()
    people.setup_code_path().unlink()
    assert Client().post("/setup/", form).status_code == 200
    assert not User.objects.exists()


def test_two_posts_make_one_owner(db: None) -> None:
    client, form = Client(), first_run()
    assert client.post("/setup/", form).headers["Location"] == "/sign-in/"
    again = {**form, "username": "second", "name": "Somebody Else"}
    assert client.post("/setup/", again).headers["Location"] == "/sign-in/"
    assert client.post("/setup/", form).headers["Location"] == "/sign-in/"
    assert [one.username for one in User.objects.all()] == ["odile.brandt"]
    assert JournalEntry.objects.count() == 1


def test_the_first_owner_signs_in_with_the_password_just_chosen(db: None) -> None:
    client = Client()
    client.post("/setup/", first_run())
    assert sign_in(client, name="odile.brandt") == (302, "/")
    assert "The first steps" in page_of(client.get("/")).words
    assert client.get("/setup/").status_code == 302


def test_no_password_is_on_any_account_by_default(db: None) -> None:
    assert not User.objects.exists()
