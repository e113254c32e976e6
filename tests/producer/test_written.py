"""Which rows an act wrote: each is in the journal row of its act, and in no other."""

from __future__ import annotations

import json

import pytest
from django.db import connection, transaction

from producer import journal
from producer.models import JournalEntry, Supplier
from producer.models.journal import WRITTEN
from tests import make


def write(crew: make.Crew) -> JournalEntry:
    return journal.write(
        by=crew.maker, act="tried", subject=crew.maker, label="a trial"
    )


def keys_of(entry: JournalEntry) -> list[int]:
    kept = json.loads(entry.after).get(WRITTEN, {}).get("producer_supplier", {})
    return [row[0] for row in kept.get("rows", [])]


@pytest.mark.django_db
def test_a_row_is_in_the_act_that_stays_when_another_act_was_rolled_back(
    crew: make.Crew,
) -> None:
    with transaction.atomic():
        supplier = Supplier.objects.create(name="Oil mill")
        with transaction.atomic():
            undone = write(crew)
            transaction.set_rollback(True)
        entry = write(crew)
    assert keys_of(undone) == [supplier.pk]
    assert keys_of(entry) == [supplier.pk]


@pytest.mark.django_db
def test_two_acts_of_one_transaction_each_keep_their_own_rows(
    crew: make.Crew,
) -> None:
    with transaction.atomic():
        first = Supplier.objects.create(name="Oil mill")
        one = write(crew)
        with transaction.atomic():
            second = Supplier.objects.create(name="Salt works")
            two = write(crew)
        three = write(crew)
    assert keys_of(one) == [first.pk]
    assert keys_of(two) == [second.pk]
    assert keys_of(three) == []


@pytest.mark.django_db
def test_django_keeps_what_is_to_be_done_at_the_commit_as_we_read_it() -> None:
    # An inner part of Django: if an update changes it, rows would go unnoted.
    def act() -> None:
        pass

    def undone() -> None:
        pass

    with transaction.atomic():
        before = list(connection.run_on_commit)
        transaction.on_commit(act)
        with transaction.atomic():
            transaction.on_commit(undone)
            transaction.set_rollback(True)
        (added,) = connection.run_on_commit[len(before) :]
        assert added[1] is act
        assert connection.run_on_commit[: len(before)] == before
