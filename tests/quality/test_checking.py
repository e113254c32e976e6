"""Checks of instruments: what is recorded, what is refused, what it says later."""

from __future__ import annotations

import datetime
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.utils import timezone

from producer.errors import Refusal
from producer.models import Instrument, JournalEntry, User
from producer.services import registers
from quality.models import InstrumentCheck
from quality.services.checking import (
    BACK_IN_USE,
    LATER_CHECK,
    OUT_OF_USE,
    STAYS_OUT,
    Known,
    TwoBuffers,
    error_of,
    outcome_of,
    record_check,
    worth_of,
)
from quality.statistics.buffers import BufferSet
from quality.statistics.conformity import Verdict
from tests import make

pytestmark = pytest.mark.django_db


def weighed(by: User, shown: str = "500", **changes: Any) -> InstrumentCheck:
    facts: dict[str, Any] = {
        "instrument": make.scale(by),
        "held": Known(
            against="500 g, class M1", reference=Decimal(500), shown=Decimal(shown)
        ),
        "tolerance": Decimal(2),
        "half_width": Decimal("0.025"),
    }
    return record_check(by=by, **{**facts, **changes})


def buffers(**changes: Any) -> TwoBuffers:
    facts: dict[str, Any] = {
        "which": BufferSet.TECHNICAL,
        "names": ("7.00", "10.01"),
        "shown": (Decimal("7.03"), Decimal("9.99")),
        "temperature": Decimal(20),
    }
    return TwoBuffers(**{**facts, **changes})


def read(by: User, **changes: Any) -> InstrumentCheck:
    facts: dict[str, Any] = {
        "instrument": make.meter(by),
        "held": buffers(),
        "tolerance": Decimal("0.1"),
        "half_width": Decimal("0.02"),
    }
    return record_check(by=by, **{**facts, **changes})


def test_a_scale_against_a_check_weight(maker: User) -> None:
    check = weighed(maker, "501")
    assert check.passed
    assert error_of(check) == 1
    assert outcome_of(check) is Verdict.PASS
    assert check.sentence == (
        "Error 1 g ± 0.58 g lies inside −2 g to 2 g: pass. Registered ± 0 g, but 1 g"
        " off: raise the ± in the register."
    )
    entry = JournalEntry.objects.first()
    assert entry is not None
    assert (entry.act, entry.subject_label) == ("instrument checked", "bench scale")
    assert entry.after_values["passed"] is True


def in_use(by: User) -> bool:
    return Instrument.objects.get(pk=make.scale(by).pk).in_use


def test_a_check_that_fails_takes_it_out_of_use_and_a_later_pass_puts_it_back(
    maker: User,
) -> None:
    check = weighed(maker, "505")
    assert not check.passed
    assert check.sentence.endswith(OUT_OF_USE)
    assert outcome_of(check) is Verdict.FAIL
    assert not in_use(maker)
    entry = JournalEntry.objects.earliest("-sequence")
    assert entry.before_values["in_use"] is True
    assert entry.after_values["in_use"] is False
    again = weighed(maker, "506")
    assert again.sentence.endswith(OUT_OF_USE)
    good = weighed(maker, "500")
    assert good.sentence.endswith(BACK_IN_USE)
    assert in_use(maker)
    entry = JournalEntry.objects.earliest("-sequence")
    assert entry.before_values["in_use"] is False
    assert entry.after_values["in_use"] is True


def test_what_was_taken_out_by_hand_is_not_put_back_by_a_check(maker: User) -> None:
    weighed(maker, "505")
    weighed(maker, "500")  # out and back in by a check
    scale = Instrument.objects.get(pk=make.scale(maker).pk)
    scale.in_use = False
    registers.save(by=maker, entry=scale)
    weighed(maker, "505")  # out already
    check = weighed(maker, "500")
    assert check.sentence.endswith(STAYS_OUT)
    assert not in_use(maker)


def test_a_check_dated_before_another_changes_nothing_about_its_use(
    maker: User,
) -> None:
    now = timezone.now()
    weighed(maker, "500", observed_at=now - datetime.timedelta(days=1))
    late = weighed(maker, "505", observed_at=now - datetime.timedelta(days=2))
    assert late.sentence.endswith(LATER_CHECK)
    assert in_use(maker)
    weighed(maker, "505", observed_at=now)
    weighed(maker, "500", observed_at=now - datetime.timedelta(days=3))
    assert not in_use(maker)


@pytest.mark.parametrize("reference", ["0", "-500"])
def test_a_scale_is_not_held_against_nothing(maker: User, reference: str) -> None:
    held = Known(against="?", reference=Decimal(reference), shown=Decimal(reference))
    with pytest.raises(Refusal, match="check weight, which weighs more") as stop:
        weighed(maker, held=held)
    assert stop.value.field == "reference"
    assert not InstrumentCheck.objects.exists()


