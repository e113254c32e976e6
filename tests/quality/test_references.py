"""Check weights and buffers of the register, checks due, and indicators."""

from __future__ import annotations

import datetime
import uuid
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from batches.models import Titration
from producer.errors import Refusal
from producer.models import Instrument, User
from producer.services import registers
from quality.models import InstrumentCheck
from quality.services import checking
from quality.services.checking import CheckDue, Known, TwoBuffers, checks_due
from quality.services.references import buffer_name
from quality.statistics.buffers import TABLES, BufferSet
from tests import lab, make
from tests.doors.pages import page_of

pytestmark = pytest.mark.django_db
DAY = datetime.timedelta(days=1)
PAST = {"expires_on": make.TODAY - DAY}
OPEN_TOO_LONG = {"opened_on": make.TODAY - 31 * DAY, "days_after_opening": 30}


@pytest.fixture
def browser(crew: make.Crew) -> Client:
    client = Client()
    client.force_login(crew.maker)
    return client


def buffer(by: User, nominal: str, **changes: Any) -> Instrument:
    facts = {"name": f"buffer {nominal}", "nominal": Decimal(nominal), **changes}
    return make.registered(by, Instrument(kind="buffer", **facts))


def indicator(by: User, **changes: Any) -> Instrument:
    facts = {"name": "phenolphthalein 7", **changes}
    return make.registered(by, Instrument(kind="indicator", **facts))


def checked(by: User, weight: Instrument | None, **changes: Any) -> InstrumentCheck:
    facts = {
        "against": "" if weight else "500 g",
        "reference": Decimal(500),
        "shown": Decimal(500),
        **changes,
    }
    return checking.record_check(
        by=by,
        instrument=make.scale(by),
        held=Known(weight=weight, **facts),
        tolerance=Decimal(2),
    )


def metered(by: User, *lots: Instrument) -> InstrumentCheck:
    return checking.record_check(
        by=by,
        instrument=make.meter(by),
        held=TwoBuffers(
            which=BufferSet.TECHNICAL,
            names=("7.00", "10.01"),
            shown=(Decimal("7.02"), Decimal("10.06")),
            temperature=Decimal(20),
            lots=(lots[0], lots[1]),
        ),
        tolerance=Decimal("0.1"),
        half_width=Decimal("0.02"),
    )


def test_a_check_keeps_the_weight_of_the_register_that_it_was_made_with(
    maker: User,
) -> None:
    weight = lab.check_weight(maker)
    check = checked(maker, weight)
    assert check.reference_instrument == weight
    assert check.against == weight.name
    free = checked(maker, None)
    assert free.reference_instrument is None


def test_a_weight_is_what_the_register_says(maker: User) -> None:
    with pytest.raises(Refusal, match="stands for 500 g in the register, not for 499"):
        checked(maker, lab.check_weight(maker), reference=Decimal(499))


@pytest.mark.parametrize("changes", [PAST, {"in_use": False}])
def test_a_weight_that_is_not_good_any_more_is_refused(
    maker: User, changes: dict[str, Any]
) -> None:
    with pytest.raises(Refusal, match=r"was good until|out of use"):
        checked(maker, lab.check_weight(maker, **changes))
    assert not InstrumentCheck.objects.exists()


def test_a_weight_is_good_on_its_last_day(maker: User) -> None:
    assert checked(maker, lab.check_weight(maker, expires_on=make.TODAY)).passed


def test_a_buffer_is_no_check_weight_and_a_weight_is_not_checked(maker: User) -> None:
    with pytest.raises(Refusal, match="Choose a check weight"):
        checked(maker, buffer(maker, "7.00"))
    with pytest.raises(Refusal, match="it is not read from"):
        checking.record_check(
            by=maker,
            instrument=lab.check_weight(maker),
            held=Known(against="x", reference=Decimal(500), shown=Decimal(500)),
            tolerance=Decimal(2),
        )


def test_a_meter_keeps_both_lots_of_buffer(maker: User) -> None:
    seven, ten = buffer(maker, "7.00"), buffer(maker, "10.01")
    check = metered(maker, seven, ten)
    assert check.reference_instrument == seven
    assert check.second_reference_instrument == ten
    # Foxboro MI 611-211, Table 7: at 20 °C they have 7.02 and 10.06.
    assert (check.reference, check.second_reference) == (
        Decimal("7.02"),
        Decimal("10.06"),
    )


