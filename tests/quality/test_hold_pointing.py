"""The hold points with the check of the scale: one act, and what it stops."""

from __future__ import annotations

import dataclasses
import datetime
from collections.abc import Iterable
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.utils import timezone

from batches.models import Batch, HoldPoint
from batches.services import cooking, hold_points, planning, potash_gain
from batches.services.hold_points import EmptyVessel
from producer.errors import Refusal
from producer.models import Instrument, JournalEntry, RawLot, TareWeighing, User, Vessel
from producer.services import registers
from quality.models import InstrumentCheck
from quality.services import (
    checking,
    hold_pointing,
    lots_before,
    reading_order,
    reviewing,
)
from quality.services.hold_pointing import Counted, Held, Seen
from quality.services.scale_checks import must_test
from tests import lab, make

pytestmark = pytest.mark.django_db
Point = HoldPoint.Point
FINE = Seen(in_order=True)


def held(crew: make.Crew, shown: str = "500") -> Held:
    return Held(
        scale=make.scale(crew.maker),
        weight=lab.check_weight(crew.maker),
        shown=Decimal(shown),
    )


def pot(crew: make.Crew, mass_mg: int = make.TARE_MG) -> EmptyVessel:
    return EmptyVessel(
        vessel=make.vessel(crew.maker), scale=make.scale(crew.maker), mass_mg=mass_mg
    )


def chosen(crew: make.Crew) -> Batch:
    """Return a planned batch with a lot for every line."""
    batch = make.open_batch(crew)
    planning.choose_lots(
        by=crew.maker,
        batch=batch,
        choices={
            line.pk: make.stock_of(crew, line)
            for line in batch.formula_version.lines.all()
        },
    )
    return batch


def go(crew: make.Crew, batch: Batch, **changes: Any) -> list[HoldPoint]:
    facts = {
        "cleared": FINE,
        "protected": FINE,
        "scale": held(crew),
        "lots": True,
        "pot": pot(crew),
        **changes,
    }
    return hold_pointing.go_through(by=crew.maker, batch=batch, **facts)


def only(crew: make.Crew, batch: Batch, **facts: Any) -> HoldPoint:
    (row,) = hold_pointing.go_through(by=crew.maker, batch=batch, **facts)
    return row


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


def names(points: Iterable[HoldPoint.Point]) -> list[str]:
    return [str(point.value) for point in points]


def test_all_five_are_gone_through_in_one_act_with_the_check_of_the_scale(
    crew: make.Crew,
) -> None:
    batch, facts = chosen(crew), {"scale": held(crew), "pot": pot(crew)}
    before = JournalEntry.objects.count()
    rows = go(crew, batch, **facts)
    assert JournalEntry.objects.count() == before + 1
    assert [(row.point, row.in_order) for row in rows] == [
        (point.value, True) for point in Point
    ]
    assert hold_points.open_points(batch) == []
    check = InstrumentCheck.objects.get()
    assert check.passed
    assert check.reference_instrument == lab.check_weight(crew.maker)
    assert check.reference == check.shown == Decimal(500)
    assert check.reference_half_width == Decimal("0.025")
    assert check.against == "500 g weight"
    scale = rows[2]
    assert scale.scale == make.scale(crew.maker)
    assert check.sentence in scale.found
    entry = JournalEntry.objects.first()
    assert entry is not None
    assert entry.subject_label == batch.number
    assert entry.after_values["scale_check"]["passed"] is True


def test_the_first_charge_is_refused_while_a_point_is_open_and_allowed_after(
    crew: make.Crew,
) -> None:
    batch = chosen(crew)
    go(crew, batch, protected=None)
    with pytest.raises(Refusal, match="open are: protective equipment"):
        weigh_first(crew, batch)
    only(crew, batch, protected=FINE)
    weigh_first(crew, batch)
    assert make.fresh(batch).status == "in_process"


