"""What was done and does not fit the book: kept, held, shown, settled."""

from __future__ import annotations

import uuid
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.utils import timezone

from batches import trace
from batches.models import Batch, Charge, Discrepancy, DiscrepancyEnd, Input
from batches.services import cooking, discrepancies
from producer import journal
from producer.errors import Conflict, Refusal
from producer.models import JournalEntry, Stock
from producer.services import stock as ledger
from quality.services import recall_scope, recalling
from quality.services.reviewing import review_of
from quality.services.verification.masses import genealogy_faults, ledger_faults
from tests import make

pytestmark = pytest.mark.django_db
TAKEN_MG = 40_000


def entry(stock: Stock | None = None, **changes: Any) -> discrepancies.Entry:
    """Return an entry of 40 g, or of a reading if no stock is given."""
    facts = {
        "kind": "charge" if stock else "temperature",
        "title": "Weigh sunflower oil" if stock else "Temperature",
        "path": "/batches/B/charge/1/",
        "fields": {"gross_mg": "390", "tare_mg": "350"},
        "shown": [["Gross", "390"], ["Tare", "350"]],
        "stock": stock,
        "net_mg": TAKEN_MG if stock else 0,
        "observed_at": timezone.now(),
    }
    return discrepancies.Entry(**{**facts, **changes})


def emptied_lot(crew: make.Crew) -> Stock:
    """Return a lot of oil of which the book has nothing left."""
    lot = make.released_lot(crew, make.sunflower(crew.maker), certificate={})
    ledger.dispose(by=crew.maker, lot=lot, amount_mg=5 * make.KG, reason="spilled")
    return Stock.objects.get(pk=lot.pk)


def kept(crew: make.Crew, batch: Batch, stock: Stock | None = None) -> Discrepancy:
    return discrepancies.record(
        by=crew.maker,
        batch=batch,
        entry=entry(stock),
        refused="It holds 0 g.",
        submission=uuid.uuid4(),
    )


def as_charge(
    stock: Stock, net_mg: int = TAKEN_MG, *, reason: str = ""
) -> dict[str, Any]:
    """Return what is said to be entered: so much of a stock, weighed in."""
    figures = {"lot": stock.code, "net_mg": net_mg}
    return {"kind": "charge", "figures": figures, "reason": reason}


@pytest.fixture
def cooking_batch(crew: make.Crew) -> Batch:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    make.read_ph(crew, batch)
    make.read_clarity(crew, batch)
    make.weigh_bulk(crew, batch)
    return make.fresh(batch)


def test_scenario_02_what_was_taken_offline_of_an_emptied_lot_is_kept_and_holds_it(
    crew: make.Crew, cooking_batch: Batch
) -> None:
    lot = emptied_lot(crew)
    row = kept(crew, cooking_batch, lot)
    assert row.short_mg == TAKEN_MG
    assert discrepancies.beyond_the_book() == {lot.pk: TAKEN_MG}
    assert Stock.objects.get(pk=lot.pk).on_hand_mg == 0  # the book itself is not bent
    assert list(discrepancies.open_discrepancies(cooking_batch)) == [row]
    with pytest.raises(Refusal, match=f"40 g of {lot.code}"):
        cooking.finish(by=crew.maker, batch=cooking_batch)
    last = JournalEntry.objects.latest("sequence")
    assert last.act == "entry kept as a discrepancy"
    assert last.after_values["short_mg"] == TAKEN_MG


def test_a_recall_of_the_lot_finds_the_batch_before_anything_is_entered(
    crew: make.Crew, cooking_batch: Batch
) -> None:
    lot = emptied_lot(crew)
    assert cooking_batch.pk not in trace.downstream_ids(lot.pk)  # control
    kept(crew, cooking_batch, lot)
    assert cooking_batch.pk in trace.downstream_ids(lot.pk)
    assert lot.pk in trace.upstream_ids(cooking_batch.pk)
    assert trace.downstream_of([lot.pk]) == [lot.pk, cooking_batch.pk]
    assert (lot.pk, cooking_batch.pk, 0) in trace.track(lot).edges
    assert [*genealogy_faults(), *ledger_faults(lambda _: None)] == []
    recall = recalling.open_recall(
        by=crew.reviewer,
        root=lot,
        hazard_class="1",
        reason="the wrong oil",
        public_notice="Bring it back.",
    )
    assert cooking_batch.pk in recall_scope.scope_of(recall).made_ids


