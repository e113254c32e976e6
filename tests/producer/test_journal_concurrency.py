"""Ten thousand acts by eight people at once: one chain, no gap, nothing lost."""

from __future__ import annotations

import functools
import threading

import pytest
from django.db import connections, transaction
from django.db.models import Max, Min
from django.utils import timezone

from producer import journal
from producer.models import JournalEntry, JournalHead, Right, Supplier, User
from producer.services import registers
from tests import make
from tests.database import PATIENCE, together

THREADS, EACH = 8, 1250
ALL = THREADS * EACH


@pytest.fixture
def _patience(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let SQLite wait for its turn however slow the disk of a busy machine is.

    It does not serve in order of arrival, and eight who never pause can keep one of
    them out for long. Whether each act is done is what is asked here, not how soon.
    """
    options = connections.settings["default"]["OPTIONS"]
    if "timeout" in options:
        monkeypatch.setitem(options, "timeout", 500)


@pytest.mark.usefixtures("_patience")
@pytest.mark.django_db(transaction=True)
def test_ten_thousand_acts_at_once_make_one_unbroken_chain(owner: User) -> None:
    maker = make.account(by=owner, name="Mirja Aalto", rights=[Right.MAKER])
    start = JournalHead.objects.get().sequence

    def act_often(hand: int) -> None:
        for number in range(EACH):
            registers.save(by=maker, entry=Supplier(name=f"{hand} {number:04d}"))

    came = together(*[functools.partial(act_often, hand) for hand in range(THREADS)])
    assert came == [None] * THREADS

    acts = JournalEntry.objects.filter(sequence__gt=start)
    assert acts.count() == Supplier.objects.count() == ALL
    ends = acts.aggregate(first=Min("sequence"), last=Max("sequence"))
    assert ends == {"first": start + 1, "last": start + ALL}  # so there is no gap
    assert list(journal.faults()) == []
    said = list(acts.order_by("sequence").values_list("subject_label", flat=True))
    assert set(said) == set(Supplier.objects.values_list("name", flat=True))
    for hand in range(THREADS):  # each hand's acts stand in the order of doing
        own = [label for label in said if label.startswith(f"{hand} ")]
        assert own == sorted(own)
        assert len(own) == EACH
    assert said != sorted(said)  # and the hands were really at it together


def write_after(by: User, previous_hash: str) -> None:
    """Write as ``journal.write`` does, but with the hash read before the lock."""
    with transaction.atomic():
        head = JournalHead.objects.select_for_update().get(pk=1)
        entry = JournalEntry(
            sequence=head.sequence + 1,
            at=timezone.now(),
            actor=by,
            act="hasty",
            previous_hash=previous_hash,
        )
        entry.hash = entry.expected_hash()
        entry.save(force_insert=True)
        head.sequence, head.hash = entry.sequence, entry.hash
        head.save()


@pytest.mark.django_db(transaction=True)
def test_control_two_who_read_the_end_before_they_hold_the_lock_break_the_chain(
    owner: User,
) -> None:
    both_have_read = threading.Barrier(2)

    def act() -> None:
        seen = JournalHead.objects.get(pk=1).hash
        both_have_read.wait(timeout=PATIENCE)
        write_after(owner, seen)

    assert together(act, act) == [None, None]
    faults = list(journal.faults())
    assert len(faults) == 1
    assert faults[0].endswith("does not follow the row before it.")