def test_not_in_order_is_recorded_with_its_note_and_stops(crew: make.Crew) -> None:
    batch = chosen(crew)
    go(crew, batch, cleared=Seen(in_order=False, note="old labels on the bench"))
    assert names(hold_points.open_points(batch)) == ["line_clearance"]
    with pytest.raises(Refusal, match="line clearance"):
        weigh_first(crew, batch)
    only(crew, batch, cleared=FINE)
    assert hold_points.open_points(batch) == []
    # Both rows stay.
    assert batch.hold_points.filter(point=Point.LINE_CLEARANCE).count() == 2


def test_a_scale_that_fails_is_out_of_use_and_back_when_it_passes_on_another_day(
    crew: make.Crew,
) -> None:
    batch = chosen(crew)
    rows = go(crew, batch, scale=held(crew, "504"))
    found = {row.point: row for row in rows}
    assert not found[Point.SCALE].in_order
    assert checking.OUT_OF_USE in found[Point.SCALE].found
    scale = make.scale(crew.maker)
    assert not scale.in_use
    # A vessel weighed on it proves nothing, though it showed the right mass.
    assert not found[Point.TARE].in_order
    assert found[Point.TARE].note == hold_pointing.ON_A_BAD_SCALE
    tare = found[Point.TARE].tare
    assert tare is not None
    assert tare.agrees
    check = checking.record_check(
        by=crew.maker,
        instrument=scale,
        held=checking.Known(
            against="500 g", reference=Decimal(500), shown=Decimal(500)
        ),
        tolerance=Decimal(2),
    )
    # What took it out was a check, though that stood among hold points.
    assert checking.BACK_IN_USE in check.sentence
    assert make.scale(crew.maker).in_use


def test_a_check_at_the_hold_points_puts_back_what_a_check_there_took_out(
    crew: make.Crew,
) -> None:
    batch = chosen(crew)
    go(crew, batch, scale=held(crew, "504"))
    row = only(crew, batch, scale=held(crew, "500"))
    assert row.in_order
    assert make.scale(crew.maker).in_use
    # Taken out on its entry after that, no check puts it back.
    scale = make.scale(crew.maker)
    scale.in_use = False
    registers.save(by=crew.maker, entry=scale)
    row = only(crew, batch, scale=held(crew, "500"))
    assert checking.STAYS_OUT in row.found
    assert not make.scale(crew.maker).in_use


def test_a_check_that_passed_today_counts_with_one_tap_and_writes_no_second_one(
    crew: make.Crew,
) -> None:
    first, second = chosen(crew), chosen(crew)
    go(crew, first)
    (check,) = hold_pointing.good_today(make.TODAY)
    row = only(crew, second, scale=Counted(check=check))
    assert row.in_order
    assert row.scale == make.scale(crew.maker)
    assert check.sentence in row.found
    assert InstrumentCheck.objects.count() == 1


@pytest.mark.parametrize("shown", [("510", "500"), ("500", "510")])
def test_of_several_checks_of_a_day_the_newest_counts(
    crew: make.Crew, shown: tuple[str, str]
) -> None:
    """Also of a scale that somebody has put into use again since."""
    checks = []
    for minutes, one in zip((20, 10), shown, strict=True):
        checks.append(
            checking.record_check(
                by=crew.maker,
                instrument=make.scale(crew.maker),
                held=checking.Known(
                    against="500 g", reference=Decimal(500), shown=Decimal(one)
                ),
                tolerance=Decimal(2),
                observed_at=timezone.now() - datetime.timedelta(minutes=minutes),
            )
        )
        Instrument.objects.filter(pk=make.scale(crew.maker).pk).update(in_use=True)
    first, last = checks
    found = hold_pointing.good_today(make.TODAY)
    assert found == ([last] if last.passed else [])
    assert first.passed is not last.passed  # control