def test_a_charge_that_was_taken_back_is_still_no_way_into_a_batch(
    crew: make.Crew, cooking_batch: Batch
) -> None:
    batch = make.open_batch(crew)
    lot = make.released_lot(crew, make.water(crew.maker)).stock
    row = make.charge(crew, batch, lot, 10_000)
    cooking.amend_charge(by=crew.maker, charge=row, void=True, reason="wrong pot")
    assert Input.objects.get(batch=batch, source=lot).mass_mg == 0
    assert batch.pk not in trace.downstream_ids(lot.pk)
    assert trace.track(lot).edges == []


def test_a_second_entry_on_the_same_lot_lacks_what_the_first_did_not(
    crew: make.Crew, cooking_batch: Batch
) -> None:
    lot = make.released_lot(crew, make.water(crew.maker), quantity_mg=70_000).stock
    rows = [kept(crew, cooking_batch, lot) for _ in range(3)]
    # 70 g are there and 40 g are taken three times: 0, then 10, then 40 g are lacking.
    assert [row.short_mg for row in rows] == [0, 10_000, 40_000]
    assert discrepancies.beyond_the_book([lot.pk]) == {lot.pk: 120_000}


def test_a_released_batch_and_what_was_made_of_it_go_on_hold_with_their_bottles(
    crew: make.Crew,
) -> None:
    liquid = make.released_liquid(crew)
    bottles = make.bottles_of(make.filled(crew, liquid))
    paste = Batch.objects.get(
        pk__in=[one for one in trace.upstream_ids(liquid.pk) if one != liquid.pk]
    )
    lot = make.released_lot(crew, make.water(crew.maker)).stock
    row = kept(crew, paste, lot)
    assert {make.fresh(one).status for one in (paste, liquid)} == {"on_hold"}
    for bottle in bottles:
        bottle.refresh_from_db()
    assert {bottle.status for bottle in bottles} == {"on_hold"}
    said = review_of(make.fresh(paste), by=crew.reviewer).obstacles
    assert any(
        f"Discrepancy {row.pk}, charge: 40 g of {lot.code}. It holds" in one
        for one in said
    )
    explain(crew, row)
    found = review_of(make.fresh(paste), by=crew.reviewer)
    assert not any(f"Discrepancy {row.pk}" in one for one in found.obstacles)
    assert any("nobody knows. the can was another's" in one for one in found.notes)
    assert make.fresh(paste).status == "on_hold"  # a reviewer's signature lifts it


def test_a_batch_that_awaits_review_is_not_released_before_it_is_settled(
    crew: make.Crew,
) -> None:
    batch = make.cooked_batch(crew)
    row = kept(crew, batch)
    with pytest.raises(Refusal, match="Settle it: enter what happened"):
        make.sign(crew.reviewer, batch)
    explain(crew, row)
    make.sign(crew.reviewer, batch)
    assert make.fresh(batch).status == "released"


def explain(crew: make.Crew, row: Discrepancy, **changes: Any) -> DiscrepancyEnd:
    facts = {"reason": "the can was another's", "went_in": True, **changes}
    return discrepancies.explain(by=crew.reviewer, discrepancy=row, **facts)


def test_entering_it_after_all_writes_the_charge_and_the_end_in_one_act(
    crew: make.Crew, cooking_batch: Batch
) -> None:
    batch = make.open_batch(crew)
    make.go_through(crew, batch)
    lot = emptied_lot(crew)
    row = kept(crew, batch, lot)
    lot_row = lot.lot
    ledger.adjust(by=crew.maker, lot=lot_row, counted_mg=60_000, reason="weighed it")
    before = JournalEntry.objects.count()
    charge = discrepancies.enter(
        by=crew.maker,
        discrepancy=row,
        do=lambda _: make.charge(
            crew, batch, lot, TAKEN_MG, observed_at=row.observed_at
        ),
        **as_charge(lot),
    )
    assert JournalEntry.objects.count() == before + 1
    last = JournalEntry.objects.latest("sequence")
    assert (last.act, last.after_values["discrepancy_settled"]) == (
        "charge weighed",
        row.pk,
    )
    assert (charge.net_mg, charge.observed_at) == (TAKEN_MG, row.observed_at)
    row.refresh_from_db()
    assert row.end.outcome == "entered"
    assert not discrepancies.open_discrepancies(batch)
    assert discrepancies.beyond_the_book() == {}
    assert Stock.objects.get(pk=lot.pk).on_hand_mg == 20_000
    assert trace.track(lot).edges == [(lot.pk, batch.pk, TAKEN_MG)]
    assert [*genealogy_faults(), *ledger_faults(lambda _: None)] == []
    assert list(journal.faults()) == []


