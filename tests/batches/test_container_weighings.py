"""One container of a lot on the scale beside its own book."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from django.utils import timezone

from batches.models import ContainerWeighing
from batches.services import containers, sources
from producer.errors import Refusal
from producer.models import Container, RawLot, Stock, StockMovement
from producer.quantities import format_number
from producer.services import containers as tins
from producer.services import counting, intake, stock
from tests import lab, make

pytestmark = pytest.mark.django_db

KG = make.KG
TIN = 120_000  # milligrams: an empty tin with its lid


@pytest.fixture
def potash(crew: make.Crew) -> RawLot:
    """Return 2 kg of potash of 90 %, in two tins."""
    lot = make.released_lot(crew, make.potash(crew.maker), quantity_mg=2 * KG)
    tins.register(
        by=crew.maker,
        lot=lot,
        fillings=[
            tins.Filling(net_mg=KG, tare_mg=TIN),
            tins.Filling(net_mg=KG),  # of unknown tare
        ],
    )
    return lot


def tin(lot: RawLot, number: int = 1) -> Container:
    return Container.objects.select_related("lot__stock").get(lot=lot, number=number)


def weigh(
    crew: make.Crew, lot: RawLot, gross_mg: int, number: int = 1, **facts: Any
) -> ContainerWeighing:
    return containers.weigh_container(
        by=crew.maker,
        lot=lot,
        scale=make.scale(crew.maker),
        gross_mg=gross_mg,
        container=tin(lot, number),
        **facts,
    )


def draw(crew: make.Crew, lot: RawLot, mass_mg: int, number: int = 1) -> None:
    stock.move(
        by=crew.maker,
        stock=Stock.objects.get(pk=lot.pk),
        kind=StockMovement.Kind.DRAW,
        amount_mg=-mass_mg,
        observed_at=timezone.now(),
        container=tin(lot, number),
    )


def test_the_book_is_that_of_the_container_and_the_tare_that_of_the_register(
    crew: make.Crew, potash: RawLot
) -> None:
    draw(crew, potash, 300_000)
    row = weigh(crew, potash, 700_000 + TIN)
    assert (row.book_mg, row.tare_mg, row.net_mg) == (700_000, TIN, 700_000)
    assert row.sentence.startswith("Agrees: 700 g on the scale, 700 g in the book")


def test_one_tin_that_gained_holds_the_lot(crew: make.Crew, potash: RawLot) -> None:
    row = weigh(crew, potash, KG + TIN + 10_000)
    assert row.sentence.startswith("Hold and retest: 1.01 kg on the scale, 1 kg in")
    potash.refresh_from_db()
    assert potash.status == RawLot.Status.ON_HOLD


def test_a_tare_that_is_written_goes_before_the_register(
    crew: make.Crew, potash: RawLot
) -> None:
    row = weigh(crew, potash, KG + 130_000, tare_mg=130_000)
    assert (row.tare_mg, row.net_mg) == (130_000, KG)


def test_of_an_unknown_tare_the_difference_against_the_first_weighing_counts(
    crew: make.Crew, potash: RawLot
) -> None:
    first = weigh(crew, potash, 1_234_000, 2)
    assert (first.net_mg, first.book_mg, first.tare_mg) == (KG, KG, 234_000)
    assert first.sentence.startswith("First weighing: 1234 g gross beside 1 kg")
    draw(crew, potash, 400_000, 2)
    # 834 g would agree
    later = weigh(crew, potash, 844_000, 2)
    assert later.net_mg == 610_000
    assert later.sentence.startswith("Hold and retest: 610 g on the scale, 600 g in")
    tins.change(by=crew.maker, container=tin(potash, 2), place="", tare_mg=200_000)
    assert weigh(crew, potash, 844_000, 2).net_mg == 644_000


def test_a_first_weighing_that_is_corrected_stays_the_first(
    crew: make.Crew, potash: RawLot
) -> None:
    first = weigh(crew, potash, 1_234_000, 2)
    amended = containers.amend_container(
        by=crew.maker, weighing=first, gross_mg=1_244_000, reason="misread"
    )
    assert amended.container == tin(potash, 2)
    assert (amended.tare_mg, amended.net_mg) == (244_000, KG)
    assert weigh(crew, potash, 1_244_000, 2).sentence.startswith("Agrees")


def test_a_correction_of_a_later_one_is_held_against_the_first_too(
    crew: make.Crew, potash: RawLot
) -> None:
    weigh(crew, potash, 1_234_000, 2)
    later = weigh(crew, potash, 1_235_000, 2)
    amended = containers.amend_container(
        by=crew.maker, weighing=later, gross_mg=1_244_000, reason="misread"
    )
    assert (amended.tare_mg, amended.net_mg) == (234_000, 1_010_000)
    assert amended.sentence.startswith("Hold and retest")


def test_a_container_lighter_than_its_book_has_no_first_weighing(
    crew: make.Crew, potash: RawLot
) -> None:
    with pytest.raises(Refusal, match="weighs less than the book says is in it"):
        weigh(crew, potash, 990_000, 2)


def test_without_a_container_the_tare_is_needed(
    crew: make.Crew, potash: RawLot
) -> None:
    with pytest.raises(Refusal, match="Write the tare") as refused:
        containers.weigh_container(
            by=crew.maker, lot=potash, scale=make.scale(crew.maker), gross_mg=5
        )
    assert refused.value.field == "tare_mg"


def test_an_empty_container_and_one_of_another_lot_are_refused(
    crew: make.Crew, potash: RawLot
) -> None:
    draw(crew, potash, KG)
    with pytest.raises(Refusal, match="is used up"):
        weigh(crew, potash, TIN + 5)
    other = make.held_lot(crew, make.potash(crew.maker))
    with pytest.raises(Refusal, match="is not of"):
        containers.weigh_container(
            by=crew.maker,
            lot=other,
            scale=make.scale(crew.maker),
            gross_mg=KG,
            container=tin(potash, 2),
        )


def test_an_oil_that_is_lighter_is_an_unlogged_loss(crew: make.Crew) -> None:
    lot = make.released_lot(crew, make.sunflower(crew.maker), quantity_mg=2 * KG)
    tins.register(
        by=crew.maker, lot=lot, fillings=tins.alike(count=2, each_mg=KG, tare_mg=TIN)
    )
    row = weigh(crew, lot, KG + TIN - 20_000, 2)
    assert row.sentence.startswith("Unlogged loss: 980 g on the scale, 1 kg in the")
    lot.refresh_from_db()
    assert lot.status == RawLot.Status.RELEASED


def test_only_an_opening_opens(crew: make.Crew, potash: RawLot) -> None:
    weigh(crew, potash, KG + TIN)
    assert tin(potash).opened_at is None
    row = weigh(crew, potash, KG + TIN, opening=True)
    assert tin(potash).opened_at == row.observed_at
    weigh(crew, potash, KG + TIN, opening=True)
    assert tin(potash).opened_at == row.observed_at


# U = 2·u·√(2·(1 + draws)), u = 1/√12 g of a scale with steps of 1 g; GUM 5.1.2.
@pytest.mark.parametrize(
    ("draws", "expected"), [(0, "0.816"), (1, "1.155"), (3, "1.633")]
)
def test_draws_of_the_container_since_its_book_was_set_count(
    crew: make.Crew, potash: RawLot, draws: int, expected: str
) -> None:
    def doubt() -> str:
        found = containers.expanded_uncertainty(
            potash,
            make.scale(crew.maker),
            before=timezone.now(),
            container=tin(potash),
        )
        return format_number(found, places=3)

    draw(crew, potash, 5000, 2)  # of the other tin: does not count
    for _ in range(draws):
        draw(crew, potash, 1000)
    assert doubt() == expected
    counted = counting.Counted(
        lot=potash, container=tin(potash), counted_mg=5000, reason="counted"
    )
    counting.take_stock(by=crew.maker, counts=[counted])
    assert doubt() == "0.816"


def test_by_difference_only_the_draws_since_the_first_weighing_count(
    crew: make.Crew, potash: RawLot
) -> None:
    for _ in range(3):
        draw(crew, potash, 1000, 2)
    weigh(crew, potash, 1_234_000, 2)
    assert weigh(crew, potash, 1_234_000, 2).sentence.endswith("(U = 0.8 g, k = 2).")
    draw(crew, potash, 1000, 2)
    assert weigh(crew, potash, 1_233_000, 2).sentence.endswith("(U = 1.2 g, k = 2).")


# ------------------------------------------------------------------ what is left of it


def shares(lot: RawLot) -> tuple[Decimal, Decimal]:
    """Return the ends of the rectangle that its figure says, in percent."""
    words = sources.potash_fraction(lot).origin.split("between ")[1]
    low, _, high = words.replace(" %", "").partition(", if all of that is carbon")
    return Decimal(low), Decimal(high.split(" and ")[1].split(",")[0])


def after(gains: list[tuple[int, int]], share: Decimal) -> tuple[Decimal, Decimal]:
    """Work the ends out from moles: grams of KOH, and 2 KOH for each CO₂."""
    low, high = share, share
    for book, gain in gains:
        now = book + gain
        low = (low * book - gain * 2 * Decimal("56.105") / Decimal("44.009")) / now
        high = high * book / now
    tenth = Decimal("0.1")
    return (low * 100).quantize(tenth), (high * 100).quantize(tenth)


def test_two_gains_with_a_stock_take_between_add_up(
    crew: make.Crew,
) -> None:
    lot = make.released_lot(crew, make.potash(crew.maker), quantity_mg=KG)
    lab.container(crew, lot, gain_mg=10_000)
    assert (
        shares(lot)
        == after([(1000, 10)], Decimal("0.9"))
        == (
            Decimal("86.6"),
            Decimal("89.1"),
        )
    )
    stock.adjust(
        by=crew.maker, lot=lot, counted_mg=KG + 10_000, reason="as on the scale"
    )
    assert shares(lot) == after([(1000, 10)], Decimal("0.9"))
    lab.container(crew, lot, gain_mg=20_000)
    assert shares(lot) == after([(1000, 10), (1010, 20)], Decimal("0.9"))
    assert "3.0 % heavier" in sources.potash_fraction(lot).origin


def test_two_weighings_beside_one_book_do_not_add_up(crew: make.Crew) -> None:
    lot = make.released_lot(crew, make.potash(crew.maker), quantity_mg=KG)
    lab.container(crew, lot, gain_mg=10_000)
    lab.container(crew, lot, gain_mg=12_000)
    assert shares(lot) == after([(1000, 12)], Decimal("0.9"))


def test_a_titration_between_takes_the_first_gain_in(crew: make.Crew) -> None:
    lot = make.released_lot(crew, make.potash(crew.maker), quantity_mg=KG)
    lab.container(crew, lot, gain_mg=10_000)
    lab.titration(crew, lot.stock)
    assert "heavier" not in sources.potash_fraction(lot).origin
    stock.adjust(by=crew.maker, lot=lot, counted_mg=KG + 10_000, reason="scale")
    lab.container(crew, lot, gain_mg=20_000)
    assert "2.0 % heavier" in sources.potash_fraction(lot).origin


def test_over_several_tins_it_reaches_from_the_weakest_to_the_strongest(
    crew: make.Crew, potash: RawLot
) -> None:
    weigh(crew, potash, KG + TIN + 10_000)
    # The other tin gained nothing, so 90 % is still possible.
    low, _ = after([(1000, 10)], Decimal("0.9"))
    assert shares(potash) == (low, Decimal("90.0"))
    intake.decide_lot(by=crew.reviewer, lot=potash, new="released", reason="for now")
    draw(crew, potash, KG, 2)
    assert shares(potash) == after([(1000, 10)], Decimal("0.9"))


def test_a_tin_that_gained_and_is_used_up_counts_no_more(
    crew: make.Crew, potash: RawLot
) -> None:
    weigh(crew, potash, KG + TIN + 10_000)
    draw(crew, potash, KG)
    assert "heavier" not in sources.potash_fraction(potash).origin


def test_a_gain_of_all_together_and_one_of_a_tin_add_up_for_that_tin(
    crew: make.Crew, potash: RawLot
) -> None:
    lab.container(crew, potash, gain_mg=20_000)  # 1 % of both
    weigh(crew, potash, KG + TIN + 10_000)
    low, _ = after([(1000, 10), (1000, 10)], Decimal("0.9"))
    _, high = after([(1000, 10)], Decimal("0.9"))
    assert shares(potash) == (low, high)