def test_no_check_counts_that_failed_that_is_old_or_that_a_later_one_overtook(
    crew: make.Crew,
) -> None:
    yesterday = timezone.now() - datetime.timedelta(days=1)
    batch = chosen(crew)

    def check(shown: str, **changes: Any) -> InstrumentCheck:
        return checking.record_check(
            by=crew.maker,
            instrument=make.scale(crew.maker),
            held=checking.Known(
                against="500 g", reference=Decimal(500), shown=Decimal(shown)
            ),
            tolerance=Decimal(2),
            **changes,
        )

    old = check("500", observed_at=yesterday)
    assert hold_pointing.good_today(make.TODAY) == []
    with pytest.raises(Refusal, match="not of today"):
        only(crew, batch, scale=Counted(check=old))
    good = check("500")
    assert hold_pointing.good_today(make.TODAY) == [good]
    bad = check("510")
    assert hold_pointing.good_today(make.TODAY) == []
    for one in (good, bad):
        with pytest.raises(Refusal, match="check weight on the scale again"):
            only(crew, batch, scale=Counted(check=one))
    assert not batch.hold_points.exists()


def test_a_scale_is_in_order_by_a_check_and_never_by_a_tick(crew: make.Crew) -> None:
    batch = chosen(crew)
    with pytest.raises(Refusal, match="when a check of it passes"):
        only(crew, batch, scale=FINE)
    row = only(crew, batch, scale=Seen(in_order=False, note="the weight is lost"))
    assert not row.in_order
    assert not InstrumentCheck.objects.exists()


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"expires_on": make.TODAY - datetime.timedelta(days=1)}, "was good until"),
        ({"in_use": False}, "out of use"),
    ],
)
def test_a_check_weight_past_its_date_or_out_of_use_is_refused(
    crew: make.Crew, changes: dict[str, Any], words: str
) -> None:
    batch = chosen(crew)
    bad = lab.check_weight(crew.maker, name="old weight", **changes)
    scale = Held(scale=make.scale(crew.maker), weight=bad, shown=Decimal(500))
    with pytest.raises(Refusal, match=words):
        only(crew, batch, scale=scale)
    assert not batch.hold_points.exists()


def test_what_passes_is_set_before_that_of_the_last_check_or_two_steps(
    crew: make.Crew,
) -> None:
    scale = make.scale(crew.maker)
    assert hold_pointing.tolerance_for(scale) == 2
    checking.record_check(
        by=crew.maker,
        instrument=scale,
        held=checking.Known(
            against="500 g", reference=Decimal(500), shown=Decimal(501)
        ),
        tolerance=Decimal(3),
    )
    assert hold_pointing.tolerance_for(scale) == 3
    go(crew, batch := chosen(crew), scale=held(crew, "502"))
    assert hold_points.open_points(batch) == []
    # 3 g off: within the tolerance, but not by U, so it passes under a condition.
    go(crew, batch := chosen(crew), scale=held(crew, "503"))
    assert names(hold_points.open_points(batch)) == ["scale"]


def test_a_conditional_pass_counts_only_with_a_reason_that_the_reviewer_reads(
    crew: make.Crew,
) -> None:
    # Step 1 g, weight ± 0.025 g: U = 2 √(1/12 + 0.025²/3) = 0.58 g; 2 g passes, and
    # 2 g off lies within U of it.
    batch = chosen(crew)
    rows = go(crew, batch, scale=held(crew, "502"))
    assert not rows[2].in_order
    assert hold_pointing.CONDITIONAL in rows[2].found
    assert make.scale(crew.maker).in_use
    (check,) = hold_pointing.good_today(make.TODAY)
    assert not only(crew, batch, scale=Counted(check=check)).in_order
    why = "2 g of 800 g is nothing here"
    row = only(crew, batch, scale=Counted(check=check, note=why))
    assert (row.in_order, row.note) == (True, why)
    assert hold_points.open_points(batch) == []
    review = reviewing.review_of(make.fresh(batch), by=crew.reviewer)
    unusual = reading_order.in_order(batch, review, []).exceptions.unusual
    (told,) = [one for one in unusual if "under a condition" in one.word]
    assert why in told.sentence


def test_a_note_that_no_check_needs_is_refused(crew: make.Crew) -> None:
    go(crew, chosen(crew))
    (check,) = hold_pointing.good_today(make.TODAY)
    with pytest.raises(Refusal, match="without a condition"):
        only(crew, chosen(crew), scale=Counted(check=check, note="it is fine"))


