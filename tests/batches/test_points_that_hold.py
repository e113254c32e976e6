"""Hold points that hold: in time, for the scale, for potash, for all of the oil."""

from __future__ import annotations

import datetime
from typing import Any

import pytest
from django.utils import timezone

from batches.models import Batch, ContainerWeighing, HoldPoint
from batches.services import containers as on_the_scale
from batches.services import (
    cooking,
    half_weighings,
    hold_points,
    planning,
    potash_gain,
    transcribing,
)
from batches.services.cooking import How
from batches.services.hold_points import Look
from producer.errors import Refusal
from producer.models import Container, Instrument, RawLot, Stock
from producer.services import containers, registers
from tests import make, opened

pytestmark = pytest.mark.django_db
Point = HoldPoint.Point
AN_HOUR = datetime.timedelta(hours=1)
A_DAY = datetime.timedelta(days=1)
HELD = "Hold and retest"


def charge(
    crew: make.Crew, batch: Batch, name: str, net_mg: int, **changes: Any
) -> None:
    """Weigh a line in as somebody does who gives no reason for anything."""
    line = make.line_of(batch, name)
    facts = {
        "source": make.stock_of(crew, line),
        "scale": make.scale(crew.maker),
        "gross_mg": net_mg + make.TARE_MG,
        "tare_mg": make.TARE_MG,
        **changes,
    }
    cooking.charge(by=crew.maker, batch=batch, line=line, **facts)


def look(crew: make.Crew, batch: Batch, point: HoldPoint.Point, **facts: Any) -> None:
    when = facts.pop("observed_at", None)
    hold_points.go_through(
        by=crew.maker,
        batch=batch,
        looks=[Look(point=point, **facts)],
        observed_at=when,
        transcription=facts.pop("transcription", None),
    )


def small(crew: make.Crew) -> Instrument:
    return make.registered(
        crew.maker, Instrument(kind="scale", name="small scale", resolution=1)
    )


def take_out(crew: make.Crew, name: str) -> Instrument:
    entry = Instrument.objects.get(name=name)
    entry.in_use = False
    registers.save(by=crew.maker, entry=entry)
    return entry


def ready(crew: make.Crew, **changes: Any) -> Batch:
    """Return a planned batch that went through its hold points."""
    batch = make.open_batch(crew, **changes)
    make.go_through(crew, batch)
    return batch


def oiled(crew: make.Crew, potash: Stock | None = None) -> Batch:
    """Return a batch with everything in but the potash, whose lot is chosen."""
    batch = ready(crew)
    line = make.line_of(batch, "potash flakes")
    lot = potash or make.stock_of(crew, line)
    planning.choose_lots(by=crew.maker, batch=batch, choices={line.pk: lot})
    charge(crew, batch, "sunflower oil", 800_000)
    charge(crew, batch, "coconut oil", 200_000)
    charge(crew, batch, "distilled water", 420_000)
    return make.fresh(batch)


def potash_mg(batch: Batch) -> int:
    line = make.line_of(batch, "potash flakes")
    planned = {one.line.pk: one for one in planning.plan_of(batch).lines}
    return round(planned[line.pk].target_mg or 0, -3)


def weigh_potash(crew: make.Crew, batch: Batch, lot: Stock, **changes: Any) -> None:
    charge(crew, batch, "potash flakes", potash_mg(batch), source=lot, **changes)


# ------------------------------------------------------------------ in time


def test_a_charge_from_before_the_points_is_refused(crew: make.Crew) -> None:
    batch = ready(crew, opened_at=timezone.now() - AN_HOUR)
    earlier = timezone.now() - datetime.timedelta(minutes=20)
    with pytest.raises(Refusal, match="were not gone through yet") as refused:
        charge(crew, batch, "sunflower oil", 800_000, observed_at=earlier)
    assert refused.value.field == "observed_at"
    charge(crew, batch, "sunflower oil", 800_000)
    # Nor may a later one be dated before them, once the batch is begun.
    with pytest.raises(Refusal, match="were not gone through yet"):
        charge(crew, batch, "coconut oil", 200_000, observed_at=earlier)