def test_a_thermometer_is_held_against_ice_or_warmer(maker: User) -> None:
    held = Known(against="ice", reference=Decimal(-1), shown=Decimal(-1))
    with pytest.raises(Refusal, match="0 °C, or something warmer"):
        weighed(maker, instrument=make.thermometer(maker), held=held)


def test_swapped_buffers_are_refused_and_a_tired_meter_only_fails(maker: User) -> None:
    swapped = buffers(shown=(Decimal("9.99"), Decimal("7.03")))
    with pytest.raises(Refusal, match="swapped"):
        read(maker, held=swapped)
    assert Instrument.objects.get(kind="ph_meter").in_use
    stuck = buffers(shown=(Decimal("7.0"), Decimal("7.1")))
    assert not read(maker, held=stuck).passed


def test_a_conditional_pass_is_a_pass_that_says_so(maker: User) -> None:
    check = weighed(maker, "502")
    assert check.passed
    assert "conditional pass" in check.sentence


def test_a_thermometer_at_the_ice_point(maker: User) -> None:
    check = record_check(
        by=maker,
        instrument=make.thermometer(maker),
        held=Known(against="ice point", reference=Decimal(0), shown=Decimal("-0.3")),
        tolerance=Decimal(1),
        half_width=Decimal("0.1"),
    )
    assert check.passed
    assert "°C" in check.sentence
    assert error_of(check) == Decimal("-0.3")


def test_a_meter_takes_its_references_from_the_table_of_the_temperature(
    maker: User,
) -> None:
    check = read(maker)
    assert (check.reference, check.second_reference) == (
        Decimal("7.02"),
        Decimal("10.06"),
    )
    assert check.against == "technical buffers 7.00 and 10.01"
    assert check.temperature == 20
    assert check.passed
    assert "Slope 97.4 % of the slope it was set to" in check.sentence
    assert error_of(check) == Decimal("-0.07")


def test_the_order_of_the_buffers_does_not_change_the_error_charted(
    maker: User,
) -> None:
    held = buffers(names=("10.01", "7.00"), shown=(Decimal("9.99"), Decimal("7.03")))
    assert error_of(read(maker, held=held)) == Decimal("-0.07")


def test_a_tired_electrode_is_seen_in_the_millivolts(maker: User) -> None:
    held = buffers(
        shown=(Decimal("7.02"), Decimal("10.06")),
        millivolts=(Decimal(5), Decimal(-155)),
    )
    check = read(maker, held=held)
    assert not check.passed
    assert "of the ideal slope" in check.sentence
    assert "clean or replace the electrode" in check.sentence


def test_buffers_that_do_not_lie_around_soap_are_recorded_with_a_warning(
    maker: User,
) -> None:
    held = buffers(names=("4.00", "7.00"), shown=(Decimal("4.01"), Decimal("7.02")))
    check = read(maker, held=held)
    assert "repeat it with 7 and 10" in check.sentence


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"temperature": Decimal(60)}, "goes from 0 to 50"),
        ({"names": ("6.86", "10.01")}, "There is no buffer 6.86"),
        ({"names": ("7.00", "7.00")}, "less than 1 pH apart"),
        ({"millivolts": (Decimal(5), None)}, "both buffers, or of neither"),
        ({"millivolts": (None, Decimal(5))}, "both buffers, or of neither"),
    ],
)
def test_buffers_that_cannot_be_are_refused(
    maker: User, changes: dict[str, Any], words: str
) -> None:
    with pytest.raises(Refusal, match=words):
        read(maker, held=buffers(**changes))
    assert not InstrumentCheck.objects.exists()


def test_each_kind_is_held_against_what_fits_it(maker: User) -> None:
    with pytest.raises(Refusal, match="two buffers"):
        weighed(maker, instrument=make.meter(maker))
    with pytest.raises(Refusal, match="two buffers"):
        read(maker, instrument=make.scale(maker))
    with pytest.raises(Refusal, match="used up by reading"):
        weighed(maker, instrument=make.strips(maker))


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"tolerance": Decimal(0)}, "above zero"),
        ({"half_width": Decimal(-1)}, "without a sign"),
        (
            {"observed_at": timezone.now() + datetime.timedelta(days=3)},
            "in the future",
        ),
    ],
)
def test_a_check_that_says_nothing_is_refused(
    maker: User, changes: dict[str, Any], words: str
) -> None:
    with pytest.raises(Refusal, match=words):
        weighed(maker, **changes)


def test_only_a_maker_records_a_check(reviewer: User, maker: User) -> None:
    scale = make.scale(maker)
    with pytest.raises(PermissionDenied):
        weighed(reviewer, instrument=scale)