def test_two_scales_are_counted_in_one_act_and_both_are_named(crew: make.Crew) -> None:
    small = make.registered(
        crew.maker, Instrument(kind="scale", name="small scale", resolution=1)
    )
    first, second = chosen(crew), chosen(crew)
    go(crew, first, scale=dataclasses.replace(held(crew), scale=small))
    only(crew, first, scale=held(crew))
    checks = hold_pointing.good_today(make.TODAY)
    go(crew, second, scale=None, counted=[Counted(check=one) for one in checks])
    looks = second.hold_points.filter(point=Point.SCALE)
    assert {row.scale for row in looks} == {small, make.scale(crew.maker)}
    for scale in (small, make.scale(crew.maker)):
        hold_points.stop_unless_checked(second, scale)
    entry = JournalEntry.objects.first()
    assert entry is not None
    said = entry.after_values["scale"]
    assert "small scale" in said
    assert "bench scale" in said


def test_a_vessel_on_any_scale_that_is_out_of_use_proves_nothing(
    crew: make.Crew,
) -> None:
    batch, empty = chosen(crew), pot(crew)
    entry = make.scale(crew.maker)
    entry.in_use = False
    registers.save(by=crew.maker, entry=entry)
    row = only(crew, batch, pot=empty)
    assert not row.in_order
    assert row.note == hold_pointing.ON_A_BAD_SCALE


# ------------------------------------------------------------------ the weight


def weighed_with(crew: make.Crew, scale: Instrument, grams: int, shown: str) -> Held:
    return Held(
        scale=scale,
        weight=lab.check_weight(crew.maker, name=f"{grams} g", nominal=Decimal(grams)),
        shown=Decimal(shown),
    )


@pytest.mark.parametrize(
    ("grams", "shown", "words"),
    [
        (5000, "5000", "carries up to 50 g"),
        (1, "0", "at least 20 g"),  # a dead display, 20 steps
        (19, "19", "at least 20 g"),
    ],
)
def test_a_weight_that_a_scale_cannot_carry_or_hardly_sees_checks_nothing(
    crew: make.Crew, grams: int, shown: str, words: str
) -> None:
    fine = make.registered(
        crew.maker,
        Instrument(
            kind="scale", name="fine scale", resolution=Decimal(1), capacity=Decimal(50)
        ),
    )
    batch = chosen(crew)
    with pytest.raises(Refusal, match=words) as refused:
        only(crew, batch, scale=weighed_with(crew, fine, grams, shown))
    assert refused.value.field == "weight"
    with pytest.raises(Refusal, match=words):
        checking.record_check(
            by=crew.maker,
            instrument=fine,
            held=checking.Known(
                against="a weight", reference=Decimal(grams), shown=Decimal(shown)
            ),
            tolerance=Decimal(2),
        )
    assert not InstrumentCheck.objects.exists()
    only(crew, batch, scale=weighed_with(crew, fine, 20, "20"))


def test_the_weight_is_ten_times_what_passes(crew: make.Crew) -> None:
    scale = make.scale(crew.maker)
    must_test(scale, Decimal(30), Decimal(3))
    with pytest.raises(Refusal, match="at least 30 g"):
        must_test(scale, Decimal("29.9"), Decimal(3))


def test_a_display_that_stands_still_fails(crew: make.Crew) -> None:
    go(crew, batch := chosen(crew), scale=held(crew, "0"))
    assert "scale" in names(hold_points.open_points(batch))
    assert not make.scale(crew.maker).in_use


def test_the_weight_at_the_hold_point_is_near_what_is_weighed(crew: make.Crew) -> None:
    # 800 g of oil is the heaviest of a kilogram of oils: a tenth is 80 g.
    batch, scale = chosen(crew), make.scale(crew.maker)
    with pytest.raises(Refusal, match="at least 80 g, a tenth of the heaviest"):
        only(crew, batch, scale=weighed_with(crew, scale, 79, "79"))
    assert only(crew, batch, scale=weighed_with(crew, scale, 80, "80")).in_order
    # Nor does a check of today count that was made with less.
    checking.record_check(
        by=crew.maker,
        instrument=scale,
        held=checking.Known(against="40 g", reference=Decimal(40), shown=Decimal(40)),
        tolerance=Decimal(2),
    )
    (check,) = hold_pointing.good_today(make.TODAY)
    with pytest.raises(Refusal, match="at least 80 g"):
        only(crew, batch, scale=Counted(check=check))