def test_what_was_on_paper_is_held_to_the_times_on_the_paper(crew: make.Crew) -> None:
    now = timezone.now()
    batch = make.open_batch(crew, opened_at=now - AN_HOUR)
    sheet = transcribing.begin(by=crew.maker, batch=batch, note="no power")
    make.go_through(crew, batch, now - AN_HOUR / 2)
    paper = How(transcription=sheet)
    then = {"how": paper, "observed_at": now - AN_HOUR / 3}
    charge(crew, batch, "sunflower oil", 800_000, **then)
    # What was found wrong only after it stops nothing that was on paper before.
    look(crew, batch, Point.PROTECTION, in_order=False, note="gloves torn")
    charge(crew, batch, "coconut oil", 200_000, **then)
    with pytest.raises(Refusal, match="gloves torn"):
        charge(crew, batch, "distilled water", 420_000)


def test_a_batch_begun_the_next_day_goes_through_its_points_again(
    crew: make.Crew,
) -> None:
    batch = make.open_batch(crew, opened_at=timezone.now() - 2 * A_DAY)
    make.go_through(crew, batch, timezone.now() - A_DAY)
    assert hold_points.open_points(batch) == list(Point)
    with pytest.raises(Refusal, match="on the same day"):
        charge(crew, batch, "sunflower oil", 800_000)
    make.go_through(crew, batch)
    charge(crew, batch, "sunflower oil", 800_000)
    # Once begun it goes on the next day as it is.
    tomorrow = timezone.now() + A_DAY
    assert hold_points.open_points(make.fresh(batch), at=tomorrow) == []


def test_a_point_from_long_before_the_batch_was_opened_is_refused(
    crew: make.Crew,
) -> None:
    batch = make.open_batch(crew)
    with pytest.raises(Refusal, match="cannot have been done before"):
        make.go_through(crew, batch, batch.opened_at - AN_HOUR)
    assert not batch.hold_points.exists()


def test_a_point_found_wrong_at_the_pot_stops_every_further_charge(
    crew: make.Crew,
) -> None:
    batch = ready(crew)
    charge(crew, batch, "sunflower oil", 800_000)
    look(crew, batch, Point.PROTECTION, in_order=False, note="no gloves left")
    line = make.line_of(batch, "coconut oil")
    with pytest.raises(Refusal, match=r"protective equipment \(no gloves left\)"):
        charge(crew, batch, "coconut oil", 200_000)
    with pytest.raises(Refusal, match="no gloves left"):
        half_weighings.begin(
            by=crew.maker,
            batch=batch,
            line=line,
            source=make.stock_of(crew, line),
            scale=make.scale(crew.maker),
            first_mg=make.TARE_MG,
        )
    look(crew, batch, Point.PROTECTION)
    charge(crew, batch, "coconut oil", 200_000)


# ------------------------------------------------------------------ scales


def test_a_scale_that_was_not_checked_needs_a_reason(crew: make.Crew) -> None:
    batch, other = ready(crew), small(crew)
    with pytest.raises(Refusal, match="was not checked for batch") as refused:
        charge(crew, batch, "sunflower oil", 800_000, scale=other)
    assert refused.value.field == "unusual"
    why = "the bench scale is too small"
    charge(crew, batch, "coconut oil", 200_000, scale=other, unusual=why)
    assert batch.charges.get().reason == why
    look(crew, batch, Point.SCALE, scale=other, found="500 g: 500 g shown")
    charge(crew, batch, "sunflower oil", 800_000, scale=other)
    # The one that was checked first is still one that was checked.
    charge(crew, batch, "distilled water", 420_000)


def test_the_last_look_at_a_scale_is_what_counts_of_it(crew: make.Crew) -> None:
    batch, other = ready(crew), small(crew)
    look(crew, batch, Point.SCALE, scale=other, in_order=False, note="it drifts")
    look(crew, batch, Point.SCALE, scale=make.scale(crew.maker))
    with pytest.raises(Refusal, match="small scale was not checked"):
        charge(crew, batch, "sunflower oil", 800_000, scale=other)


