"""Containers of a lot: what is in each, and that they never hold more than the lot."""

from __future__ import annotations

import datetime
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.utils import timezone

from producer.errors import NotEnough, Refusal
from producer.models import Container, JournalEntry, RawLot, Stock, StockMovement, User
from producer.services import containers, intake, stock
from producer.services.containers import Filling, alike
from quality.services.verification import store
from tests import make
from tests.database import while_uncommitted, without_triggers

pytestmark = pytest.mark.django_db

KG = make.KG


@pytest.fixture
def oil(crew: make.Crew) -> RawLot:
    """Return 3 kg of oil."""
    return make.released_lot(crew, make.sunflower(crew.maker), quantity_mg=3 * KG)


def books(lot: RawLot) -> list[int]:
    return [one.book_mg for one in containers.containers_of(lot)]


def two(crew: make.Crew, lot: RawLot) -> list[Container]:
    """Register two containers of 1 kg each."""
    return containers.register(
        by=crew.maker, lot=lot, fillings=alike(count=2, each_mg=KG)
    )


def draw(
    crew: make.Crew, lot: RawLot, mass_mg: int, container: Container | None = None
) -> StockMovement:
    return stock.move(
        by=crew.maker,
        stock=Stock.objects.get(pk=lot.pk),
        kind=StockMovement.Kind.DRAW,
        amount_mg=-mass_mg,
        observed_at=timezone.now(),
        container=container,
    )


def no_faults() -> bool:
    return not [*store.container_faults(), *store.count_faults()]


def test_containers_have_the_code_of_their_lot_a_number_and_a_book(
    crew: make.Crew, oil: RawLot
) -> None:
    made = containers.register(
        by=crew.maker,
        lot=oil,
        fillings=[
            Filling(net_mg=KG, tare_mg=120_000, place="cellar"),
            Filling(net_mg=2 * KG),
        ],
    )
    assert [one.code for one in made] == [f"{oil.code}/1", f"{oil.code}/2"]
    assert books(oil) == [KG, 2 * KG]
    entry = JournalEntry.objects.get(act="containers registered")
    assert entry.after_values[f"{oil.code}/1"] == {
        "filled_mg": KG,
        "place": "cellar",
        "tare_mg": 120_000,
    }
    assert containers.outside_words(oil) == ""


def test_numbers_go_on_and_what_is_in_no_container_is_said(
    crew: make.Crew, oil: RawLot
) -> None:
    two(crew, oil)
    assert containers.outside_words(oil) == f" 1 kg of {oil.code} is in no container."
    (third,) = containers.register(
        by=crew.maker, lot=oil, fillings=[Filling(net_mg=400_000)]
    )
    assert third.number == 3
    assert "600 g" in containers.outside_words(oil)


def test_containers_hold_no_more_than_what_is_there(
    crew: make.Crew, oil: RawLot
) -> None:
    with pytest.raises(Refusal, match="hold 4 kg together, but only 3 kg"):
        containers.register(by=crew.maker, lot=oil, fillings=alike(count=4, each_mg=KG))
    two(crew, oil)
    with pytest.raises(Refusal, match="only 1 kg of"):
        two(crew, oil)
    assert Container.objects.count() == 2


@pytest.mark.parametrize(
    ("fillings", "error"),
    [
        ([], Refusal),
        ([Filling(net_mg=0)], ValidationError),
        ([Filling(net_mg=5, tare_mg=0)], ValidationError),
        (alike(count=61, each_mg=1), Refusal),
    ],
)
def test_what_is_no_container_is_refused(
    crew: make.Crew, oil: RawLot, fillings: list[Filling], error: type[Exception]
) -> None:
    with pytest.raises(error):
        containers.register(by=crew.maker, lot=oil, fillings=fillings)
    assert not Container.objects.exists()


def test_a_delivery_brings_its_containers_in_the_same_act(crew: make.Crew) -> None:
    lot = make.held_lot(
        crew,
        make.potash(crew.maker),
        quantity_mg=3 * KG,
        fillings=alike(count=3, each_mg=KG),
    )
    assert books(lot) == [KG] * 3
    entry = JournalEntry.objects.get(act="raw lot received")
    assert f"{lot.code}/3" in entry.after_values["containers"]
    with pytest.raises(Refusal, match="hold 4 kg together"):
        make.held_lot(
            crew,
            make.potash(crew.maker),
            quantity_mg=3 * KG,
            fillings=alike(count=4, each_mg=KG),
        )


