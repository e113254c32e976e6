"""A charge that was of another raw lot: the stock, the figure and the walk follow."""

from __future__ import annotations

import datetime
import functools
from decimal import Decimal
from typing import Any

import pytest
from django.utils import timezone

from batches import trace
from batches.models import Batch, Charge, Input
from batches.services import cooking, flowing
from batches.services.cooking import another_lot
from batches.services.costing import cost_of
from batches.services.flow_rows import Way
from batches.trace import believed
from producer.errors import Conflict, NotEnough, Refusal
from producer.models import JournalEntry, RawLot, Stock, StockMovement, User
from producer.services import containers, intake, prices
from producer.services import stock as ledger
from producer.services.checks import local_day
from producer.services.container_books import book_of
from quality.services import reviewing
from quality.services.verification import masses, moved
from tests import lab, make, uploads
from tests.batches.test_by_difference import oil_in_tins
from tests.database import run, while_uncommitted

pytestmark = pytest.mark.django_db

KG = make.KG
NOTHING_OPEN: list[str] = []


def on_hand(lot: RawLot) -> int:
    return Stock.objects.get(pk=lot.pk).on_hand_mg


def mass_of(batch: Batch, lot: RawLot) -> int:
    rows = Input.objects.filter(batch=batch, source=lot.stock)
    return rows.values_list("mass_mg", flat=True).first() or 0


def oils(crew: make.Crew, *supplier_lots: str, **facts: Any) -> list[RawLot]:
    """Return a released lot of sunflower oil for each of these numbers."""
    oil = make.sunflower(crew.maker)
    return [
        make.released_lot(crew, oil, supplier_lot=one, **facts) for one in supplier_lots
    ]


def move(
    crew: make.Crew, charge: Charge, lot: RawLot, by: User | None = None, **facts: Any
) -> Charge:
    """Say that a charge was of another lot, masses and all else as they were."""
    said = {
        "gross_mg": charge.gross_mg,
        "tare_mg": charge.tare_mg,
        "reason": "the number was misread",
        **facts,
    }
    return cooking.amend_charge(
        by=by or crew.maker,
        charge=Charge.objects.get(pk=charge.pk),
        source=lot.stock,
        **said,
    )


def faults() -> list[str]:
    """Return what verify finds in masses and in moved charges."""
    return [
        *masses.ledger_faults(lambda _: None),
        *masses.genealogy_faults(),
        *moved.faults(),
    ]


def charged(crew: make.Crew, lot: RawLot, net_mg: int = 900_000) -> Charge:
    """Return a charge of a lot in an open batch."""
    batch = make.open_batch(crew)
    return make.charge(crew, batch, lot.stock, net_mg)


def decided(crew: make.Crew, lot: RawLot, new: str) -> None:
    intake.decide_lot(
        by=crew.reviewer,
        lot=RawLot.objects.listed().get(pk=lot.pk),
        new=new,
        reason="smells of something else",
    )


def test_both_books_follow_and_each_row_stays(crew: make.Crew) -> None:
    written, true = oils(crew, "71", "17")
    row = charged(crew, written)
    entries = JournalEntry.objects.count()

    again = move(crew, row, true)

    assert (on_hand(written), on_hand(true)) == (5 * KG, 5 * KG - row.net_mg)
    assert mass_of(row.batch, written) == 0
    assert mass_of(row.batch, true) == row.net_mg
    assert again.supersedes == row
    assert (again.net_mg, again.observed_at) == (row.net_mg, row.observed_at)
    back, drawn = StockMovement.objects.order_by("-pk")[:2][::-1]
    assert (back.stock, back.kind, back.amount_mg) == (
        written.stock,
        "draw_back",
        row.net_mg,
    )
    assert (drawn.stock, drawn.kind, drawn.amount_mg) == (
        true.stock,
        "draw",
        -row.net_mg,
    )
    assert {back.observed_at, drawn.observed_at} == {row.observed_at}
    assert back.entered_at > row.entered_at  # dated now, of what was then
    assert JournalEntry.objects.count() == entries + 1
    entry = JournalEntry.objects.order_by("-sequence")[0]
    assert entry.act == "charge corrected"
    assert entry.before_values["source"] == written.code
    assert entry.after_values["source"] == true.code
    assert "certain_in_spite_of" not in entry.after_values
    assert faults() == []