def test_nothing_is_weighed_on_a_scale_that_is_out_of_use(crew: make.Crew) -> None:
    batch = ready(crew)
    oil = make.stock_of(crew, make.line_of(batch, "sunflower oil"))
    charge(crew, batch, "sunflower oil", 800_000)
    known = make.scale(crew.maker)  # as a page that was open has it: still in use
    take_out(crew, "bench scale")
    for unusual in ("", "there is no other"):
        with pytest.raises(Refusal, match="bench scale is out of use") as refused:
            charge(crew, batch, "coconut oil", 200_000, scale=known, unusual=unusual)
        assert refused.value.field == "scale"
    with pytest.raises(Refusal, match="out of use"):
        make.weigh_bulk(crew, batch)
    with pytest.raises(Refusal, match="out of use"):
        on_the_scale.weigh_container(
            by=crew.maker, lot=oil.lot, scale=known, gross_mg=900_000, tare_mg=1_000
        )
    # What was weighed before is still corrected.
    row = batch.charges.get()
    cooking.amend_charge(
        by=crew.maker,
        charge=row,
        reason="misread",
        gross_mg=row.gross_mg + 1_000,
        tare_mg=row.tare_mg,
    )


def test_nothing_is_read_with_an_instrument_that_is_out_of_use(
    crew: make.Crew,
) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    make.read_ph(crew, batch)
    take_out(crew, "pH meter")
    with pytest.raises(Refusal, match="pH meter is out of use") as refused:
        make.read_ph(crew, batch)
    assert refused.value.field == "instrument"
    reading = batch.readings.get()
    cooking.amend_reading(
        by=crew.maker,
        reading=reading,
        reason="misread",
        value=reading.value,
        method=reading.method,
    )


# ------------------------------------------------------------------ potash