def test_place_and_tare_are_changed_with_the_old_in_the_journal(
    crew: make.Crew, auditor: User, oil: RawLot
) -> None:
    first, _ = two(crew, oil)
    facts: dict[str, Any] = {"container": first, "place": "larder", "tare_mg": 90_000}
    with pytest.raises(PermissionDenied):
        containers.change(by=auditor, **facts)
    containers.change(by=crew.maker, **facts)
    first.refresh_from_db()
    assert (first.place, first.tare_mg) == ("larder", 90_000)
    entry = JournalEntry.objects.get(act="container changed")
    assert entry.before_values["tare_mg"] is None
    assert (entry.after_values["container"], entry.subject_label) == (
        f"{oil.code}/1",
        oil.code,
    )
    with pytest.raises(Refusal, match="Nothing was changed"):
        containers.change(by=crew.maker, **facts)
    with pytest.raises(PermissionDenied):
        containers.register(by=auditor, lot=oil, fillings=[Filling(net_mg=5)])


def test_far_less_than_the_lot_is_asked_about_with_the_figures(
    crew: make.Crew, oil: RawLot
) -> None:
    facts: dict[str, Any] = {"lot": oil, "by": crew.maker}
    with pytest.raises(Refusal, match=r"299 g together.* 3 kg .*g or kg") as refused:
        containers.register(**facts, fillings=[Filling(net_mg=299_000)])
    assert refused.value.field == "is_little"
    assert books(oil) == []
    containers.register(**facts, fillings=[Filling(net_mg=300_000)])
    containers.register(**facts, fillings=[Filling(net_mg=5000)], is_little=True)
    assert books(oil) == [300_000, 5000]


def test_a_mass_written_down_wrongly_is_corrected_while_nothing_was_drawn(
    crew: make.Crew, oil: RawLot
) -> None:
    first, second = containers.register(
        by=crew.maker, lot=oil, fillings=alike(count=2, each_mg=5000), is_little=True
    )
    facts: dict[str, Any] = {"place": "", "tare_mg": None, "by": crew.maker}
    with pytest.raises(Refusal, match="Say why"):
        containers.change(**facts, container=first, filled_mg=2 * KG)
    facts["reason"] = "kg, not g"
    with pytest.raises(Refusal, match="2995 g, which is all of"):
        containers.change(**facts, container=first, filled_mg=2_995_001)
    containers.change(**facts, container=first, filled_mg=2 * KG)
    assert books(oil) == [2 * KG, 5000]
    entry = JournalEntry.objects.get(act="container changed")
    assert (entry.before_values["filled_mg"], entry.after_values["filled_mg"]) == (
        5000,
        2 * KG,
    )
    assert entry.reason == "kg, not g"
    assert no_faults()
    draw(crew, oil, 1000, first)
    assert not containers.is_untouched(first)
    with pytest.raises(Refusal, match="Count it instead"):
        containers.change(**facts, container=first, filled_mg=KG)
    assert containers.is_untouched(second)
    with pytest.raises(Refusal, match="Nothing was changed"):
        containers.change(**facts, container=second, filled_mg=5000)


def test_a_draw_names_its_container_and_opens_it(crew: make.Crew, oil: RawLot) -> None:
    first, second = two(crew, oil)
    before = timezone.now()
    draw(crew, oil, 400_000, second)
    assert books(oil) == [KG, KG - 400_000]
    second.refresh_from_db()
    first.refresh_from_db()
    assert second.opened_at is not None
    assert before <= second.opened_at <= timezone.now()
    assert first.opened_at is None
    opened = second.opened_at
    draw(crew, oil, 1000, Container.objects.get(pk=second.pk))
    second.refresh_from_db()
    assert second.opened_at == opened


def test_a_container_gives_no_more_than_it_holds(crew: make.Crew, oil: RawLot) -> None:
    first, _ = two(crew, oil)
    with pytest.raises(NotEnough, match=r"/1 holds 1 kg by the book, so 1\.000001 kg"):
        draw(crew, oil, KG + 1, first)
    draw(crew, oil, KG, first)
    assert books(oil) == [0, KG]


def test_what_names_no_container_comes_from_outside_them(
    crew: make.Crew, oil: RawLot
) -> None:
    two(crew, oil)
    assert draw(crew, oil, KG).container is None
    assert books(oil) == [KG, KG]
    with pytest.raises(Refusal, match="outside them is 0 g, so 1 g") as refused:
        draw(crew, oil, 1000)
    assert refused.value.field == "container"