def test_the_walk_the_flow_and_the_costs_go_by_the_true_lot(crew: make.Crew) -> None:
    written, true = oils(crew, "71", "17")
    for lot, paid in ((written, 1_000), (true, 3_000)):
        prices.set_price(by=crew.maker, lot=lot, paid_hundredths=paid, reason="bill")
    batch = make.cooked_batch(crew)
    row = batch.charges.get(source=written.stock)
    before = cost_of(batch).hundredths

    move(crew, row, true)

    assert batch.pk not in trace.downstream_ids(written.pk)
    assert batch.pk in trace.downstream_ids(true.pk)
    assert cost_of(batch).hundredths - before == 2_000 * row.net_mg // (5 * KG)
    for lot, mass in ((written, 0), (true, row.net_mg)):
        flow = flowing.flow_of(lot.stock, Way.ON)
        assert flow.unclosed == []
        into = [one for one in flow.ribbons if one.target == f"s{batch.pk}"]
        assert sum(one.mass_mg for one in into if one.source == f"s{lot.pk}") == mass
    assert faults() == []


def test_the_figure_is_what_was_known_when_it_was_weighed_in(crew: make.Crew) -> None:
    potash = make.potash(crew.maker)
    written = make.released_lot(crew, potash)
    true = make.released_lot(crew, potash, certificate={"assay_percent": Decimal(88)})
    batch = make.open_batch(crew)
    make.charge_all(crew, batch, {"potash": written.stock})
    row = batch.charges.get(source=written.stock)
    assert row.figure == Decimal("0.9")
    lab.titration(
        crew, true.stock, unusual="so it is"
    )  # entered later: the batch knew nothing of it
    intake.record_certificate(
        by=crew.maker,
        lot=true,
        values=make.certificate_values(potash, assay_percent=Decimal(86)),
        upload=None,
        reason="the supplier corrected it",
    )

    again = move(crew, row, true, certain=True)  # the new paper put it on hold

    assert again.figure == Decimal("0.88")
    assert again.certificate == true.certificates.get(version=1)
    assert again.figure_origin.startswith("certificate version 1")
    assert another_lot.LATER_WORDS not in again.figure_origin
    back = move(crew, again, written)  # and back again, as it was at first
    assert (back.figure, back.certificate) == (row.figure, row.certificate)


def test_a_titration_that_was_taken_back_since_counts_as_it_did_then(
    crew: make.Crew,
) -> None:
    from batches.services import titrating  # noqa: PLC0415

    potash = make.potash(crew.maker)
    written, true = (make.released_lot(crew, potash) for _ in range(2))
    titration = lab.titration(crew, true.stock)
    batch = make.open_batch(crew)
    make.charge_all(crew, batch, {"potash": written.stock})
    row = batch.charges.get(source=written.stock)
    titrating.take_back_titration(
        by=crew.maker, titration=titration, reason="wrong acid"
    )
    assert "own titration" in move(crew, row, true).figure_origin


def test_a_lot_of_which_nothing_was_known_then_gives_what_came_first(
    crew: make.Crew,
) -> None:
    potash = make.potash(crew.maker)
    written = make.released_lot(crew, potash)
    true = make.held_lot(crew, potash)
    batch = make.open_batch(crew)
    make.charge_all(crew, batch, {"potash": written.stock})
    row = batch.charges.get(source=written.stock)
    with pytest.raises(Refusal, match="no certificate with an assay"):
        move(crew, row, true, certain=True)
    intake.record_certificate(
        by=crew.maker,
        lot=true,
        values=make.certificate_values(potash, assay_percent=Decimal(88)),
        upload=uploads.pdf(),
    )
    again = move(crew, row, true, certain=True)
    assert again.figure == Decimal("0.88")
    assert again.figure_origin.endswith(another_lot.LATER_WORDS)


@pytest.mark.parametrize("state", ["on_hold", "rejected", "quarantine"])
def test_a_lot_that_may_not_be_used_is_told_of_and_taken_if_it_was_that_one(
    crew: make.Crew, state: str
) -> None:
    (written,) = oils(crew, "71")
    if state == "quarantine":
        true = make.held_lot(crew, make.sunflower(crew.maker), supplier_lot="17")
    else:
        (true,) = oils(crew, "17")
    batch = make.cooked_batch(crew)
    row = batch.charges.get(source=written.stock)
    if state != "quarantine":
        decided(crew, true, "on_hold")
    if state == "rejected":
        decided(crew, true, state)
    true.refresh_from_db()
    words = true.get_status_display()
    with pytest.raises(Refusal, match=f"{true.code} is {words}, not released") as told:
        move(crew, row, true)
    assert told.value.field == "source"
    assert mass_of(batch, written) == row.net_mg

    move(crew, row, true, certain=True)

    entry = JournalEntry.objects.order_by("-sequence")[0]
    (said,) = entry.after_values["certain_in_spite_of"]
    assert said.startswith(f"{true.code} is {words}")
    with pytest.raises(Refusal, match=f"{true.code}.* is in it and is {words}"):
        make.sign(crew.reviewer, batch)
    assert trace.blocked([batch.pk])[batch.pk] == [f"{true.code} in it is {words}"]
    assert faults() == []
    if state != "rejected":
        decided(crew, true, "released")
        make.sign(crew.reviewer, batch)


