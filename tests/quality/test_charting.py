"""Series of results: which result of a batch counts, and what is said of them."""

from __future__ import annotations

import dataclasses
import datetime
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from batches.models import Batch, Formula, Titration
from batches.services import cooking
from quality.models import Characteristic, FillCheck
from quality.services import limits
from quality.services.charting import (
    Chartable,
    Kind,
    Limits,
    Point,
    Series,
    analysis_of,
    listed,
    series_of,
    subject_of,
)
from quality.services.charting.formulas import RECORD, SIGNED
from quality.statistics.capability import Capability, NotAssessable
from quality.statistics.run_rules import NELSON_RULES
from tests import make

pytestmark = [pytest.mark.django_db, pytest.mark.any_engine]

PH = Chartable.PH


def formula_of(crew: make.Crew) -> Formula:
    return make.paste_version(crew).formula


def begun(crew: make.Crew) -> Batch:
    """Return a batch with a first charge, to which readings can be taken."""
    batch = make.open_batch(crew)
    line = make.line_of(batch, "distilled water")
    make.charge(crew, batch, make.stock_of(crew, line), 20_000, line=line)
    return batch


def with_ph(crew: make.Crew, value: str, **changes: Any) -> Batch:
    batch = begun(crew)
    make.read_ph(crew, batch, value, **changes)
    return batch


def counted() -> dict[Chartable, int]:
    """Return how many points the list names of each characteristic of formulas."""
    return {
        one.series.characteristic: len(one.series.points)
        for subject, charts in listed()
        for one in charts
        if subject.kind == Kind.FORMULA
    }


def values(crew: make.Crew, characteristic: Chartable = PH) -> list[Decimal]:
    return [point.value for point in series_of(formula_of(crew), characteristic).points]


def test_the_newest_ph_of_each_batch_counts_in_the_order_of_opening(
    crew: make.Crew,
) -> None:
    first = with_ph(crew, "9.1")
    second = with_ph(crew, "9.4")
    make.read_ph(crew, first, "9.2")
    series = series_of(formula_of(crew), PH)
    assert [(point.label, point.value) for point in series.points] == [
        (first.number, Decimal("9.2")),
        (second.number, Decimal("9.4")),
    ]
    assert {point.origin for point in series.points} == {RECORD}


def test_what_was_signed_stands_before_what_the_record_says(crew: make.Crew) -> None:
    batch = make.released_paste(crew, ph="9.3")
    series = series_of(formula_of(crew), PH)
    (point,) = series.points
    assert (point.label, point.value, point.origin) == (
        batch.number,
        Decimal("9.3"),
        SIGNED,
    )
    (variance,) = series_of(formula_of(crew), Chartable.YIELD_VARIANCE).points
    assert variance.origin == SIGNED
    assert variance.value == pytest.approx(Decimal(-5), abs=Decimal("0.01"))


def test_a_correction_counts_and_a_void_reading_does_not(crew: make.Crew) -> None:
    batch = with_ph(crew, "9.9")
    reading = batch.readings.get()
    amended = cooking.amend_reading(
        by=crew.maker,
        reading=reading,
        value=Decimal("9.1"),
        method=reading.method,
        reason="misread",
    )
    assert values(crew) == [Decimal("9.1")]
    cooking.amend_reading(by=crew.maker, reading=amended, void=True, reason="wrong jug")
    assert values(crew) == []


def test_a_ph_from_before_the_last_charge_does_not_count(crew: make.Crew) -> None:
    batch = with_ph(crew, "9.2")
    line = make.line_of(batch, "distilled water")
    make.charge(crew, batch, make.stock_of(crew, line), 10_000, line=line)
    assert values(crew) == []
    make.read_ph(crew, batch, "9.0")
    assert values(crew) == [Decimal("9.0")]


def test_a_ph_by_another_method_is_another_quantity(crew: make.Crew) -> None:
    with_ph(crew, "10.3", method="10 % solution in tap water")
    with_ph(crew, "9.2")
    series = series_of(formula_of(crew), PH)
    assert [point.value for point in series.points] == [Decimal("9.2")]
    assert series.left_out == 1


def test_an_abandoned_batch_is_no_result(crew: make.Crew) -> None:
    batch = with_ph(crew, "9.2")
    cooking.abandon(by=crew.maker, batch=batch, reason="no gas")
    assert values(crew) == []
    assert counted() == {}


def test_a_batch_of_another_formula_is_not_in_the_series(crew: make.Crew) -> None:
    with_ph(crew, "9.2")
    other = make.paste_version(crew, name="Another paste").formula
    assert series_of(other, PH).points == []