def test_the_only_container_with_something_in_it_need_not_be_named(
    crew: make.Crew, oil: RawLot
) -> None:
    first, second = two(crew, oil)
    draw(crew, oil, KG)
    draw(crew, oil, KG, first)
    assert draw(crew, oil, 300_000).container == second
    assert books(oil) == [0, 700_000]
    with pytest.raises(NotEnough):
        draw(crew, oil, 700_001)


def test_a_container_of_another_lot_is_refused(crew: make.Crew, oil: RawLot) -> None:
    other = make.held_lot(crew, make.sunflower(crew.maker))
    first, _ = two(crew, other)
    with pytest.raises(Refusal, match="is no container of"):
        draw(crew, oil, 5, first)


def test_disposal_and_count_are_of_one_container(crew: make.Crew, oil: RawLot) -> None:
    first, second = two(crew, oil)
    stock.dispose(
        by=crew.maker, lot=oil, amount_mg=KG, reason="rancid", container=first
    )
    stock.adjust(
        by=crew.maker, lot=oil, counted_mg=900_000, reason="spilt", container=second
    )
    assert books(oil) == [0, 900_000]
    assert Stock.objects.get(pk=oil.pk).on_hand_mg == 1_900_000
    for act, code in (("stock disposed of", 1), ("stock adjusted", 2)):
        entry = JournalEntry.objects.get(act=act)
        assert entry.after_values["container"] == f"{oil.code}/{code}"
    # Of the whole lot only what is outside the containers can be missing.
    with pytest.raises(Refusal, match="Say which container"):
        stock.adjust(by=crew.maker, lot=oil, counted_mg=5, reason="counted")
    assert no_faults()


def test_released_potash_counted_above_its_book_goes_on_hold(crew: make.Crew) -> None:
    lot = make.released_lot(crew, make.potash(crew.maker), quantity_mg=KG)
    stock.adjust(by=crew.maker, lot=lot, counted_mg=KG + 3000, reason="weighed")
    lot.refresh_from_db()
    assert lot.status == RawLot.Status.RELEASED  # 0.3 %: as for a weighing
    stock.adjust(by=crew.maker, lot=lot, counted_mg=KG + 10_000, reason="weighed")
    lot.refresh_from_db()
    assert lot.status == RawLot.Status.ON_HOLD
    assert "7 g more was counted" in lot.status_changes.latest("pk").reason


def test_two_who_empty_one_container_at_once_do_not_both_get_it(
    transactional_db: None, crew: make.Crew
) -> None:
    lot = make.released_lot(crew, make.sunflower(crew.maker), quantity_mg=3 * KG)
    first, _ = two(crew, lot)

    def throw() -> StockMovement:
        return stock.dispose(
            by=crew.maker, lot=lot, amount_mg=KG, reason="rancid", container=first
        )

    won, lost = while_uncommitted(throw, throw)
    assert isinstance(won, StockMovement)
    assert isinstance(lost, NotEnough)
    assert books(lot) == [0, KG]


@pytest.mark.parametrize(
    ("filled_mg", "expected"),
    [
        (3_499_999, "its containers hold 3.999999 kg together"),
        (400_000, "/1 holds −100 g by the book"),
    ],
)
def test_verify_finds_a_container_that_was_changed_behind_the_program(
    crew: make.Crew, oil: RawLot, filled_mg: int, expected: str
) -> None:
    first, _ = two(crew, oil)
    stock.dispose(
        by=crew.maker, lot=oil, amount_mg=500_000, reason="rancid", container=first
    )
    assert no_faults()
    Container.objects.filter(pk=first.pk).update(filled_mg=filled_mg)
    assert expected in "".join(store.container_faults())


def test_verify_finds_a_movement_put_on_a_container_of_another_lot(
    crew: make.Crew, oil: RawLot
) -> None:
    other = make.held_lot(crew, make.sunflower(crew.maker))
    first, _ = two(crew, other)
    movement = draw(crew, oil, 5)
    with without_triggers():
        StockMovement.objects.filter(pk=movement.pk).update(container=first)
    assert "which is no container of it" in "".join(store.container_faults())


def test_a_certificate_and_a_release_leave_the_containers_alone(
    crew: make.Crew,
) -> None:
    lot = make.held_lot(
        crew,
        make.sunflower(crew.maker),
        fillings=alike(count=5, each_mg=KG, tare_mg=90_000, place="cellar"),
        received_on=timezone.now().date() - datetime.timedelta(days=3),
    )
    intake.decide_lot(by=crew.reviewer, lot=lot, new="released", reason="fine")
    assert books(lot) == [KG] * 5
    assert {one.place for one in containers.containers_of(lot)} == {"cellar"}
