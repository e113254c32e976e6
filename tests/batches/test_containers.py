"""Containers on the scale beside the book."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied, ValidationError

from batches.models import ContainerWeighing
from batches.services import containers, sources
from producer.errors import Conflict, Refusal
from producer.models import Instrument, JournalEntry, LotStatusChange, RawLot, User
from producer.services import intake, stock
from tests import lab, make
from tests.database import while_uncommitted

pytestmark = pytest.mark.django_db

KG = make.KG
# two readings of a scale with steps of 1 g, k = 2: 2·√2·1/√12
U_MG = 816


@pytest.fixture
def potash(crew: make.Crew) -> Any:
    return make.released_lot(crew, make.potash(crew.maker), quantity_mg=KG)


def test_a_container_that_weighs_what_the_book_says_agrees(
    crew: make.Crew, potash: Any
) -> None:
    row = lab.container(crew, potash)
    assert (row.net_mg, row.book_mg) == (KG, KG)
    assert row.sentence == (
        "Agrees: 1 kg on the scale, 1 kg in the book (U = 0.8 g, k = 2)."
    )


def test_potash_that_gained_is_to_be_held_and_retested(
    crew: make.Crew, potash: Any
) -> None:
    row = lab.container(crew, potash, gain_mg=10_000)
    assert row.sentence.startswith("Hold and retest: 1.01 kg on the scale, 1 kg in")
    assert "10 g more (1.00 %" in row.sentence
    # requirements, section 0: + 10 g on 1000 g of 90 %
    assert "between 86.6 %, if all that came is carbon dioxide" in row.sentence
    assert "and 89.1 %, if all is water; before it was 90.0 %" in row.sentence
    assert "finer" not in row.sentence


def test_released_potash_that_gained_goes_on_hold_until_a_reviewer_lifts_it(
    crew: make.Crew, potash: Any
) -> None:
    row = lab.container(crew, potash, gain_mg=10_000)
    potash.refresh_from_db()
    assert potash.status == RawLot.Status.ON_HOLD
    change = LotStatusChange.objects.order_by("-pk")[0]
    assert (change.old, change.new) == ("released", "on_hold")
    assert (change.reason, change.entered_by) == (row.sentence, crew.maker)
    entry = JournalEntry.objects.get(act="container weighed")
    assert entry.after_values["status"] == "on_hold"
    batch = make.open_batch(crew)
    line = batch.formula_version.lines.get(material=potash.material)
    with pytest.raises(Refusal, match="not released"):
        sources.check_source(batch=batch, line=line, source=potash.stock, on=make.TODAY)
    intake.decide_lot(by=crew.reviewer, lot=potash, new="released", reason="titrated")
    assert potash.status == RawLot.Status.RELEASED


def test_only_released_potash_that_gained_goes_on_hold(
    crew: make.Crew, potash: Any
) -> None:
    lab.container(crew, potash)
    lab.container(crew, potash, gain_mg=-20_000)
    oil = make.released_lot(crew, make.sunflower(crew.maker), quantity_mg=KG)
    lab.container(crew, oil, gain_mg=10_000)
    held = make.held_lot(crew, make.potash(crew.maker), quantity_mg=KG)
    lab.container(crew, held, gain_mg=10_000)
    statuses = {lot.pk: lot.status for lot in RawLot.objects.all()}
    assert statuses == {
        potash.pk: "released",
        oil.pk: "released",
        held.pk: "quarantine",
    }


def test_a_correction_that_shows_a_gain_holds_too(crew: make.Crew, potash: Any) -> None:
    row = lab.container(crew, potash)
    containers.amend_container(
        by=crew.maker,
        weighing=row,
        gross_mg=row.gross_mg + 10_000,
        tare_mg=row.tare_mg,
        reason="misread",
    )
    potash.refresh_from_db()
    assert potash.status == RawLot.Status.ON_HOLD


@pytest.mark.parametrize(
    ("gain_mg", "begins"),
    [
        (2 * U_MG, "Agrees"),
        (2 * U_MG + 10, "Hold and retest"),
        (-2 * U_MG, "Agrees"),
        (-2 * U_MG - 10, "Unlogged loss"),
    ],
)
def test_the_doubt_of_the_scale_decides(
    crew: make.Crew, potash: Any, gain_mg: int, begins: str
) -> None:
    assert lab.container(crew, potash, gain_mg=gain_mg).sentence.startswith(begins)


def test_a_small_rest_on_a_coarse_scale_is_said_to_be_unsure(
    crew: make.Crew,
) -> None:
    lot = make.released_lot(crew, make.potash(crew.maker), quantity_mg=100_000)
    row = lab.container(crew, lot, gain_mg=1000)
    assert row.sentence.startswith("Hold and retest")
    assert "weigh again on a finer one" in row.sentence


def test_each_draw_since_the_book_was_set_adds_to_the_doubt(
    crew: make.Crew, potash: Any
) -> None:
    for _ in range(3):
        stock.dispose(by=crew.maker, lot=potash, amount_mg=1000, reason="spilt")
    # three draws and the weighing: √4 times as much
    assert lab.container(crew, potash, gain_mg=2900).sentence.startswith("Agrees")
    stock.adjust(by=crew.maker, lot=potash, counted_mg=KG - 5000, reason="counted")
    again = lab.container(crew, potash, gain_mg=2900)
    assert again.sentence.startswith("Hold and retest")


def test_a_loss_asks_for_the_missing_charge(crew: make.Crew, potash: Any) -> None:
    row = lab.container(crew, potash, gain_mg=-20_000)
    assert "20 g less (2.00 %" in row.sentence
    assert "missing charge" in row.sentence


def test_potash_without_an_assay_has_nothing_to_bound(crew: make.Crew) -> None:
    lot = make.held_lot(crew, make.potash(crew.maker), quantity_mg=KG)
    row = lab.container(crew, lot, gain_mg=10_000)
    assert "What of it is usable is not known" in row.sentence


def test_an_oil_does_not_age_by_weight(crew: make.Crew) -> None:
    lot = make.released_lot(crew, make.sunflower(crew.maker), quantity_mg=KG)
    assert lab.container(crew, lot, gain_mg=1000).sentence.startswith("Agrees")
    more = lab.container(crew, lot, gain_mg=10_000).sentence
    assert more.startswith("More than the book")
    assert "carbon dioxide" not in more
    less = lab.container(crew, lot, gain_mg=-10_000).sentence
    assert less.startswith("Unlogged loss")


def test_a_few_grams_of_oil_within_the_doubt_agree(crew: make.Crew) -> None:
    lot = make.released_lot(crew, make.sunflower(crew.maker), quantity_mg=100_000)
    # more than 0.3 %, which matters for potash only
    assert lab.container(crew, lot, gain_mg=1000).sentence.startswith("Agrees")


def test_a_correction_stays_beside_the_book_of_that_day(
    crew: make.Crew, potash: Any
) -> None:
    row = lab.container(crew, potash, gain_mg=10_000)
    stock.dispose(by=crew.maker, lot=potash, amount_mg=500_000, reason="spilt")
    amended = containers.amend_container(
        by=crew.maker,
        weighing=row,
        gross_mg=row.gross_mg - 10_000,
        tare_mg=row.tare_mg,
        reason="misread",
    )
    assert (amended.net_mg, amended.book_mg) == (KG, KG)
    assert amended.sentence.startswith("Agrees")
    assert amended.sentence.endswith("(U = 0.8 g, k = 2).")
    assert list(ContainerWeighing.objects.current()) == [amended]
    with pytest.raises(Conflict):
        containers.amend_container(
            by=crew.maker, weighing=row, gross_mg=5, tare_mg=1, reason="again"
        )


def test_a_weighing_is_taken_back_with_a_reason(crew: make.Crew, potash: Any) -> None:
    row = lab.container(crew, potash)
    with pytest.raises(Refusal, match="Say why"):
        containers.amend_container(by=crew.maker, weighing=row, void=True, reason="")
    void = containers.amend_container(
        by=crew.maker, weighing=row, void=True, reason="another tin"
    )
    assert (void.is_void, void.net_mg, void.sentence) == (True, 0, "")
    assert not ContainerWeighing.objects.current().exists()


def test_weighing_changes_nothing_in_the_book(crew: make.Crew, potash: Any) -> None:
    before = potash.stock.movements.count()
    lab.container(crew, potash, gain_mg=10_000)
    potash.stock.refresh_from_db()
    assert potash.stock.on_hand_mg == KG
    assert potash.stock.movements.count() == before


def test_gross_is_more_than_tare(crew: make.Crew, potash: Any) -> None:
    with pytest.raises(ValidationError, match="Check which container"):
        lab.container(crew, potash, gross_mg=5, tare_mg=5)


def test_a_lot_that_is_used_up_has_no_book_to_compare_with(
    crew: make.Crew, potash: Any
) -> None:
    stock.dispose(by=crew.maker, lot=potash, amount_mg=KG, reason="spilt")
    with pytest.raises(Refusal, match="stock-take first"):
        lab.container(crew, potash, gain_mg=10)


def test_it_is_weighed_on_a_scale_by_a_maker(
    crew: make.Crew, auditor: User, potash: Any
) -> None:
    with pytest.raises(Refusal, match="Choose the scale"):
        lab.container(crew, potash, scale=make.meter(crew.maker))
    row = lab.container(crew, potash)
    scale = make.scale(crew.maker)
    with pytest.raises(PermissionDenied):
        containers.weigh_container(
            by=auditor, lot=potash, scale=scale, gross_mg=9, tare_mg=1
        )
    with pytest.raises(PermissionDenied):
        containers.amend_container(by=auditor, weighing=row, void=True, reason="no")


def test_the_uncertainty_by_hand(crew: make.Crew, potash: Any) -> None:
    row = lab.container(crew, potash)
    found = containers.expanded_uncertainty(
        potash, make.scale(crew.maker), before=row.entered_at
    )
    assert found * 1000 == pytest.approx(Decimal(U_MG), abs=1)


@pytest.mark.django_db(transaction=True)
def test_two_people_who_correct_one_weighing_at_once_meet_a_conflict(
    crew: make.Crew, potash: Any
) -> None:
    row = lab.container(crew, potash)

    def amend() -> ContainerWeighing:
        return containers.amend_container(
            by=crew.maker,
            weighing=ContainerWeighing.objects.get(pk=row.pk),
            gross_mg=row.gross_mg + 1000,
            tare_mg=row.tare_mg,
            reason="misread",
        )

    first, second = while_uncommitted(amend, amend)
    assert isinstance(first, ContainerWeighing)
    assert isinstance(second, Conflict)
    assert ContainerWeighing.objects.count() == 2


@pytest.mark.django_db
def test_a_scale_shows_no_more_than_it_carries(crew: make.Crew) -> None:
    lot = make.released_lot(crew, make.potash(crew.maker))
    small = make.registered(
        crew.maker,
        Instrument(
            kind="scale", name="small", resolution=Decimal(1), capacity=Decimal(2000)
        ),
    )
    with pytest.raises(Refusal, match="carries up to 2 kg"):
        lab.container(crew, lot, scale=small)
