"""People and accounts: the first owner, new accounts, rights, deactivation."""

from __future__ import annotations

import hmac
import secrets
import uuid
from collections.abc import Iterable
from pathlib import Path

from django.conf import settings
from django.contrib.auth.password_validation import validate_password
from django.db import transaction
from django.utils import timezone

from producer import journal, names
from producer.errors import Conflict, Refusal
from producer.models import JournalHead, Person, Premises, Right, User
from producer.services.checks import need_reason, require
from producer.services.registers import check_pause, values


def setup_code_path() -> Path:
    """Return where the one-time code for the first-run page is kept."""
    return Path(settings.DATA_DIR) / "setup-code.txt"


def needs_setup() -> bool:
    """Say whether this installation has no account yet."""
    return not User.objects.exists()


def make_setup_code() -> str:
    """Return the one-time code, made now if there is none, readable by us only."""
    path = setup_code_path()
    if not path.exists():
        path.touch(mode=0o600)
        path.write_text(secrets.token_hex(8), encoding="utf-8")
    return path.read_text(encoding="utf-8").strip()


@transaction.atomic
def set_up(
    *,
    code: str,
    premises: Premises,
    name: str,
    username: str,
    password: str,
    rights: Iterable[Right],
) -> User:
    """Create the premises and its first account, the owner.

    ``code`` is what ``serve`` printed on the terminal: whoever reaches the page over
    the network first must not become the owner.
    """
    path = setup_code_path()
    # The head row is locked so that two people at the first-run page make one owner.
    JournalHead.objects.select_for_update().get(pk=1)
    if not needs_setup():
        raise Conflict("This premises has an owner already. Sign in instead.")
    if not path.exists() or not hmac.compare_digest(
        code.strip().lower().encode(), path.read_bytes().strip()
    ):
        raise Refusal(
            "This is not the setup code. It was printed where “serve” was started.",
            field="code",
        )
    premises.pk = 1
    premises.full_clean(exclude=["id"])
    check_pause(premises)
    premises.save(force_insert=True)
    user = _new_account(
        person=_new_person(name),
        username=username,
        password=password,
        rights={Right.OWNER, *rights},
    )
    journal.write(
        by=user,
        act="premises set up",
        subject=premises,
        label=premises.name,
        after={**values(premises), "owner": username, "rights": _names(user.rights)},
    )
    transaction.on_commit(lambda: path.unlink(missing_ok=True))
    return user


@transaction.atomic
def add_account(
    *,
    by: User,
    username: str,
    password: str,
    rights: Iterable[Right],
    name: str = "",
    person: Person | None = None,
    submission: uuid.UUID | None = None,
) -> User:
    """Open an account for a new person, or a further one for ``person``."""
    require(by, Right.OWNER)
    user = _new_account(
        person=person or _new_person(name),
        username=username,
        password=password,
        rights=set(rights),
    )
    journal.write(
        by=by,
        act="account opened",
        subject=user,
        label=user.username,
        after={"person": user.person.name, "rights": _names(user.rights)},
        submission=submission,
    )
    return user


@transaction.atomic
def change_rights(
    *,
    by: User,
    user: User,
    rights: Iterable[Right],
    reason: str,
    submission: uuid.UUID | None = None,
) -> User:
    """Set the rights of an account; the last owner stays owner."""
    require(by, Right.OWNER)
    reason = need_reason(reason)
    user = _locked(user)
    before = user.rights
    _set_rights(user, set(rights))
    _keep_an_owner(user)
    user.full_clean(exclude=["password"])
    user.save()
    journal.write(
        by=by,
        act="rights changed",
        subject=user,
        label=user.username,
        before={"rights": _names(before)},
        after={"rights": _names(user.rights)},
        reason=reason,
        submission=submission,
    )
    return user


@transaction.atomic
def deactivate(
    *, by: User, user: User, reason: str, submission: uuid.UUID | None = None
) -> User:
    """Close an account for good. Its name stays on the records and is never reused."""
    require(by, Right.OWNER)
    reason = need_reason(reason)
    user = _locked(user)
    if not user.is_active:
        raise Conflict("This account is closed already.")
    user.is_active = False
    user.set_unusable_password()
    _keep_an_owner(user)
    user.save()
    person = user.person
    if not person.accounts.filter(is_active=True).exists():
        person.deactivated_at = timezone.now()
        person.save()
    journal.write(
        by=by,
        act="account closed",
        subject=user,
        label=user.username,
        before={"is_active": True},
        after={"is_active": False},
        reason=reason,
        submission=submission,
    )
    return user


@transaction.atomic
def change_password(
    *,
    by: User,
    user: User,
    current_password: str,
    password: str,
    submission: uuid.UUID | None = None,
) -> User:
    """Change one's own password, knowing the current one."""
    if by.pk != user.pk:
        raise Refusal("Everybody changes their own password.")
    if not by.check_password(current_password):
        raise Refusal("This is not your current password.", field="current_password")
    return _store_password(by, user, password, submission)


@transaction.atomic
def set_password(
    *, by: User, user: User, password: str, submission: uuid.UUID | None = None
) -> User:
    """Set a new password for somebody who has lost theirs; an owner's act."""
    require(by, Right.OWNER)
    if not user.is_active:
        raise Conflict("This account is closed. Open a new one instead.")
    return _store_password(by, user, password, submission)


def _store_password(
    by: User, user: User, password: str, submission: uuid.UUID | None
) -> User:
    # A signature says who set its password: one that is under way comes first.
    journal.in_line()
    user = _locked(user)
    validate_password(password, user)
    user.set_password(password)
    user.save()
    journal.write(
        by=by,
        act="password changed",
        subject=user,
        label=user.username,
        submission=submission,
    )
    return user


def _new_person(name: str) -> Person:
    person = Person(name=names.tidy(name))
    person.full_clean()
    refused = names.why_not(person.name)
    if refused:
        raise Refusal(refused, field="name")
    known = map(names.key, Person.objects.values_list("name", flat=True))
    if names.key(person.name) in known:
        raise Refusal(
            "A person of this name is registered. Choose them in the list; if it is"
            " somebody else, add something that tells the two apart.",
            field="name",
        )
    person.save()
    return person


def _new_account(
    *, person: Person, username: str, password: str, rights: set[Right]
) -> User:
    user = User(person=person, username=username.strip().lower())
    _set_rights(user, rights)
    user.full_clean(exclude=["password"])
    validate_password(password, user)
    user.set_password(password)
    user.save()
    return user


def _set_rights(user: User, rights: set[Right]) -> None:
    for right in Right:
        setattr(user, f"is_{right}", right in rights)


def _keep_an_owner(user: User) -> None:
    if user.may(Right.OWNER):
        return
    others = User.objects.filter(is_owner=True, is_active=True).exclude(pk=user.pk)
    if not others.exists():
        raise Refusal(
            "This is the last owner. Give another account the right “Owner” first."
        )


def _locked(user: User) -> User:
    # Every account is locked, so that two owners cannot remove each other at once.
    list(User.objects.select_for_update().order_by("pk").values_list("pk"))
    return User.objects.select_related("person").get(pk=user.pk)


def _names(rights: Iterable[Right]) -> list[str]:
    return sorted(right.value for right in rights)
