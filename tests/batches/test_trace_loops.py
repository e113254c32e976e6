"""No batch is ever in itself; and if the records said so, no question would hang."""

from __future__ import annotations

from fractions import Fraction

import pytest
from django.db import IntegrityError, transaction

from batches import trace
from batches.models import Batch
from batches.services import discrepancies
from batches.shares import Share, shares_of
from producer.errors import Refusal
from producer.models import RawLot, Stock
from quality.services import recall_affected
from tests import make
from tests.batches.brute_force import Book
from tests.batches.test_discrepancies import entry, explain
from tests.batches.test_trace import connect, stocks
from tests.database import query, run


@pytest.mark.django_db
def test_the_database_refuses_a_batch_drawn_from_itself(crew: make.Crew) -> None:
    _, batches = stocks(crew, lots=0, batches=1)
    with pytest.raises(IntegrityError), transaction.atomic():
        run(
            "INSERT INTO batches_input (batch_id, source_id, mass_mg)"
            " VALUES (%s, %s, 1)",
            batches[0],
            batches[0],
        )


@pytest.mark.django_db
def test_an_entry_kept_makes_no_ring_with_a_later_draw(crew: make.Crew) -> None:
    """The pot of B was emptied into A, the book could not take it; then A into B."""
    ahead = make.failed_paste(crew, "rework")
    behind = make.open_batch(crew, is_rework=True)
    row = discrepancies.record(
        by=crew.maker,
        batch=ahead,
        entry=entry(behind.stock),
        refused="it was closed",
    )
    explain(crew, row, went_in=True)
    assert behind.pk in trace.upstream_ids(ahead.pk)  # so says the genealogy now
    with pytest.raises(Refusal, match=f"{behind.number} is in it"):
        make.charge(crew, behind, ahead.stock, 1000, is_rework=True)
    assert ahead.pk not in trace.upstream_ids(behind.pk)


@pytest.mark.django_db
def test_control_without_the_entry_the_same_draw_is_taken(crew: make.Crew) -> None:
    ahead = make.failed_paste(crew, "rework")
    behind = make.open_batch(crew, is_rework=True)
    make.charge(crew, behind, ahead.stock, 1000, is_rework=True)
    assert ahead.pk in trace.upstream_ids(behind.pk)


def ring(crew: make.Crew) -> tuple[int, list[int]]:
    """Force a ring of three batches into the table; a lot goes into the first."""
    lots, batches = stocks(crew, lots=1, batches=3)
    first, second, third = batches
    connect([(lots[0], first, 30), (first, second, 50), (second, third, 70)])
    run(
        "INSERT INTO batches_input (batch_id, source_id, mass_mg) VALUES (%s, %s, 10)",
        first,
        third,
    )
    return lots[0], batches


@pytest.mark.django_db
def test_every_question_ends_though_a_ring_was_forced_into_the_table(
    crew: make.Crew,
) -> None:
    lot, batches = ring(crew)
    everything = {lot, *batches}
    for batch in batches:
        assert sorted(trace.upstream_ids(batch)) == sorted(everything)
        assert sorted(trace.downstream_ids(batch)) == sorted(batches)
    assert sorted(trace.downstream_ids(lot)) == sorted(everything)
    assert sorted(trace.downstream_of(batches)) == sorted(batches)
    each = trace.downstream_of_each([lot, *batches])
    assert each == {lot: everything, **{one: set(batches) for one in batches}}
    above = trace.upstream_of_each(batches)
    assert above == dict.fromkeys(batches, everything)
    assert trace.bottle_count(lot) == 0
    assert list(trace.bottles_from(lot)) == []
    book = Book(query("SELECT source_id, batch_id, mass_mg FROM batches_input"))
    assert book.downstream(lot) == everything


@pytest.mark.django_db
def test_a_recall_is_shown_though_a_ring_was_forced_into_the_table(
    crew: make.Crew,
) -> None:
    lot, batches = ring(crew)
    affected = recall_affected.affected_by(Stock.objects.get(pk=lot))
    assert affected.batch_ids == batches
    assert {affected.shares[pk].is_least for pk in batches} == {True}
    RawLot.objects.filter(pk=lot).update(status="released")
    assert trace.blocked(batches) == {}
    Batch.objects.filter(pk=batches[0]).update(status="on_hold")
    assert list(trace.blocked(batches)) == batches[1:]


def test_the_share_in_a_ring_is_the_least_that_it_can_be() -> None:
    """By hand: 30 of the lot and 10 of batch 3, in which the lot may be, too.

    Batch 3 is 70 of batch 2, which is 50 of batch 1. Were all known, all three would be
    the lot alone; of the least draw, the 10, nothing is reckoned to be it: 30/40.
    """
    drawn = [(9, 1, 30), (1, 2, 50), (2, 3, 70), (3, 1, 10)]
    least = Share(least=Fraction(3, 4), is_least=True)
    found = shares_of(9, drawn)
    assert {batch: found[batch] for batch in (1, 2, 3)} == dict.fromkeys(
        (1, 2, 3), least
    )
    # asked of a batch in the ring, what went into it is all itself: no ring is left
    assert shares_of(1, drawn)[3] == Share(least=Fraction(1))
    # nor does one draw of nought that closes a ring take anything away
    assert shares_of(9, [*drawn[:3], (3, 1, 0)])[3].least == 1