@pytest.mark.parametrize("date", ["expires_on", "retest_on"])
def test_a_lot_past_its_date_on_that_day_is_told_of_and_asks_for_a_reason(
    crew: make.Crew, date: str
) -> None:
    (written,) = oils(crew, "71", received_on=make.TODAY - datetime.timedelta(days=90))
    batch = make.cooked_batch(crew)
    row = batch.charges.get(source=written.stock)
    day = local_day(row.observed_at)
    good, past = oils(
        crew, "17", "18", received_on=make.TODAY - datetime.timedelta(days=90)
    )
    for lot, off in ((good, 0), (past, 1)):  # released while it was in date
        last = day - datetime.timedelta(days=off)
        RawLot.objects.filter(pk=lot.pk).update(**{date: last})
    row = move(crew, row, good)  # its last day is still good
    with pytest.raises(Refusal, match="when it was weighed in"):
        move(crew, row, past)
    move(crew, row, past, certain=True)
    notes = " ".join(reviewing.review_of(batch, by=crew.reviewer).notes)
    assert f"{past.code} " in notes
    with pytest.raises(Refusal, match="reason"):
        make.sign(crew.reviewer, batch, reason="")
    make.sign(crew.reviewer, batch, reason="tasted: not rancid")


def test_what_came_later_or_is_of_another_material_it_cannot_have_been(
    crew: make.Crew,
) -> None:
    (written,) = oils(crew, "71", received_on=make.TODAY - datetime.timedelta(days=9))
    batch = make.open_batch(crew)
    yesterday = timezone.now() - datetime.timedelta(days=1)
    row = make.charge(crew, batch, written.stock, 900_000, observed_at=yesterday)
    (late,) = oils(crew, "17")
    coconut = make.released_lot(crew, make.coconut(crew.maker))
    for lot, words in ((late, "after this was weighed in"), (coconut, "does not ask")):
        with pytest.raises(Refusal, match=words):
            move(crew, row, lot, certain=True)
    assert mass_of(batch, written) == row.net_mg


def test_a_book_that_is_short_is_set_right_if_it_was_that_lot(crew: make.Crew) -> None:
    written, true = oils(crew, "71", "17")
    row = charged(crew, written)
    ledger.adjust(by=crew.maker, lot=true, counted_mg=300_000, reason="counted")
    ledger.adjust(by=crew.maker, lot=written, counted_mg=5 * KG, reason="counted")
    with pytest.raises(NotEnough, match="holds 300 g, and 900 g of it") as told:
        move(crew, row, true)
    assert "600 g are added to the book" in told.value.message
    assert on_hand(true) == 300_000

    again = move(crew, row, true, certain=True)

    assert on_hand(true) == 0
    right = StockMovement.objects.get(
        stock=true.stock, kind="adjustment", purpose=row.batch.number
    )
    assert right.amount_mg == 600_000
    assert "600 g more than the book" in right.reason
    assert another_lot.counted_since(again) == sorted([true.code, written.code])
    assert faults() == []


def test_nobody_needs_to_count_a_lot_that_nobody_counted(crew: make.Crew) -> None:
    written, true = oils(crew, "71", "17")
    ledger.adjust(by=crew.maker, lot=true, counted_mg=KG, reason="before all that")
    assert another_lot.counted_since(move(crew, charged(crew, written), true)) == []


def test_containers_give_back_and_give_and_the_short_one_is_set_right(
    crew: make.Crew,
) -> None:
    written, (tin,) = oil_in_tins(crew, 1)
    true, tins = oil_in_tins(crew, 2)
    batch = make.open_batch(crew)
    row = make.charge(crew, batch, written.stock, 800_000)
    assert row.container == tin
    with pytest.raises(Refusal, match="Say which one"):
        move(crew, row, true)
    with pytest.raises(Refusal, match="is no container of"):
        move(crew, row, true, container=tin)
    again = move(crew, row, true, container=tins[1])
    assert [book_of(one) for one in (tin, *tins)] == [KG, KG, 200_000]
    third, (small,) = oil_in_tins(crew, 1, each_mg=500_000)
    with pytest.raises(NotEnough, match=f"{small.code} holds 500 g, and 800 g"):
        move(crew, again, third)
    last = move(crew, again, third, certain=True)
    assert last.container == small
    assert [book_of(one) for one in (tin, *tins, small)] == [KG, KG, KG, 0]
    assert faults() == []