def test_a_vessel_that_differs_from_the_register_beyond_u_stops(
    crew: make.Crew,
) -> None:
    # A scale with steps of 1 g: u = 1/√12 = 0.2887 g (GUM F.2.2.1); of two readings
    # × √2, and U = 2 u = 0.8165 g. So 0.8 g still agrees and 0.9 g does not.
    batch = chosen(crew)
    assert only(crew, batch, pot=pot(crew, make.TARE_MG + 800)).in_order
    row = only(crew, batch, pot=pot(crew, make.TARE_MG - 900))
    assert not row.in_order
    assert "Weigh it again, or correct its tare in the register" in row.found
    entry = Vessel.objects.get()
    entry.tare_mg = make.TARE_MG - 900
    registers.save(by=crew.maker, entry=entry)
    again = only(crew, batch, pot=pot(crew, make.TARE_MG - 900))
    assert again.in_order
    # What the register said on the day stays with each weighing.
    assert list(
        TareWeighing.objects.order_by("pk").values_list("register_mg", "agrees")
    ) == [
        (make.TARE_MG, True),
        (make.TARE_MG, False),
        (make.TARE_MG - 900, True),
    ]


def test_who_may_not_make_goes_through_nothing(crew: make.Crew, auditor: User) -> None:
    batch = chosen(crew)
    with pytest.raises(PermissionDenied):
        hold_pointing.go_through(by=auditor, batch=batch, cleared=FINE)
    with pytest.raises(Refusal, match="at least one point"):
        hold_pointing.go_through(by=crew.maker, batch=batch)
    assert not batch.hold_points.exists()


# ------------------------------------------------------------------ the lots


def test_a_line_without_a_lot_is_not_in_order(crew: make.Crew) -> None:
    row = only(crew, make.open_batch(crew), lots=True)
    assert not row.in_order
    assert "No lot is chosen for potash flakes." in row.found


def test_a_chosen_lot_that_was_held_or_expired_since_is_not_in_order(
    crew: make.Crew,
) -> None:
    batch = chosen(crew)
    assert only(crew, batch, lots=True).in_order
    lot = RawLot.objects.get(material__name="sunflower oil")
    RawLot.objects.filter(pk=lot.pk).update(
        expires_on=make.TODAY - datetime.timedelta(days=1),
        received_on=make.TODAY - datetime.timedelta(days=9),
    )
    row = only(crew, batch, lots=True)
    assert not row.in_order
    assert f"{lot.stock.code} expired on" in row.found
    assert names(hold_points.open_points(batch))[1:] == [
        "protection",
        "scale",
        "lots",
        "tare",
    ]


def test_an_opened_tin_of_potash_is_weighed_before_it_is_used_again(
    crew: make.Crew,
) -> None:
    first = chosen(crew)
    row = only(crew, first, lots=True)
    assert row.in_order
    assert "opened for the first time" in row.found
    make.charge_all(crew, first)
    second = chosen(crew)
    row = only(crew, second, lots=True)
    assert not row.in_order
    assert "has been opened before: weigh its container" in row.found
    potash = RawLot.objects.get(material__kind="potash")
    lab.container(crew, potash)
    row = only(crew, second, lots=True)
    assert row.in_order
    assert "Agrees:" in row.found
    # The next day it has stood for a day, and is weighed again.
    tomorrow = timezone.now() + potash_gain.LATELY + datetime.timedelta(minutes=1)
    assert not lots_before.look_at(second, tomorrow).in_order


def test_potash_that_got_heavier_is_on_hold_and_stops(crew: make.Crew) -> None:
    batch = chosen(crew)
    potash = RawLot.objects.get(material__kind="potash")
    lab.container(crew, potash, gain_mg=100_000)
    row = only(crew, batch, lots=True)
    assert not row.in_order
    assert "on hold, not released" in row.found