def two_tins(crew: make.Crew) -> tuple[RawLot, list[Container]]:
    """Return a lot in two tins, both opened and drawn from by another batch."""
    lot = make.released_lot(crew, make.potash(crew.maker))
    tins = containers.register(
        by=crew.maker,
        lot=lot,
        fillings=containers.alike(count=2, each_mg=5 * make.KG // 2, tare_mg=400_000),
    )
    first = oiled(crew, lot.stock)
    half = potash_mg(first) // 2_000 * 1_000
    for tin in tins:
        how = How(container=tin)
        charge(crew, first, "potash flakes", half, source=lot.stock, how=how)
    return lot, list(tins)


def weigh_tin(crew: make.Crew, lot: RawLot, tin: Container, **changes: Any) -> None:
    book = Container.objects.with_book().get(pk=tin.pk).book_mg  # type: ignore[attr-defined]
    facts = {"gross_mg": book + 400_000, "container": tin, **changes}
    on_the_scale.weigh_container(
        by=crew.maker, lot=lot, scale=make.scale(crew.maker), **facts
    )


def test_the_tin_that_is_drawn_from_is_the_one_that_was_weighed(
    crew: make.Crew,
) -> None:
    lot, (one, two) = two_tins(crew)
    second = oiled(crew, lot.stock)
    weigh_tin(crew, lot, one)
    with pytest.raises(Refusal, match=f"{two.code} has been opened before") as refused:
        weigh_potash(crew, second, lot.stock, how=How(container=two))
    assert refused.value.field == "container"
    weigh_potash(crew, second, lot.stock, how=How(container=one))


def test_one_weighing_of_all_tins_together_counts_for_each(crew: make.Crew) -> None:
    lot, (_, two) = two_tins(crew)
    second = oiled(crew, lot.stock)
    on_hand = Stock.objects.get(pk=lot.pk).on_hand_mg
    weigh_tin(
        crew, lot, two, container=None, gross_mg=on_hand + 800_000, tare_mg=800_000
    )
    weigh_potash(crew, second, lot.stock, how=How(container=two))


def test_a_weighing_from_before_the_last_draw_counts_no_more(crew: make.Crew) -> None:
    lot = make.released_lot(crew, make.potash(crew.maker))
    # One batch in two portions: what it opened for itself need not be weighed between.
    first = oiled(crew, lot.stock)
    half = potash_mg(first) // 2_000 * 1_000
    charge(crew, first, "potash flakes", half, source=lot.stock)
    charge(crew, first, "potash flakes", half, source=lot.stock)
    second = oiled(crew, lot.stock)
    with pytest.raises(Refusal, match=f"{lot.code} has been opened before"):
        weigh_potash(crew, second, lot.stock)
    opened.weigh(crew.maker, second, lot.stock, make.scale(crew.maker))
    weigh_potash(crew, second, lot.stock)
    third = oiled(crew, lot.stock)
    with pytest.raises(Refusal, match="has been opened before"):
        weigh_potash(crew, third, lot.stock)


def test_a_weighing_of_the_day_before_yesterday_counts_no_more(
    crew: make.Crew,
) -> None:
    lot, (one, _) = two_tins(crew)
    batch = oiled(crew, lot.stock)
    weigh_tin(crew, lot, one)
    at = timezone.now() + potash_gain.LATELY - datetime.timedelta(minutes=1)
    assert potash_gain.weighed_lately(batch, lot.stock, one, at)
    later = at + datetime.timedelta(minutes=2)
    assert potash_gain.weighed_lately(batch, lot.stock, one, later) is None


def test_before_and_after_in_the_charge_is_the_weighing_and_is_held_against_the_book(
    crew: make.Crew,
) -> None:
    lot, (one, _) = two_tins(crew)
    second = oiled(crew, lot.stock)
    book = Container.objects.with_book().get(pk=one.pk).book_mg  # type: ignore[attr-defined]
    how, line = How(container=one, by_difference=True), "potash flakes"

    def drawn(before_mg: int) -> None:
        after = before_mg - potash_mg(second)
        facts = {"gross_mg": before_mg, "tare_mg": after, "how": how}
        charge(crew, second, line, 0, source=lot.stock, **facts)

    heavier = book + 400_000 + 30_000  # 30 g above the book: more than 0.3 %
    with pytest.raises(Refusal, match="it puts the lot on hold") as refused:
        drawn(heavier)
    assert refused.value.message.startswith(HELD)
    with pytest.raises(Refusal, match="it puts the lot on hold"):
        half_weighings.begin(
            by=crew.maker,
            batch=second,
            line=make.line_of(second, line),
            source=lot.stock,
            scale=make.scale(crew.maker),
            first_mg=heavier,
            container=one,
            by_difference=True,
        )
    assert not ContainerWeighing.objects.exists()
    drawn(book + 400_000)


def test_potash_of_another_lot_than_was_looked_at_is_looked_at_first(
    crew: make.Crew,
) -> None:
    lot, other = (make.released_lot(crew, make.potash(crew.maker)) for _ in range(2))
    batch = oiled(crew, lot.stock)
    look(crew, batch, Point.LOTS, found=f"Released and in date: potash {lot.code}.")
    how = How(passed_over="it stands in front")
    with pytest.raises(Refusal, match="is not the potash that was looked at"):
        weigh_potash(crew, batch, other.stock, how=how)
    look(crew, batch, Point.LOTS, found=f"Released and in date: potash {other.code}.")
    weigh_potash(crew, batch, other.stock, how=how)


# ------------------------------------------------------------------ the oils


def test_potash_waits_for_all_of_the_oil_and_not_for_its_first_portion(
    crew: make.Crew,
) -> None:
    batch = ready(crew)
    line = make.line_of(batch, "potash flakes")
    lot = make.stock_of(crew, line)
    planning.choose_lots(by=crew.maker, batch=batch, choices={line.pk: lot})
    charge(crew, batch, "sunflower oil", 80_000)
    charge(crew, batch, "coconut oil", 200_000)
    charge(crew, batch, "distilled water", 420_000)
    with pytest.raises(Refusal, match="still missing: 720 g of sunflower") as refused:
        weigh_potash(crew, batch, lot)
    assert refused.value.field == "unusual"
    charge(crew, batch, "sunflower oil", 639_000)  # 719 g: a tenth is 80 g
    with pytest.raises(Refusal, match="still missing: 81 g of sunflower"):
        weigh_potash(crew, batch, lot)
    charge(crew, batch, "sunflower oil", 10_000, unusual="the rest of the can")
    weigh_potash(crew, batch, lot)


def test_oil_that_stays_out_needs_a_reason(crew: make.Crew) -> None:
    batch = ready(crew)
    line = make.line_of(batch, "potash flakes")
    lot = make.stock_of(crew, line)
    planning.choose_lots(by=crew.maker, batch=batch, choices={line.pk: lot})
    charge(crew, batch, "sunflower oil", 600_000)
    charge(crew, batch, "coconut oil", 200_000)
    charge(crew, batch, "distilled water", 420_000)
    weigh_potash(crew, batch, lot, unusual="no more sunflower oil in the house")
    assert batch.charges.count() == 4
