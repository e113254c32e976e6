"""What a failed check or a bad lot of strips puts in doubt, and by how much."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from batches.models import Batch, Charge, ContainerWeighing
from batches.services import cooking
from batches.services.results import excess_alkali_of
from producer.models import Instrument, RawLot, User
from producer.services import registers
from quality.models import FillCheck, InstrumentCheck
from quality.services import impact
from quality.services.checking import Known, TwoBuffers, record_check
from quality.services.impact import Doubt, Impact, Taken, Touched
from quality.statistics.buffers import BufferSet
from tests import lab, leaving, make
from tests.quality import faulty, pots

pytestmark = pytest.mark.django_db


def weighed(by: User, shown: str, **changes: Any) -> InstrumentCheck:
    """Hold the bench scale against 500 g; more than 2 g off fails."""
    return record_check(
        by=by,
        instrument=make.scale(by),
        held=Known(against="500 g", reference=Decimal(500), shown=Decimal(shown)),
        tolerance=Decimal(2),
        **changes,
    )


def put_back(by: User, entry: Instrument) -> None:
    """Put an instrument back in use by hand, as the register allows."""
    entry.refresh_from_db()
    entry.in_use = True
    registers.save(by=by, entry=entry)


def doubt_of(instrument: Instrument, check_id: int | None = None) -> Doubt:
    doubt = impact.doubt_of(instrument, check_id)
    assert doubt is not None
    return doubt


def impact_of(instrument: Instrument) -> Impact:
    return impact.impact_of(doubt_of(instrument))


def of(found: Impact, batch: Batch) -> list[Taken]:
    return [one for one in found.results if one.stock_id == batch.pk]


def touched(found: Impact, code: str) -> Touched:
    return next(one for one in found.touched if one.code == code)


# ------------------------------------------------------------------ the scale


def test_scenario_27_a_scale_fails_and_every_weighing_since_the_last_good_check_is_listed(  # noqa: E501
    crew: make.Crew,
) -> None:
    before = make.cooked_batch(crew)
    good = weighed(crew.maker, "501")
    paste = make.released_paste(crew)
    liquid = make.released_liquid(crew, paste=paste)
    lot = make.filled(crew, liquid, count=3, nominal_ul=250_000)
    sent, *_ = make.bottles_of(lot)
    consignee = make.consignee(crew.maker)
    leaving.sent(crew, [sent], consignee=consignee)
    failed = weighed(crew.maker, "505")

    found = impact_of(make.scale(crew.maker))
    assert found.doubt.check == failed
    assert found.doubt.since == good.observed_at
    assert found.doubt.percent == 1  # 5 g of 500 g
    assert of(found, before) == []
    charges = list(Charge.objects.filter(batch__in=[paste, liquid]).order_by("pk"))
    listed = {(one.code, one.what): one for one in found.results}
    # And what came out, twice; the potash weighed before it was used again; bottles.
    others = ContainerWeighing.objects.count() + FillCheck.objects.count()
    assert len(listed) == len(charges) + 2 + others
    for row in charges:
        (one,) = [
            one
            for (code, what), one in listed.items()
            if code == row.batch.number and row.source.code in what
        ]
        assert one.value * 1000 == row.net_mg
        assert one.effect is not None
        assert one.effect * 100_000 == row.net_mg
        assert one.percent == 1
    assert listed[paste.number, "what came out"].unit == "g"

    batch = touched(found, paste.number)
    excess = excess_alkali_of(paste)
    assert excess is not None
    assert batch.alkali == pytest.approx(-excess / 100)
    made = paste.bulk_weighings.get().net_mg
    assert batch.alkali_percent == pytest.approx(-excess * 1000 / made)
    potash = next(one for one in of(found, paste) if "potash" in one.what)
    assert potash.effect is not None
    assert potash.alkali == -potash.effect * Decimal("0.9")  # assay of the lot
    assert batch.alkali_alone == potash.alkali  # each oil takes up less than all of it

    bottled = touched(found, liquid.number)
    assert (bottled.bottles_here, bottled.bottles_out) == (2, 1)
    assert bottled.status == "released"
    assert (found.bottles_here, found.bottles_out) == (2, 1)
    assert impact.count(found.doubt) == len(found.results)


def test_what_the_oil_takes_up_is_less_where_the_scale_shows_too_much(
    crew: make.Crew,
) -> None:
    batch = make.cooked_batch(crew)
    weighed(crew.maker, "505")
    found = impact_of(make.scale(crew.maker))
    oil = next(one for one in of(found, batch) if "sunflower" in one.what)
    # 800 g shown, 8 g too many, at 191 mg/g, the middle of the range: 1.528 g
    assert oil.effect == 8
    assert oil.alkali == Decimal("1.528")  # so more is left over
    water = next(one for one in of(found, batch) if "water" in one.what)
    assert water.alkali is None


def test_a_good_check_after_it_ends_the_doubt_but_not_the_list(
    crew: make.Crew,
) -> None:
    scale = make.scale(crew.maker)
    doubtful = make.cooked_batch(crew)
    weighed(crew.maker, "505")
    good = weighed(crew.maker, "500")
    later = make.cooked_batch(crew)
    found = impact_of(scale)
    assert found.doubt.until == good.observed_at
    assert found.doubt.since is None
    assert of(found, doubtful) != []
    assert of(found, later) == []


def test_each_failed_check_has_its_own_time_and_the_worst_of_a_run_counts(
    crew: make.Crew,
) -> None:
    scale = make.scale(crew.maker)
    first = make.cooked_batch(crew)
    early = weighed(crew.maker, "503")
    worst = weighed(crew.maker, "490")
    weighed(crew.maker, "500")
    second = make.cooked_batch(crew)
    last = weighed(crew.maker, "504")
    assert doubt_of(scale).check == last
    older = doubt_of(scale, early.pk)
    assert older.check == worst
    assert older.percent == -2
    assert of(impact.impact_of(older), first) != []
    assert of(impact.impact_of(older), second) == []
    assert of(impact_of(scale), first) == []
    assert of(impact_of(scale), second) != []


def test_without_a_failed_check_nothing_is_in_doubt(crew: make.Crew) -> None:
    make.cooked_batch(crew)
    check = weighed(crew.maker, "500")
    scale = make.scale(crew.maker)
    assert impact.doubt_of(scale) is None
    assert impact.doubt_of(scale, check.pk) is None


def test_a_correction_counts_once_and_as_corrected(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    row = batch.charges.get(source__lot__material__kind="water")
    cooking.amend_charge(
        by=crew.maker,
        charge=row,
        gross_mg=row.gross_mg - 20_000,
        tare_mg=row.tare_mg,
        reason="misread",
    )
    weighed(crew.maker, "505")
    found = impact_of(make.scale(crew.maker))
    (water,) = [one for one in of(found, batch) if "water" in one.what]
    assert water.value * 1000 == row.net_mg - 20_000


def test_another_scale_is_not_in_doubt(crew: make.Crew) -> None:
    lot = make.released_lot(crew, make.potash(crew.maker))
    lab.titration(crew, lot.stock)  # on the balance
    weighed(crew.maker, "505")
    assert impact_of(make.scale(crew.maker)).results == []


def test_a_titration_is_off_the_other_way_and_can_cross_its_limit(
    crew: make.Crew,
) -> None:
    near, far = make.cooked_batch(crew), make.cooked_batch(crew)
    pots.free_alkali(near, "0.249")
    pots.free_alkali(far, "0.1")
    weighed(crew.maker, "505")
    found = impact_of(make.scale(crew.maker))
    titrated = {
        one.code: one for one in found.results if one.what.startswith("titration")
    }
    one = titrated[near.number]
    assert one.effect == Decimal("-0.00249")  # it shows too little
    assert one.corrected == Decimal("0.25149")
    assert (one.crosses, one.margin, one.limits) == (
        True,
        Decimal("0.001"),
        "at most 0.25",
    )
    assert not titrated[far.number].crosses
    assert found.crossing == 1
    assert touched(found, near.number).crossing == 1


def test_a_titrated_lot_carries_the_doubt_to_what_was_made_from_it(
    crew: make.Crew,
) -> None:
    lot = make.released_lot(crew, make.potash(crew.maker))
    scale = make.scale(crew.maker)
    lab.titration(crew, lot.stock, setup={"scale": scale})
    weighed(crew.maker, "505")
    weighed(crew.maker, "500")
    batch = make.cooked_batch(crew)
    found = impact_of(scale)
    assert [one.code for one in found.results] == [lot.code]
    assert touched(found, lot.code).results == 1
    made = touched(found, batch.number)
    assert (made.results, made.alkali, made.alkali_percent) == (0, None, None)


def test_a_container_weighed_says_nothing_of_what_was_made(crew: make.Crew) -> None:
    lot = make.released_lot(crew, make.potash(crew.maker))
    lab.container(crew, RawLot.objects.get(pk=lot.pk))
    weighed(crew.maker, "505")
    weighed(crew.maker, "500")
    make.cooked_batch(crew)
    found = impact_of(make.scale(crew.maker))
    assert [(one.code, one.what) for one in found.results] == [(lot.code, "container")]
    assert [one.code for one in found.touched] == [lot.code]


def test_a_fill_check_can_fall_below_nominal(crew: make.Crew) -> None:
    lot = make.filled(crew, count=2)  # half a litre of 1.02 g/ml: 510 g
    FillCheck.objects.create(
        filling_lot=lot,
        scale=make.scale(crew.maker),
        tare_mg=40_000,
        net_mg=[512_000, 514_000],
        accepted=True,
        sentence="Full.",
        observed_at=timezone.now(),
        entered_by=crew.maker,
    )
    weighed(crew.maker, "505")
    (fill,) = [
        one
        for one in impact_of(make.scale(crew.maker)).results
        if one.what.startswith("fill")
    ]
    assert fill.value == 513
    assert fill.effect == Decimal("5.13")
    assert fill.margin == 3
    assert fill.crosses
    assert fill.limits == "at least 510"


# ------------------------------------------------------------------ what is read


def test_scenario_26_a_strip_lot_expires_or_is_recalled_and_all_its_results_are_listed(
    crew: make.Crew,
) -> None:
    strips = make.strips(crew.maker)
    other = make.strips(crew.maker, name="strips 42")
    near, far, elsewhere = (make.open_batch(crew) for _ in range(3))
    for batch in (near, far, elsewhere):
        make.charge_all(crew, batch)
    make.read_ph(crew, near, "9.8", instrument=strips)
    make.read_ph(crew, far, "9.2", instrument=strips)
    make.read_ph(crew, elsewhere, "9.8", instrument=other)
    strips.expires_on = make.TODAY - datetime.timedelta(days=1)
    strips.in_use = False
    registers.save(by=crew.maker, entry=strips)

    found = impact_of(strips)
    assert found.doubt.is_strips
    assert (found.doubt.since, found.doubt.until) == (None, None)
    assert [(one.code, one.value) for one in found.results] == [
        (near.number, Decimal("9.8")),
        (far.number, Decimal("9.2")),
    ]
    first, second = found.results
    assert first.effect == Decimal("0.25")  # half a step, and no ± in the register
    assert (first.limits, first.margin, first.crosses) == (
        "8 to 10",
        Decimal("0.2"),
        True,
    )
    assert (second.margin, second.crosses) == (Decimal("0.8"), False)
    assert {one.code for one in found.touched} == {near.number, far.number}
    assert impact.count(found.doubt) == 2


def test_a_ph_by_another_method_is_not_held_against_the_limit(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    strips = make.strips(crew.maker)
    make.read_ph(
        crew, batch, "9.8", instrument=strips, method="10 % solution in tap water"
    )
    (one,) = impact_of(strips).results
    assert (one.limits, one.margin, one.crosses) == ("", None, False)


def test_a_meter_is_off_by_the_larger_of_its_errors_either_way(
    crew: make.Crew,
) -> None:
    low, high = make.cooked_batch(crew, ph="8.1"), make.cooked_batch(crew, ph="10.05")
    middle = make.cooked_batch(crew, ph="9")
    meter = make.meter(crew.maker)
    record_check(
        by=crew.maker,
        instrument=meter,
        held=TwoBuffers(
            which=BufferSet.TECHNICAL,
            names=("7.00", "10.01"),
            shown=(Decimal("7.05"), Decimal("9.84")),
            temperature=Decimal(25),
        ),
        tolerance=Decimal("0.1"),
    )
    found = {one.code: one for one in impact_of(meter).results}
    assert found[low.number].effect == Decimal("0.17")
    assert found[low.number].crosses
    assert found[high.number].crosses  # outside, and may have been inside
    assert not found[middle.number].crosses


def test_a_thermometer_has_its_error_taken_off(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    probe = make.thermometer(crew.maker)
    for value in ("69", "60"):
        cooking.record_reading(
            by=crew.maker,
            batch=batch,
            characteristic="temperature",
            value=Decimal(value),
            instrument=probe,
        )
    record_check(
        by=crew.maker,
        instrument=probe,
        held=Known(against="ice", reference=Decimal(0), shown=Decimal("-2.5")),
        tolerance=Decimal(1),
    )
    hot, warm = impact_of(probe).results
    assert (hot.corrected, hot.limits, hot.crosses) == (
        Decimal("71.5"),
        "at most 70",
        True,
    )
    assert (warm.corrected, warm.crosses) == (Decimal("62.5"), False)


# ------------------------------------------------------------------ costs, and Today


def queries(what: Callable[[], object]) -> int:
    with CaptureQueriesContext(connection) as seen:
        what()
    return len(seen)


def test_twenty_batches_take_no_more_queries_than_two(crew: make.Crew) -> None:
    weighed(crew.maker, "505")
    scale, meter = make.scale(crew.maker), make.meter(crew.maker)
    put_back(crew.maker, scale)

    def more(count: int) -> None:
        for _ in range(count):
            batch = make.open_batch(crew)
            line = make.line_of(batch, "distilled water")
            make.charge(crew, batch, make.stock_of(crew, line), 20_000, line=line)
            pots.free_alkali(batch, "0.1")
            make.read_ph(crew, batch, "9.1", instrument=make.strips(crew.maker))

    def everything() -> None:
        impact_of(scale)
        impact_of(make.strips(crew.maker))
        impact.doubt_of(meter)

    more(2)
    few = queries(everything)
    more(18)
    assert len({one.code for one in impact_of(scale).results}) == 20
    assert queries(everything) == few


def test_a_failed_check_waits_until_a_deviation_about_it_is_closed(
    crew: make.Crew,
) -> None:
    scale = make.scale(crew.maker)
    weighed(crew.maker, "500")
    assert impact.not_looked_into() == []
    failed = weighed(crew.maker, "505")
    weighed(crew.maker, "500")  # that it passes again does not settle what was made
    assert impact.not_looked_into() == [failed]
    other = faulty.deviation(crew.maker, make.cooked_batch(crew).stock)
    faulty.close(crew.reviewer, faulty.looked_into(crew.maker, other), "mended")
    about = faulty.deviation(crew.maker, instrument=scale)
    faulty.looked_into(crew.maker, about)
    assert impact.not_looked_into() == [failed]
    faulty.close(crew.reviewer, about, "no_effect")
    assert impact.not_looked_into() == []
    again = weighed(crew.maker, "506")
    assert impact.not_looked_into() == [again]


# ------------------------------------------------------------------ entered late


def test_a_good_check_entered_after_the_failed_one_shortens_no_list(
    crew: make.Crew,
) -> None:
    scale = make.scale(crew.maker)
    batch = make.cooked_batch(crew)
    now = timezone.now()
    failed = weighed(crew.maker, "505", observed_at=now)
    before = impact_of(scale)
    late = weighed(
        crew.maker, "500", observed_at=now - datetime.timedelta(microseconds=1)
    )
    found = impact_of(scale)
    assert found.doubt.check == failed
    assert (found.doubt.since, found.doubt.until) == (None, None)
    assert found.doubt.entered_late == [late]
    assert found.results == before.results
    assert of(found, batch) != []


def test_a_failed_check_entered_late_is_not_ended_by_a_good_one_of_before(
    crew: make.Crew,
) -> None:
    now = timezone.now()
    good = weighed(crew.maker, "500", observed_at=now)
    weighed(crew.maker, "505", observed_at=now - datetime.timedelta(hours=1))
    doubt = doubt_of(make.scale(crew.maker))
    assert (doubt.until, doubt.entered_late) == (None, [good])


def test_what_was_on_record_before_the_next_good_check_is_not_freed_by_its_date(
    crew: make.Crew,
) -> None:
    scale = make.scale(crew.maker)
    now = timezone.now()
    weighed(crew.maker, "505", observed_at=now - datetime.timedelta(hours=2))
    put_back(crew.maker, scale)
    batch = make.cooked_batch(crew)
    weighed(crew.maker, "500", observed_at=now - datetime.timedelta(hours=1))
    later = make.cooked_batch(crew)
    found = impact_of(scale)
    assert found.doubt.until is not None
    assert of(found, batch) != []
    assert of(found, later) == []
    (charge, *_) = Charge.objects.filter(batch=batch)
    assert found.doubt.covers(charge)
    (charge, *_) = Charge.objects.filter(batch=later)
    assert not found.doubt.covers(charge)


def test_each_doubt_is_found_once_the_oldest_first(crew: make.Crew) -> None:
    for shown in ("505", "506", "500", "507"):
        weighed(crew.maker, shown)
    scale = make.scale(crew.maker)
    checks = list(InstrumentCheck.objects.order_by("observed_at"))
    found = impact.doubts_in(scale, checks)
    assert [[int(one.shown) for one in doubt.failed] for doubt in found] == [
        [505, 506],
        [507],
    ]