def test_the_yield_of_a_batch_that_nobody_signed_is_computed(crew: make.Crew) -> None:
    batch = make.cooked_batch(crew, share="0.90")
    (point,) = series_of(formula_of(crew), Chartable.YIELD_VARIANCE).points
    assert (point.label, point.origin) == (batch.number, RECORD)
    assert point.value == pytest.approx(Decimal(-10), abs=Decimal("0.01"))


def others(crew: make.Crew, characteristic: Chartable = PH) -> list[list[Decimal]]:
    """Return for each point the other results of its batch."""
    points = series_of(formula_of(crew), characteristic).points
    return [[other.value for other in point.others] for point in points]


def test_the_other_results_of_a_batch_stand_beside_the_one_that_counts(
    crew: make.Crew,
) -> None:
    batch = with_ph(crew, "10.9")
    line = make.line_of(batch, "distilled water")
    make.charge(crew, batch, make.stock_of(crew, line), 10_000, line=line)
    make.read_ph(crew, batch, "9.6", method="10 % solution in tap water")
    make.read_ph(crew, batch, "9.4")
    with_ph(crew, "9.1")
    assert values(crew) == [Decimal("9.4"), Decimal("9.1")]
    assert others(crew) == [[Decimal("10.9"), Decimal("9.6")], []]
    assert series_of(formula_of(crew), PH).with_others == {0}


def test_beside_a_signed_result_stand_the_readings_it_does_not_come_from(
    crew: make.Crew,
) -> None:
    batch = make.cooked_batch(crew, ph="9.7")
    make.read_ph(crew, batch, "9.3")
    make.sign(crew.reviewer, batch, "release")
    (point,) = series_of(formula_of(crew), PH).points
    assert (point.value, point.origin) == (Decimal("9.3"), SIGNED)
    assert others(crew) == [[Decimal("9.7")]]


def test_a_void_reading_is_no_other_result(crew: make.Crew) -> None:
    batch = with_ph(crew, "9.9")
    cooking.amend_reading(
        by=crew.maker, reading=batch.readings.get(), void=True, reason="wrong jug"
    )
    make.read_ph(crew, batch, "9.1")
    assert others(crew) == [[]]


def test_a_rejected_batch_says_so_at_its_point(crew: make.Crew) -> None:
    rejected = make.failed_paste(crew)
    gone = make.failed_paste(crew, "dispose")
    with_ph(crew, "9.2")
    series = series_of(formula_of(crew), PH)
    assert [(point.label, point.apart) for point in series.points[:2]] == [
        (rejected.number, "rejected"),
        (gone.number, "disposed"),
    ]
    assert series.apart == {0, 1}


def titrated(crew: make.Crew, batch: Batch, value: str) -> None:
    Titration.objects.create(
        stock=batch.stock,
        kind=Titration.Kind.FREE_ALKALI,
        titrant_concentration=Decimal("0.1"),
        scale=make.scale(crew.maker),
        value=Decimal(value),
        standard_uncertainty=Decimal("0.01"),
        observed_at=timezone.now(),
        entered_by=crew.maker,
    )


def test_the_newest_titration_of_a_batch_is_charted_against_the_premises(
    crew: make.Crew,
) -> None:
    batch = begun(crew)
    titrated(crew, batch, "0.30")
    titrated(crew, batch, "0.08")
    series = series_of(formula_of(crew), Chartable.FREE_ALKALI)
    assert [point.value for point in series.points] == [Decimal("0.08")]
    assert others(crew, Chartable.FREE_ALKALI) == [[Decimal("0.30")]]
    assert (series.limits.lower, series.limits.upper) == (None, Decimal("0.25"))


def test_a_fill_is_charted_as_its_mean_above_nominal(crew: make.Crew) -> None:
    lot = make.filled(crew, count=2)  # half a litre each, 1.02 g/ml
    FillCheck.objects.create(
        filling_lot=lot,
        scale=make.scale(crew.maker),
        tare_mg=40_000,
        net_mg=[510_000, 520_200],
        accepted=True,
        sentence="Full.",
        observed_at=timezone.now(),
        entered_by=crew.maker,
    )
    series = series_of(make.liquid_version(crew).formula, Chartable.FILL)
    (point,) = series.points
    assert point.value == Decimal("1.000")  # 505 ml on average
    assert point.label == lot.batch.number
    assert (series.limits.lower, series.limits.upper) == (Decimal(0), None)


