"""Every service that changes something writes one journal entry; refused, none."""

from __future__ import annotations

import copy
import importlib
import inspect
import pkgutil
import uuid

import pytest
from django.core.exceptions import PermissionDenied
from django.core.files.base import File
from django.db import IntegrityError, models, transaction

from producer import journal
from producer.errors import Refusal
from producer.models import JournalEntry, User
from producer.services import people
from tests.database import row_counts
from tests.house.services_table import SERVICES, Cast, Facts, Service

WITHOUT_CAST = people.set_up  # the only act before there is anybody


def name_of(service: Service) -> str:
    return f"{service.__module__}.{service.__name__}"


every_service = pytest.mark.parametrize("service", SERVICES, ids=name_of)


@pytest.fixture
def facts(service: Service, request: pytest.FixtureRequest, db: None) -> Facts:
    """Return what the service takes in its ordinary case."""
    if service is WITHOUT_CAST:
        return SERVICES[service](None)  # type: ignore[arg-type]
    cast = Cast(
        owner=request.getfixturevalue("owner"),
        crew=request.getfixturevalue("crew"),
        auditor=request.getfixturevalue("auditor"),
    )
    return SERVICES[service](cast)


def service_modules() -> list[str]:
    names = []
    for package in ("producer.services", "batches.services", "quality.services"):
        path = importlib.import_module(package).__path__
        names += [info.name for info in pkgutil.walk_packages(path, f"{package}.")]
    return names


def changing_functions() -> set[Service]:
    """Return the public functions that open a transaction: those that change things.

    Only services do; what they share works inside the transaction of its caller.
    """
    return {
        function
        for name in service_modules()
        for label, function in vars(importlib.import_module(name)).items()
        if inspect.isfunction(function)
        # Who signs has the password checked before the transaction begins.
        and (
            hasattr(function, "__wrapped__")
            or {"password", "seen"} <= set(inspect.signature(function).parameters)
        )
        # A context, such as “written at that moment”, changes nothing by itself.
        and not inspect.isgeneratorfunction(inspect.unwrap(function))
        and function.__module__ == name
        and not label.startswith("_")
    }


def test_the_table_names_every_service_that_changes_something() -> None:
    assert set(SERVICES) == changing_functions()


@every_service
def test_a_service_takes_keywords_only_and_says_by_whom(service: Service) -> None:
    parameters = inspect.signature(service).parameters
    assert {p.kind for p in parameters.values()} == {inspect.Parameter.KEYWORD_ONLY}
    assert ("by" in parameters) == (service is not WITHOUT_CAST)
    assert ("submission" in parameters) == (service is not WITHOUT_CAST)
    assert service.__doc__


def refused(service: Service, facts: Facts, auditor: User | None) -> Facts:
    """Return the same act as somebody who may not, or with the wrong proof."""
    if service is WITHOUT_CAST:
        return {**facts, "code": "00000000"}
    if service is people.change_password:
        return {**facts, "current_password": "guessed"}
    return {**facts, "by": auditor}


def assert_a_double_tap_is_stopped(service: Service, facts: Facts) -> None:
    """Show that the database itself refuses a submission that was carried out."""
    submission = uuid.uuid4()
    with transaction.atomic():
        user = facts["by"]
        journal.write(
            by=user, act="first", subject=user, label="x", submission=submission
        )
        before = row_counts()
        with pytest.raises(IntegrityError), transaction.atomic():
            service(**_copied(facts), submission=submission)
        assert row_counts() == before
        transaction.set_rollback(True)


@every_service
def test_each_act_writes_one_entry_and_none_when_refused_undone_or_tapped_twice(
    service: Service, facts: Facts, request: pytest.FixtureRequest
) -> None:
    before, written = row_counts(), JournalEntry.objects.count()
    if service is WITHOUT_CAST:
        auditor = None
    else:
        auditor = request.getfixturevalue("auditor")
        assert_a_double_tap_is_stopped(service, facts)

    with pytest.raises((PermissionDenied, Refusal)), transaction.atomic():
        service(**refused(service, _copied(facts), auditor))
    assert row_counts() == before

    with transaction.atomic():
        service(**_copied(facts))
        assert row_counts() != before
        transaction.set_rollback(True)
    assert row_counts() == before
    assert list(journal.faults()) == []

    service(**_copied(facts))  # the same act, by the right person, once
    assert row_counts() != before
    assert JournalEntry.objects.count() == written + 1
    assert list(journal.faults()) == []
    entry = JournalEntry.objects.first()
    assert entry is not None
    assert entry.actor == facts.get("by", User.objects.last())
    assert entry.subject_label


def _copied(facts: Facts) -> Facts:
    """Return facts whose rows may be changed without changing the originals."""
    for value in facts.values():
        if isinstance(value, File):
            value.seek(0)
    return {
        name: copy.copy(value) if isinstance(value, models.Model) else value
        for name, value in facts.items()
    }