@pytest.mark.parametrize("changes", [PAST, OPEN_TOO_LONG])
def test_a_buffer_past_its_date_or_open_too_long_is_refused(
    maker: User, changes: dict[str, Any]
) -> None:
    with pytest.raises(Refusal, match="Open a fresh lot"):
        metered(maker, buffer(maker, "7.00"), buffer(maker, "10.01", **changes))
    with pytest.raises(Refusal, match="Open a fresh lot"):
        metered(
            maker, buffer(maker, "7.00", name="old", **changes), buffer(maker, "10.01")
        )


def test_a_buffer_is_the_one_that_was_read_in(maker: User) -> None:
    with pytest.raises(Refusal, match="stands for 7 pH"):
        metered(maker, buffer(maker, "7.00"), buffer(maker, "7.00"))


def test_every_buffer_of_the_tables_is_known_by_its_nominal_alone() -> None:
    for which, buffers in TABLES.items():
        for name in buffers:
            lot = Instrument(kind="buffer", nominal=Decimal(name))
            assert buffer_name(lot) == (which, name)
    assert buffer_name(Instrument(kind="buffer", nominal=Decimal("8.00"))) is None


# ------------------------------------------------------------------ on the page


def form_of(**changes: Any) -> dict[str, Any]:
    return {"submission": str(uuid.uuid4()), "tolerance": "2", **changes}


def test_the_register_fills_in_what_it_knows_of_a_weight(
    browser: Client, maker: User
) -> None:
    weight = lab.check_weight(maker)
    address = reverse("quality:instrument_check", args=[make.scale(maker).pk])
    assert "500 g weight: 500 g" in page_of(browser.get(address)).words
    browser.post(address, form_of(weight=weight.pk, shown="501"))
    check = InstrumentCheck.objects.get()
    assert (check.reference, check.reference_half_width) == (
        Decimal(500),
        Decimal("0.025"),
    )
    assert check.reference_instrument == weight
    page = page_of(
        browser.get(reverse("quality:instrument", args=[make.scale(maker).pk]))
    )
    assert reverse("quality:instrument", args=[weight.pk]) in {
        one.get("href") for one in page.attributes("a")
    }


def test_another_weight_is_still_written_in_words_and_then_whole(
    browser: Client, maker: User
) -> None:
    lab.check_weight(maker)
    address = reverse("quality:instrument_check", args=[make.scale(maker).pk])
    page = page_of(browser.post(address, form_of(shown="501")))
    assert page.words.count("This is needed.") >= 3
    typed = {"against": "the baker's 1 kg", "reference": "1000", "half_width": "0,5"}
    assert browser.post(address, form_of(shown="1001", **typed)).status_code == 302
    check = InstrumentCheck.objects.get()
    assert (check.against, check.reference_instrument) == ("the baker's 1 kg", None)


def test_an_expired_weight_is_refused_on_the_page_in_a_sentence(
    browser: Client, maker: User
) -> None:
    weight = lab.check_weight(maker, **PAST)
    address = reverse("quality:instrument_check", args=[make.scale(maker).pk])
    page = page_of(browser.post(address, form_of(weight=weight.pk, shown="500")))
    assert "500 g weight was good until" in page.words
    assert not InstrumentCheck.objects.exists()


def test_a_meter_is_checked_with_lots_of_the_register_or_with_buffers_in_words(
    browser: Client, maker: User
) -> None:
    seven = buffer(maker, "7.00")
    address = reverse("quality:instrument_check", args=[make.meter(maker).pk])
    read = {
        "temperature": "20",
        "shown": "7,02",
        "second_shown": "10,06",
        "half_width": "0,02",
        "tolerance": "0,1",
    }
    form = form_of(**{**read, "first": f"lot {seven.pk}", "second": "technical 10.01"})
    assert browser.post(address, form).status_code == 302
    check = InstrumentCheck.objects.get()
    assert check.reference_instrument == seven
    assert check.second_reference_instrument is None
    mixed = form_of(**{**read, "first": f"lot {seven.pk}", "second": "standard 10.02"})
    assert (
        "Take both buffers from one set" in page_of(browser.post(address, mixed)).words
    )