def test_the_limits_are_those_now_in_force(crew: make.Crew) -> None:
    version = make.paste_version(crew)
    limits.set_limit(
        by=crew.reviewer,
        formula_version=version,
        characteristic=Characteristic.PH,
        lower=Decimal("8.5"),
        upper=Decimal("9.5"),
        reason="tighter",
    )
    series = series_of(version.formula, PH)
    assert (series.limits.lower, series.limits.upper) == (
        Decimal("8.5"),
        Decimal("9.5"),
    )
    assert series.limits.words == "limit version 2 of formula version 1"


def test_a_formula_without_a_limit_has_none(crew: make.Crew) -> None:
    version = make.paste_version(crew)
    version.formula.name = "Unlimited"
    version.formula.pk = None
    version.formula.save()
    series = series_of(version.formula, PH)
    assert series.limits == Limits()
    assert analysis_of(series).capability is None


def test_the_list_counts_batches_not_readings(crew: make.Crew) -> None:
    batch = with_ph(crew, "9.1")
    make.read_ph(crew, batch, "9.2")
    with_ph(crew, "9.3")
    titrated(crew, batch, "0.1")
    assert counted() == {PH: 2, Chartable.FREE_ALKALI: 1}


def queries(what: Callable[[], object]) -> int:
    with CaptureQueriesContext(
        connection,
    ) as seen:
        what()
    return len(seen)


def test_twenty_batches_take_no_more_queries_than_two(crew: make.Crew) -> None:
    formula = formula_of(crew)

    def everything() -> None:
        for characteristic in (one for one in Chartable if one.kind == Kind.FORMULA):
            analysis_of(series_of(formula, characteristic))
        listed()

    for value in ("9.1", "9.2"):
        with_ph(crew, value)
    few = queries(everything)
    for place in range(18):
        with_ph(crew, f"9.{place % 4 + 1}")
    assert len(series_of(formula, PH).points) == 20
    assert queries(everything) == few


# ------------------------------------------------------------------ what it says


def series(crew: make.Crew, numbers: list[float], **changes: Any) -> Series:
    """Return a series of these values, as if so many batches had them."""
    start = datetime.datetime(2026, 1, 1, tzinfo=datetime.UTC)
    points = [
        Point(
            of=1,
            key=place,
            label=f"B{place}",
            page="batches:batch",
            argument=f"B{place}",
            origin=RECORD,
            at=start + datetime.timedelta(days=place),
            value=Decimal(str(number)),
        )
        for place, number in enumerate(numbers)
    ]
    facts: dict[str, Any] = {
        "subject": subject_of(formula_of(crew)),
        "characteristic": PH,
        "points": points,
        "left_out": 0,
        "limits": Limits(lower=Decimal(8), upper=Decimal(10), words="somewhere"),
        "unit": "",
    }
    return Series(**{**facts, **changes})


STEADY = [9.0, 9.2, 9.1, 9.3, 9.0]


def test_seven_results_have_no_limits_and_eight_have_provisional_ones(
    crew: make.Crew,
) -> None:
    seven = analysis_of(series(crew, (STEADY * 2)[:7]))
    assert seven.chart is None
    assert seven.sentence.startswith("7 results so far")
    eight = analysis_of(series(crew, (STEADY * 2)[:8]))
    assert eight.chart is not None
    assert "provisional" in eight.sentence
    assert eight.ewma is not None


def test_from_twenty_on_the_limits_stay_when_a_batch_is_added(crew: make.Crew) -> None:
    twenty = analysis_of(series(crew, STEADY * 4))
    more = analysis_of(series(crew, [*STEADY * 4, 9.9, 9.9]))
    assert twenty.chart is not None
    assert more.chart is not None
    assert (more.chart.lower, more.chart.upper) == (
        twenty.chart.lower,
        twenty.chart.upper,
    )
    assert "points 1 to 20 and stay" in more.sentence
    assert "computed from these 20 results, B0 to B19." in more.sentence


def test_other_points_set_the_limits_when_somebody_says_so(crew: make.Crew) -> None:
    moved = [*[8.2, 8.4] * 5, *STEADY * 4]
    analysis = analysis_of(series(crew, moved), first=11, last=30)
    assert str(analysis.span) == "points 11 to 30"
    assert analysis.offset == 10
    assert analysis.chart is not None
    assert analysis.chart.centre == pytest.approx(9.12)
    assert analysis.found == []
    assert analysis_of(series(crew, moved)).found != []


@pytest.mark.parametrize(
    ("first", "last", "span"),
    [
        (0, None, (1, 20)),
        (999, 999, (18, 25)),
        (5, 3, (5, 12)),
        (1, 999, (1, 25)),
    ],
)
def test_a_span_that_does_not_fit_becomes_the_nearest_that_does(
    crew: make.Crew, first: int, last: int | None, span: tuple[int, int]
) -> None:
    analysis = analysis_of(series(crew, STEADY * 5), first=first, last=last)
    assert (analysis.span.first, analysis.span.last) == span


