"""People and accounts: one owner at least, names never used twice, nobody deleted."""

from __future__ import annotations

import pytest
from django.contrib.auth import authenticate
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import models, transaction

from producer.errors import Conflict, Refusal
from producer.models import JournalEntry, Person, Premises, Right, User
from producer.services import people
from tests import make
from tests.database import together


@pytest.mark.django_db
def test_the_first_account_is_the_owner_and_no_password_is_given_away() -> None:
    assert people.needs_setup()
    code = people.make_setup_code()
    assert people.setup_code_path().stat().st_mode & 0o077 == 0
    assert people.make_setup_code() == code  # the same until it is used
    owner = make.set_up()
    assert not people.needs_setup()
    assert owner.rights == {Right.OWNER}
    written = str(list(JournalEntry.objects.values_list()))
    assert make.PASSWORD not in written
    assert owner.password not in written


@pytest.mark.django_db
@pytest.mark.parametrize("code", ["", "00000000", "nonsense"])
def test_without_the_code_from_the_terminal_nobody_becomes_owner(code: str) -> None:
    people.make_setup_code()
    with pytest.raises(Refusal) as refusal:
        people.set_up(
            code=code,
            premises=Premises(name="X"),
            name="Thief",
            username="thief",
            password=make.PASSWORD,
            rights=[],
        )
    assert refusal.value.field == "code"
    assert not User.objects.exists()
    assert not Premises.objects.exists()


@pytest.mark.django_db
def test_without_a_code_made_no_code_fits() -> None:
    with pytest.raises(Refusal):
        people.set_up(
            code="",
            premises=Premises(name="X"),
            name="Thief",
            username="thief",
            password=make.PASSWORD,
            rights=[],
        )


@pytest.mark.django_db
def test_a_premises_is_set_up_once(owner: User) -> None:
    with pytest.raises(Conflict):
        make.set_up()
    assert User.objects.count() == Premises.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_of_two_people_at_the_first_run_page_one_becomes_owner() -> None:
    people.make_setup_code()
    results = together(make.set_up, make.set_up)
    assert sum(isinstance(result, User) for result in results) == 1
    assert sum(isinstance(result, Conflict) for result in results) == 1
    assert User.objects.count() == 1
    assert not people.setup_code_path().exists()  # used up


@pytest.mark.django_db(transaction=True)
def test_the_code_survives_a_failed_attempt() -> None:
    people.make_setup_code()
    with pytest.raises(ValidationError):
        make.set_up(time_zone="Mars/Olympus")
    assert people.setup_code_path().exists()
    assert make.set_up(time_zone="Europe/Berlin").is_owner


@pytest.mark.django_db
@pytest.mark.parametrize(
    "password", ["short", "1234567890123", "password1234", "mirja.aalto"]
)
def test_a_weak_password_is_refused(owner: User, password: str) -> None:
    with pytest.raises(ValidationError):
        people.add_account(
            by=owner,
            name="Mirja Aalto",
            username="mirja.aalto",
            password=password,
            rights=[Right.MAKER],
        )
    assert User.objects.count() == 1


@pytest.mark.django_db
@pytest.mark.parametrize("right", [Right.MAKER, Right.REVIEWER, Right.AUDITOR])
def test_only_an_owner_opens_accounts(owner: User, right: Right) -> None:
    helper = make.account(by=owner, name="Helper", rights=[right])
    with pytest.raises(PermissionDenied):
        make.account(by=helper, name="Friend", rights=["owner"])
    assert make.account(by=owner, name="Friend", rights=["owner"]).is_owner


@pytest.mark.django_db
def test_scenario_20_deactivated_user_name_not_reusable(owner: User) -> None:
    helper = make.account(by=owner, name="Helper", rights=["maker"])
    supplier = make.supplier(helper)
    assert helper.person.deactivated_at is None
    people.deactivate(by=owner, user=helper, reason="moved away")

    helper.refresh_from_db()
    helper.person.refresh_from_db()
    assert not helper.is_active
    assert helper.person.deactivated_at is not None
    assert not helper.may("maker")
    assert authenticate(username="helper", password=make.PASSWORD) is None
    entry = JournalEntry.objects.get(subject_kind="supplier")
    assert entry.actor_name == "Helper"  # the name stays on the records
    assert entry.subject_label == supplier.name
    for name in ("helper", "HELPER", " helper "):
        with pytest.raises(ValidationError, match="never used twice"):
            make.account(by=owner, name="Somebody else", rights=[], username=name)
    with pytest.raises(models.ProtectedError):
        helper.delete()
    with pytest.raises(models.ProtectedError):
        helper.person.delete()
    with pytest.raises(Conflict):
        people.deactivate(by=owner, user=helper, reason="again")
    # control: another name is free
    assert make.account(by=owner, name="Helper junior", rights=[], username="helper.2")


