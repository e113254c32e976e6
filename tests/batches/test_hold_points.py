"""Hold points: rows that count, and what stands before the first charge."""

from __future__ import annotations

import datetime
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.utils import timezone

from batches.models import Batch, HoldPoint
from batches.services import cooking, hold_points
from batches.services.hold_points import EmptyVessel, Look
from producer.errors import Refusal
from producer.models import Instrument, JournalEntry
from tests import make

pytestmark = pytest.mark.django_db
Point = HoldPoint.Point


def look(crew: make.Crew, batch: Batch, *looks: Look) -> list[HoldPoint]:
    return hold_points.go_through(by=crew.maker, batch=batch, looks=looks)


def weigh_first(crew: make.Crew, batch: Batch) -> None:
    line = make.line_of(batch, "sunflower oil")
    cooking.charge(
        by=crew.maker,
        batch=batch,
        line=line,
        source=make.stock_of(crew, line),
        scale=make.scale(crew.maker),
        gross_mg=800_000 + make.TARE_MG,
        tare_mg=make.TARE_MG,
    )


@pytest.mark.parametrize("point", [one for one in Point if one != Point.TARE])
def test_one_open_point_is_enough_to_stop_the_first_charge(
    crew: make.Crew, point: HoldPoint.Point
) -> None:
    batch = make.open_batch(crew)
    make.go_through(crew, batch)
    look(crew, batch, Look(point=point, in_order=False, note="not yet"))
    with pytest.raises(Refusal, match=f"open are: {point.label}"):
        weigh_first(crew, batch)
    assert make.fresh(batch).status == "planned"


def test_without_any_point_all_are_named_in_their_order(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    assert hold_points.open_points(batch) == list(Point)
    with pytest.raises(Refusal, match="line clearance, protective equipment, scale"):
        weigh_first(crew, batch)


def test_the_last_look_counts_and_the_first_stays(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    (bad,) = look(crew, batch, Look(point=Point.LOTS, in_order=False, note="no tin"))
    (good,) = look(crew, batch, Look(point=Point.LOTS))
    assert hold_points.standing_points(batch) == {"lots": good}
    assert list(batch.hold_points.order_by("pk")) == [bad, good]


def test_not_in_order_says_why(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    with pytest.raises(ValidationError, match="Say what is not in order"):
        look(crew, batch, Look(point=Point.PROTECTION, in_order=False))
    assert not batch.hold_points.exists()


def test_the_vessel_is_put_on_the_scale_and_never_only_ticked(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    with pytest.raises(Refusal, match="Put the empty vessel on the scale"):
        look(crew, batch, Look(point=Point.TARE))
    probe = EmptyVessel(
        vessel=make.vessel(crew.maker),
        scale=make.thermometer(crew.maker),
        mass_mg=make.TARE_MG,
    )
    with pytest.raises(Refusal, match="Choose the scale"):
        look(crew, batch, Look(point=Point.TARE, tare=probe))


@pytest.mark.parametrize("way", [1, -1])
def test_a_vessel_agrees_with_its_register_up_to_and_with_what_the_scale_cannot_tell(
    crew: make.Crew, way: int
) -> None:
    """Steps of 1 g: u = 0.5/√3 g; U = 2 · √2 · u = 0.816 g (GUM 4.3.7, 5.1.2)."""
    batch = make.open_batch(crew)
    fine = make.registered(
        crew.maker, Instrument(kind="scale", name="bench", resolution=Decimal(1))
    )
    doubt = hold_points.expanded_uncertainty_mg(fine)
    assert doubt == 816

    def found(off_mg: int) -> HoldPoint:
        pot = EmptyVessel(
            vessel=make.vessel(crew.maker),
            scale=fine,
            mass_mg=make.TARE_MG + way * off_mg,
        )
        (row,) = look(crew, batch, Look(point=Point.TARE, tare=pot))
        return row

    assert found(doubt).in_order
    beyond = found(doubt + 1)
    assert not beyond.in_order
    assert beyond.found.startswith("Does not agree.")


def test_a_vessel_heavier_than_the_scale_carries_is_a_slip(crew: make.Crew) -> None:
    small = make.registered(
        crew.maker,
        Instrument(kind="scale", name="small", resolution=1, capacity=300),
    )
    pot = EmptyVessel(vessel=make.vessel(crew.maker), scale=small, mass_mg=make.TARE_MG)
    with pytest.raises(Refusal):
        look(crew, make.open_batch(crew), Look(point=Point.TARE, tare=pot))


def test_a_finished_batch_has_its_hold_points_behind_it(crew: make.Crew) -> None:
    batch = make.cooked_batch(crew)
    with pytest.raises(Refusal, match="its hold points are past"):
        look(crew, batch, Look(point=Point.LOTS))


def test_a_look_keeps_both_times(crew: make.Crew) -> None:
    then = timezone.now() - datetime.timedelta(minutes=20)
    batch = make.open_batch(crew, opened_at=then)
    (row,) = hold_points.go_through(
        by=crew.maker, batch=batch, looks=[Look(point=Point.LOTS)], observed_at=then
    )
    assert row.observed_at == then
    assert row.entered_at > then
    entry = JournalEntry.objects.first()
    assert entry is not None
    assert entry.act == hold_points.GONE_THROUGH
    assert entry.after_values == {"lots": "in order"}