def test_a_lot_without_containers_takes_back_what_a_container_gave(
    crew: make.Crew,
) -> None:
    written, (tin,) = oil_in_tins(crew, 1)
    (true,) = oils(crew, "17")
    again = move(crew, charged(crew, written, 800_000), true)
    assert again.container is None
    assert book_of(tin) == KG
    containers.register(
        by=crew.maker,
        lot=true,
        fillings=containers.alike(count=1, each_mg=on_hand(true)),
    )


def test_a_batch_takes_the_place_of_no_lot_nor_a_lot_that_of_a_batch(
    crew: make.Crew,
) -> None:
    paste = make.released_paste(crew)
    liquid = make.diluted_batch(crew, paste=paste)
    of_paste = liquid.charges.get(source=paste.stock)
    lot = make.released_lot(crew, make.water(crew.maker))
    with pytest.raises(Refusal, match="does not ask for"):
        move(crew, of_paste, lot, certain=True)


def test_what_an_explained_entry_says_is_not_in_it_is_not_in_it(
    crew: make.Crew,
) -> None:
    """Its edge stays at nought when the charge of that lot turns out another's."""
    from batches.services import discrepancies  # noqa: PLC0415
    from tests import kept  # noqa: PLC0415

    written, true = oils(crew, "71", "17")
    row = charged(crew, written)
    found = discrepancies.record(
        by=crew.maker,
        batch=row.batch,
        entry=kept.entry(
            kind="charge", title="oil", stock=written.stock, net_mg=500, figures={}
        ),
        refused="late",
    )
    discrepancies.explain(
        by=crew.reviewer, discrepancy=found, reason="never poured", went_in=False
    )
    assert row.batch.pk in trace.downstream_ids(written.pk)
    move(crew, row, true)
    assert row.batch.pk not in trace.downstream_ids(written.pk)
    assert row.batch.pk not in trace.downstream_of([written.pk])
    assert trace.track(written.stock).edges == []
    now = timezone.now()
    assert believed.downstream_as_believed(written.pk, now) == [written.pk]


def test_verify_finds_a_lot_with_something_in_it_and_a_charge_moved_wrongly(
    crew: make.Crew,
) -> None:
    (written,) = oils(crew, "71")
    coconut = make.released_lot(crew, make.coconut(crew.maker))
    again = move(crew, charged(crew, written), oils(crew, "17")[0])
    assert list(moved.faults()) == []
    from tests.database import without_triggers  # noqa: PLC0415

    with without_triggers():
        run(
            "UPDATE batches_charge SET source_id = %s WHERE id = %s",
            coconut.pk,
            again.pk,
        )
    (fault,) = moved.faults()
    assert "not what its line asks for" in fault
    run("UPDATE producer_stock SET kind = 'lot' WHERE id = %s", again.batch_id)
    told = " ".join(moved.faults())
    assert f"is in {again.batch.number}, which is a raw lot" in told
    assert f"{again.batch.number} is a batch by its record" in told


@pytest.mark.django_db(transaction=True)
def test_of_two_who_name_another_lot_at_once_one_is_told(
    crew: make.Crew, owner: User
) -> None:
    other = make.account(by=owner, name="Tove Berg", rights=["maker"])
    written, one, two = oils(crew, "71", "17", "7")
    row = charged(crew, written)
    results = while_uncommitted(
        functools.partial(move, crew, row, one),
        functools.partial(move, crew, row, two, other),
    )
    assert isinstance(results[0], Charge)
    assert isinstance(results[1], Conflict)
    assert [on_hand(lot) for lot in (written, one, two)] == [
        5 * KG,
        5 * KG - row.net_mg,
        5 * KG,
    ]
    assert faults() == []


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("draws_first", [True, False])
def test_the_last_of_the_true_lot_drawn_at_the_same_moment(
    crew: make.Crew, *, draws_first: bool
) -> None:
    (written,) = oils(crew, "71")
    (true,) = oils(crew, "17", quantity_mg=KG)
    row = charged(crew, written)
    pot = make.open_batch(crew)
    make.go_through(crew, pot)
    draw = functools.partial(make.charge, crew, pot, true.stock, 900_000)
    name = functools.partial(move, crew, row, true)
    first, second = while_uncommitted(*((draw, name) if draws_first else (name, draw)))
    assert isinstance(first, Charge)
    assert isinstance(second, NotEnough)
    assert on_hand(true) == 100_000
    assert faults() == []