@pytest.mark.django_db
def test_a_person_is_registered_once_and_namesakes_are_told_apart(owner: User) -> None:
    make.account(by=owner, name="Ines Holm", rights=["maker"])
    for name in ("Ines Holm", " ines holm "):
        with pytest.raises(Refusal) as refusal:
            make.account(by=owner, name=name, username="ines.2", rights=["reviewer"])
        assert refusal.value.field == "name"
    assert make.account(by=owner, name="Ines Holm, Turku", username="it", rights=[])


@pytest.mark.django_db
def test_a_person_with_another_account_is_still_with_us(owner: User) -> None:
    first = make.account(by=owner, name="Ines Holm", rights=["maker"])
    make.account(
        by=owner, name="", username="ines.2", rights=["reviewer"], person=first.person
    )
    people.deactivate(by=owner, user=first, reason="one is enough")
    assert Person.objects.get(name="Ines Holm").deactivated_at is None


@pytest.mark.django_db
def test_the_last_owner_stays(owner: User) -> None:
    with pytest.raises(Refusal, match="last owner"):
        people.deactivate(by=owner, user=owner, reason="tired")
    with pytest.raises(Refusal, match="last owner"):
        people.change_rights(by=owner, user=owner, rights=[Right.MAKER], reason="tired")
    owner.refresh_from_db()
    assert owner.may("owner")
    make.account(by=owner, name="Next", rights=["owner"])
    people.deactivate(by=owner, user=owner, reason="tired")  # control


@pytest.mark.django_db(transaction=True)
def test_two_owners_cannot_remove_each_other_at_once(owner: User) -> None:
    other = make.account(by=owner, name="Other", rights=["owner"])

    def remove_other() -> User:
        return people.deactivate(by=owner, user=other, reason="a quarrel")

    def remove_owner() -> User:
        return people.deactivate(by=other, user=owner, reason="a quarrel")

    results = together(remove_other, remove_owner)
    assert sum(isinstance(result, User) for result in results) == 1
    assert User.objects.filter(is_owner=True, is_active=True).count() == 1


@pytest.mark.django_db
def test_rights_change_with_a_reason_and_the_journal_keeps_the_old(
    owner: User, maker: User
) -> None:
    with pytest.raises(Refusal):
        people.change_rights(by=owner, user=maker, rights=[Right.REVIEWER], reason=" ")
    people.change_rights(
        by=owner, user=maker, rights=[Right.REVIEWER], reason="new task"
    )
    maker.refresh_from_db()
    assert maker.rights == {Right.REVIEWER}
    entry = JournalEntry.objects.get(act="rights changed")
    assert entry.before_values == {"rights": ["maker"]}
    assert entry.after_values == {"rights": ["reviewer"]}


@pytest.mark.django_db
def test_everybody_changes_their_own_password_knowing_the_old(
    owner: User, maker: User
) -> None:
    with pytest.raises(Refusal) as refusal:
        people.change_password(
            by=maker, user=maker, current_password="wrong", password="a new kettle 1"
        )
    assert refusal.value.field == "current_password"
    with pytest.raises(Refusal):
        people.change_password(
            by=owner,
            user=maker,
            current_password=make.PASSWORD,
            password="a new kettle 1",
        )
    people.change_password(
        by=maker,
        user=maker,
        current_password=make.PASSWORD,
        password="a new kettle 1",
    )
    maker.refresh_from_db()
    assert maker.check_password("a new kettle 1")


@pytest.mark.django_db
def test_an_owner_gives_a_new_password_but_not_to_a_closed_account(
    owner: User, maker: User, reviewer: User
) -> None:
    with pytest.raises(PermissionDenied):
        people.set_password(by=reviewer, user=maker, password="a new kettle 1")
    people.set_password(by=owner, user=maker, password="a new kettle 1")
    maker.refresh_from_db()
    assert maker.check_password("a new kettle 1")
    people.deactivate(by=owner, user=maker, reason="moved away")
    maker.refresh_from_db()
    with pytest.raises(Conflict):
        people.set_password(by=owner, user=maker, password="a new kettle 2")


@pytest.mark.django_db
def test_a_second_premises_is_refused_by_the_database(owner: User) -> None:
    with pytest.raises(Exception, match="one_premises_only"), transaction.atomic():
        Premises.objects.create(pk=2, name="Another")