# ------------------------------------------------------- what no check lets pass


@pytest.mark.parametrize(
    ("kind", "most", "too_much"),
    [("scale", "3", "3.01"), ("thermometer", "2", "2.01"), ("meter", "0.2", "0.21")],
)
def test_a_tolerance_that_lets_everything_pass_is_refused(
    maker: User, kind: str, most: str, too_much: str
) -> None:
    check: dict[str, Any] = {
        "scale": lambda tolerance: weighed(maker, tolerance=tolerance),
        "thermometer": lambda tolerance: weighed(
            maker,
            instrument=make.thermometer(maker),
            held=Known(against="ice", reference=Decimal(0), shown=Decimal(0)),
            tolerance=tolerance,
        ),
        "meter": lambda tolerance: read(maker, tolerance=tolerance),
    }
    with pytest.raises(Refusal, match=f"lets more than {most} ") as stop:
        check[kind](Decimal(too_much))
    assert stop.value.field == "tolerance"
    assert not InstrumentCheck.objects.exists()
    assert check[kind](Decimal(most)).passed


def test_a_coarse_scale_may_be_off_by_three_times_its_registered_half_width(
    maker: User,
) -> None:
    scale = make.scale(maker)
    Instrument.objects.filter(pk=scale.pk).update(bias_half_width=2)
    scale.refresh_from_db()
    assert weighed(maker, "505", instrument=scale, tolerance=Decimal(6)).passed
    with pytest.raises(Refusal, match="its ± in the register is raised first"):
        weighed(maker, "505", instrument=scale, tolerance=Decimal(7))


def test_a_meter_far_off_at_ph_7_does_not_pass_on_its_millivolts(maker: User) -> None:
    def millivolts(offset: int) -> TwoBuffers:
        return buffers(
            shown=(Decimal("7.02"), Decimal("10.06")),
            millivolts=(Decimal(offset - 1), Decimal(offset - 178)),
        )

    assert read(maker, held=millivolts(29)).passed
    check = read(maker, held=millivolts(32))
    assert not check.passed
    assert "more than 30 mV off: clean or replace the electrode." in check.sentence


def test_a_good_check_says_where_the_register_promises_too_much(maker: User) -> None:
    assert "raise the ± in the register" in weighed(maker, "501").sentence
    assert "raise the ±" not in weighed(maker, "500").sentence
    assert "raise the ±" not in weighed(maker, "505").sentence  # it failed: out of use
    meter = make.meter(maker)  # ± 0.05, and 0.025 that step and buffer explain
    near = read(maker, held=buffers(shown=(Decimal("7.02"), Decimal("9.99"))))
    assert "raise the ±" not in near.sentence
    far = read(maker, held=buffers(shown=(Decimal("7.02"), Decimal("9.98"))))
    assert "Registered ± 0.05 pH, but 0.08 pH off" in far.sentence
    assert far.passed
    assert meter.bias_half_width == Decimal("0.05")


# ------------------------------------------------------------------ what it is worth


def test_the_last_good_check_is_that_by_the_clock_on_the_wall(maker: User) -> None:
    now = timezone.now()
    good = weighed(maker, "500", observed_at=now - datetime.timedelta(days=9))
    weighed(maker, "509", observed_at=now - datetime.timedelta(days=2))
    weighed(maker, "501", observed_at=now - datetime.timedelta(days=30))
    worth = worth_of(make.scale(maker))
    assert worth.last_good == good
    assert worth.newest is not None
    assert not worth.newest.passed
    assert worth.errors == [1, 0, 9]


def test_an_instrument_that_was_never_checked_has_no_good_check(maker: User) -> None:
    worth = worth_of(make.scale(maker))
    assert (worth.last_good, worth.newest, worth.errors) == (None, None, [])


def test_the_budget_of_a_reading_is_the_uncertainty_that_the_records_keep(
    maker: User,
) -> None:
    for entry in (make.scale(maker), make.meter(maker), make.thermometer(maker)):
        worth = worth_of(entry)
        assert worth.budget is not None
        assert worth.budget.standard_uncertainty == pytest.approx(
            float(entry.standard_uncertainty()), abs=1e-6
        )
        assert worth.strips is None


def test_only_a_scale_has_a_smallest_mass_and_only_strips_a_window(
    maker: User,
) -> None:
    assert worth_of(make.scale(maker)).smallest_net == 82
    assert worth_of(make.meter(maker)).smallest_net is None
    fit = worth_of(make.strips(maker)).strips
    assert fit is not None
    assert fit.decides
    coarse = Instrument(
        kind="ph_strips",
        name="coarse",
        resolution=Decimal(1),
        bias_half_width=Decimal(1),
    )
    fit = worth_of(make.registered(maker, coarse)).strips
    assert fit is not None
    assert not fit.decides
