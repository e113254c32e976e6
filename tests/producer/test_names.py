"""Names of people that look the same are the same, and none hides a character."""

from __future__ import annotations

import pytest

from producer import names
from producer.errors import Refusal
from producer.models import Person, User
from tests import make

ISOLDE = "Isolde Penhaligrew"


@pytest.mark.django_db
@pytest.mark.parametrize(
    "twin",
    [
        "Isolde  Penhaligrew",
        "Isolde\u00a0Penhaligrew",
        " isolde PENHALIGREW ",
        "\uff29solde Penhaligrew",  # a wide I
    ],
)
def test_a_name_that_looks_the_same_is_registered(owner: User, twin: str) -> None:
    make.account(by=owner, name=ISOLDE, rights=["reviewer"])
    with pytest.raises(Refusal, match="is registered"):
        make.account(by=owner, name=twin, username="twin", rights=["reviewer"])


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("name", "why"),
    [
        ("Is\u043elde Penhaligrew", "two alphabets stand in “Is\u043elde”"),
        ("Isolde Penhaligre\u03c9", "two alphabets"),
        ("Isolde\u200b Penhaligrew", "cannot be seen"),
        ("Isolde\u202e Penhaligrew", "cannot be seen"),
        ("Isolde\u0007 Penhaligrew", "cannot be seen"),
    ],
)
def test_a_name_that_deceives_the_eye_is_refused(
    owner: User, name: str, why: str
) -> None:
    with pytest.raises(Refusal, match=why) as refusal:
        make.account(by=owner, name=name, username="twin", rights=["reviewer"])
    assert refusal.value.field == "name"
    assert Person.objects.count() == 1


@pytest.mark.parametrize(
    "name",
    [
        "Zoë O’Hara-Núñez",
        "Łukasz Żółć",
        "Ольга Петрова",
        "Ольга Smith",  # an alphabet each
        "山田 たろう",
        "田ノ上 花",
        "Anna 2",
    ],
)
def test_honest_names_pass(name: str) -> None:
    assert names.why_not(names.tidy(name)) == ""


@pytest.mark.django_db
def test_the_name_is_kept_in_one_form(owner: User) -> None:
    made = make.account(by=owner, name="  Zoe\u0308   Hart ", rights=[], username="zoe")
    assert made.person.name == "Zo\u00eb Hart"