# ------------------------------------------------------------------ checks due


def test_what_was_never_checked_is_due_and_the_rest_by_its_interval(
    maker: User,
) -> None:
    scale, meter = make.scale(maker), make.meter(maker)
    make.thermometer(maker)  # has no interval
    for one, days in ((scale, 30), (meter, 90)):
        one.check_every_days = days
        registers.save(by=maker, entry=one)
    assert [one.due_on for one in checks_due(make.TODAY)] == [None, None]
    checking.record_check(
        by=maker,
        instrument=scale,
        held=Known(against="500 g", reference=Decimal(500), shown=Decimal(500)),
        tolerance=Decimal(2),
        observed_at=timezone.now() - 5 * DAY,
    )
    day = timezone.localdate(timezone.now() - 5 * DAY)
    assert [one.instrument for one in checks_due(make.TODAY)] == [meter]
    assert [one.instrument for one in checks_due(day + 29 * DAY)] == [meter]
    assert checks_due(day + 30 * DAY)[1:] == [
        CheckDue(instrument=scale, last_on=day, due_on=day + 30 * DAY)
    ]


def test_what_is_out_of_use_is_not_due_and_the_list_takes_two_questions(
    maker: User, django_assert_num_queries: Any
) -> None:
    scale = make.scale(maker)
    scale.check_every_days, scale.in_use = 1, False
    registers.save(by=maker, entry=scale)
    meter = make.meter(maker)
    meter.check_every_days = 1
    registers.save(by=maker, entry=meter)
    with django_assert_num_queries(2):
        assert [one.instrument for one in checks_due(make.TODAY)] == [meter]


def test_the_page_of_an_instrument_says_when_its_next_check_is_due(
    browser: Client, maker: User
) -> None:
    scale = make.scale(maker)
    scale.check_every_days = 30
    registers.save(by=maker, entry=scale)
    address = reverse("quality:instrument", args=[scale.pk])
    assert "never checked, every 30 days" in page_of(browser.get(address)).words
    checked(maker, None)
    words = page_of(browser.get(address)).words
    assert "never checked" not in words
    assert "every 30 days" in words


# ------------------------------------------------------------------ indicators


def test_a_titration_keeps_its_lot_of_indicator_and_shows_it(
    browser: Client, crew: make.Crew
) -> None:
    lot = make.released_lot(crew, make.potash(crew.maker))
    row = lab.titration(crew, lot.stock, setup={"indicator": indicator(crew.maker)})
    assert row.indicator == indicator(crew.maker)
    page = page_of(browser.get(reverse("producer:lot", args=[lot.code])))
    assert "indicator phenolphthalein 7" in page.words


@pytest.mark.parametrize("changes", [PAST, OPEN_TOO_LONG])
def test_an_indicator_past_its_date_is_refused(
    crew: make.Crew, changes: dict[str, Any]
) -> None:
    lot = make.released_lot(crew, make.potash(crew.maker))
    old = indicator(crew.maker, **changes)
    with pytest.raises(Refusal, match=r"was good until .* Open a new lot"):
        lab.titration(crew, lot.stock, setup={"indicator": old})
    with pytest.raises(Refusal, match="not a lot of indicator"):
        lab.titration(crew, lot.stock, setup={"indicator": make.scale(crew.maker)})
    assert not Titration.objects.exists()


def test_the_lot_of_indicator_is_chosen_on_the_form(
    browser: Client, crew: make.Crew
) -> None:
    lot = make.released_lot(crew, make.potash(crew.maker))
    address = reverse("batches:titrate", args=[lot.code, "potash"])
    form = {
        "submission": str(uuid.uuid4()),
        "concentration": "1",
        "half_width": "0.002",
        "burette_half_width": "0.05",
        "scale": lab.balance(crew.maker).pk,
        "indicator": indicator(crew.maker).pk,
        "sample_1": "1,5",
        "volume_1": "24.1",
        "second_1": "24.2",
    }
    assert browser.post(address, form).status_code == 302
    assert Titration.objects.get().indicator == indicator(crew.maker)