def test_findings_name_the_points_by_their_number_in_the_series(
    crew: make.Crew,
) -> None:
    analysis = analysis_of(
        series(crew, [*[8.2, 8.4] * 5, *STEADY * 4, 12.0]), first=11, last=30
    )
    told = [found.sentence for found in analysis.found]
    assert told[0] == "Point 31 lies beyond the upper limit."
    assert "Western Electric 1956" in analysis.found[0].origin
    assert "Point 31 lies too far from the one before it." in told
    assert any("level has moved" in sentence for sentence in told)


def test_the_rules_can_be_those_of_nelson(crew: make.Crew) -> None:
    eight_above = [*STEADY * 4, *[9.2, 9.3] * 4]
    western = analysis_of(series(crew, eight_above)).found
    nelson = analysis_of(series(crew, eight_above), rules=NELSON_RULES).found
    assert any("eight in a row" in found.sentence for found in western)
    assert not any("nine in a row" in found.sentence for found in nelson)


def rejected_at(one: Series, *places: int) -> Series:
    points = [
        dataclasses.replace(point, apart="rejected") if place in places else point
        for place, point in enumerate(one.points)
    ]
    return dataclasses.replace(one, points=points)


def test_a_rejected_batch_is_in_the_picture_and_sets_no_limit(crew: make.Crew) -> None:
    bad = rejected_at(series(crew, [*STEADY, 12.0, *STEADY * 3]), 5)
    analysis = analysis_of(bad)
    without = analysis_of(series(crew, STEADY * 4))
    assert analysis.chart is not None
    assert without.chart is not None
    assert analysis.chart.centre == without.chart.centre
    assert analysis.chart.upper == without.chart.upper
    assert analysis.chart.values[5] == 12.0
    assert analysis.mark(5) == "beyond"
    # one point more, so that twenty set the limits
    assert str(analysis.span) == "points 1 to 21"
    assert "from these 20 results, B0 to B20, without B5 (rejected)." in (
        analysis.sentence
    )


def test_a_rejected_batch_sets_limits_when_somebody_says_so(crew: make.Crew) -> None:
    bad = rejected_at(series(crew, [*STEADY, 12.0, *STEADY * 3]), 5)
    asked = analysis_of(bad, with_rejected=True)
    assert asked.chart is not None
    assert asked.chart.upper > 10  # alone the others give 9.6
    assert "from these 20 results, B0 to B19." in asked.sentence
    assert "without" not in asked.sentence


def test_rejected_batches_do_not_make_up_the_fewest_there_must_be(
    crew: make.Crew,
) -> None:
    nine = series(crew, [*STEADY, *STEADY[:4]])
    assert analysis_of(rejected_at(nine, 8)).chart is not None
    analysis = analysis_of(rejected_at(nine, 0, 8))
    assert analysis.chart is None
    assert analysis.sentence.startswith(
        "7 results so far, without B0 (rejected), B8 (rejected): limits"
    )


@pytest.mark.parametrize(("first", "last"), [(1, 8), (18, 25), (99, 99), (5, 3)])
def test_a_span_has_eight_points_that_set_limits_whatever_is_asked_for(
    crew: make.Crew, first: int, last: int
) -> None:
    bad = rejected_at(series(crew, STEADY * 5), 2, 3, 20, 24)
    analysis = analysis_of(bad, first=first, last=last)
    assert len(analysis.span.setting) == 8
    assert analysis.chart is not None
    assert analysis.chart.baseline == 8


def test_results_that_are_all_the_same_say_so(crew: make.Crew) -> None:
    analysis = analysis_of(series(crew, [9.2] * 9))
    assert analysis.chart is None
    assert "all the same" in analysis.sentence


def test_capability_waits_for_twenty_results(crew: make.Crew) -> None:
    assert isinstance(
        analysis_of(series(crew, (STEADY * 4)[:19])).capability, NotAssessable
    )
    fit = analysis_of(series(crew, STEADY * 4)).capability
    assert isinstance(fit, Capability)
    assert fit.ppk < 3
    assert fit.pp is not None
    upper = Limits(upper=Decimal(10))
    one_sided = analysis_of(series(crew, STEADY * 4, limits=upper)).capability
    assert isinstance(one_sided, Capability)
    assert one_sided.pp is None


def test_no_result_is_no_chart(crew: make.Crew) -> None:
    analysis = analysis_of(series(crew, []))
    assert analysis.chart is None
    assert isinstance(analysis.capability, NotAssessable)