def test_what_the_service_refuses_again_stays_open(
    crew: make.Crew, cooking_batch: Batch
) -> None:
    batch = make.open_batch(crew)
    make.go_through(crew, batch)
    lot = emptied_lot(crew)
    row = kept(crew, batch, lot)
    with pytest.raises(Refusal):
        discrepancies.enter(
            by=crew.maker,
            discrepancy=row,
            do=lambda _: make.charge(crew, batch, lot, TAKEN_MG),
            **as_charge(lot),
        )
    assert list(discrepancies.open_discrepancies(batch)) == [row]
    assert not Charge.objects.filter(batch=batch).exists()


def test_one_entered_with_another_lot_leaves_the_first_lots_recall_alone(
    crew: make.Crew,
) -> None:
    batch = make.open_batch(crew)
    make.go_through(crew, batch)
    mistaken = emptied_lot(crew)
    row = kept(crew, batch, mistaken)
    other = make.released_lot(crew, make.sunflower(crew.maker), certificate={}).stock
    discrepancies.enter(
        by=crew.maker,
        discrepancy=row,
        do=lambda _: make.charge(crew, batch, other, TAKEN_MG),
        **as_charge(other, reason="the other can stood there"),
    )
    assert batch.pk in trace.downstream_ids(other.pk)
    assert batch.pk not in trace.downstream_ids(mistaken.pk)


@pytest.mark.parametrize(("went_in", "is_found"), [(True, True), (False, False)])
def test_explained_the_recall_finds_the_batch_unless_nothing_went_in(
    crew: make.Crew, cooking_batch: Batch, *, went_in: bool, is_found: bool
) -> None:
    lot = emptied_lot(crew)
    row = kept(crew, cooking_batch, lot)
    explain(crew, row, went_in=went_in)
    assert (cooking_batch.pk in trace.downstream_ids(lot.pk)) is is_found
    cooking.finish(by=crew.maker, batch=cooking_batch)
    assert list(genealogy_faults()) == []
    assert list(journal.faults()) == []


def test_another_open_entry_keeps_the_lot_in_the_genealogy(
    crew: make.Crew, cooking_batch: Batch
) -> None:
    lot = emptied_lot(crew)
    first, second = (kept(crew, cooking_batch, lot) for _ in range(2))
    explain(crew, first, went_in=False)
    assert lot.pk in trace.upstream_ids(cooking_batch.pk)
    explain(crew, second, went_in=False)
    assert lot.pk not in trace.upstream_ids(cooking_batch.pk)


def test_a_discrepancy_is_settled_once(crew: make.Crew, cooking_batch: Batch) -> None:
    row = kept(crew, cooking_batch)
    explain(crew, row)
    with pytest.raises(Conflict, match="settled by Rasmus Lind already: explained"):
        explain(crew, row)
    with pytest.raises(Conflict):
        discrepancies.enter(
            by=crew.maker, discrepancy=row, do=lambda _: None, kind="ph", figures={}
        )
    assert DiscrepancyEnd.objects.count() == 1


def test_a_maker_does_not_explain_and_an_auditor_keeps_nothing(
    crew: make.Crew, cooking_batch: Batch
) -> None:
    row = kept(crew, cooking_batch)
    with pytest.raises(PermissionDenied):
        discrepancies.explain(
            by=crew.maker, discrepancy=row, reason="so it was", went_in=True
        )
    with pytest.raises(PermissionDenied):
        discrepancies.record(
            by=crew.reviewer, batch=cooking_batch, entry=entry(), refused="late"
        )
    with pytest.raises(Refusal, match="Say why"):
        explain(crew, row, reason=" ")


def test_a_batch_never_comes_to_stand_in_itself(crew: make.Crew) -> None:
    liquid = make.released_liquid(crew)
    (paste_id,) = [
        one
        for one in trace.upstream_ids(liquid.pk)
        if one != liquid.pk and Batch.objects.filter(pk=one).exists()
    ]
    paste = Batch.objects.get(pk=paste_id)
    row = kept(crew, paste, liquid.stock)  # what was made of it went into it?
    assert row.stock_id == liquid.pk
    assert liquid.pk not in trace.upstream_ids(paste.pk)
    assert kept(crew, paste, paste.stock).pk
