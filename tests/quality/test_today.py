"""The first page: what somebody should look at, and what to do first."""

from __future__ import annotations

import datetime
import uuid
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from batches.models import Batch, Bottle, Discrepancy, Reading, WeighingStart
from batches.services import cooking
from producer.models import (
    Container,
    Instrument,
    RawLot,
    SafetyNote,
    Stock,
    User,
)
from producer.services import intake, safety
from quality.models import Deviation, InstrumentCheck, Recall
from quality.services import changing, deviating, recalling
from quality.services.checking import Known, record_check
from quality.services.today import MOST_SHOWN, Kind, due, first_of
from quality.services.today.plain import since, until
from quality.services.today.revised import undecided
from tests import hands, leaving, make
from tests.doors.pages import page_of
from tests.quality import test_revising as revised_potash

pytestmark = pytest.mark.django_db
TODAY = make.TODAY


def days(number: int) -> datetime.date:
    return TODAY + datetime.timedelta(days=number)


def kind_of(slug: str) -> Kind | None:
    return next((one for one in due(TODAY) if one.slug == slug), None)


def names_of(slug: str) -> list[str]:
    kind = kind_of(slug)
    return [row.name for row in kind.rows] if kind else []


def failing_check(crew: make.Crew) -> InstrumentCheck:
    return record_check(
        by=crew.maker,
        instrument=make.scale(crew.maker),
        held=Known(against="5 kg", reference=Decimal(5000), shown=Decimal(5014)),
        tolerance=Decimal(3),
    )


# ------------------------------------------------------------------ kinds


def test_a_batch_held_by_a_change_waits_for_its_review(
    crew: make.Crew, client: Client
) -> None:
    batch = make.released_paste(crew)
    assert names_of("on_hold") == []
    reading = batch.readings.filter(characteristic="ph").get()
    changing.change_reading(
        by=crew.maker,
        reading=reading,
        value=Decimal("9.1"),
        method=reading.method,
        instrument=reading.instrument,
        reason="two figures swapped",
    )
    assert names_of("on_hold") == [batch.number]
    client.force_login(crew.reviewer)
    page = client.get(reverse("quality:today")).text
    assert f'href="{reverse("quality:review", args=[batch.number])}"' in page


def test_a_failed_instrument_with_an_open_deviation_is_shown_once(
    crew: make.Crew,
) -> None:
    scale = failing_check(crew).instrument
    assert names_of("failed") == [scale.name]
    deviation = deviating.open_deviation(
        by=crew.maker, classification="major", what="14 g off", instrument=scale
    )
    assert names_of("failed") == []
    assert names_of("deviation") == [deviation.code]
    failing_check(crew)  # a new fault: the deviation was open before and is of another
    assert names_of("failed") == [scale.name]
    deviating.add_step(
        by=crew.maker, deviation=deviation, kind="cause", text="failed once more"
    )
    assert names_of("failed") == []


def read(crew: make.Crew, batch: Batch, celsius: str) -> Reading:
    return cooking.record_reading(
        by=crew.maker,
        batch=batch,
        characteristic="temperature",
        value=Decimal(celsius),
        instrument=make.thermometer(crew.maker),
    )


def test_a_pot_above_its_limit_comes_before_the_batches_and_goes_when_it_cools(
    crew: make.Crew,
) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    read(crew, batch, "70")
    assert names_of("hot") == []  # the limit itself is not above it
    read(crew, batch, "76.5")
    kinds = due(TODAY, mark=",")
    first = first_of(kinds)
    assert first is not None
    assert (first[0].slug, first[1].name) == ("hot", batch.number)
    assert "76,5 °C, the limit is 70,0 °C" in first[1].words
    assert first[1].do_at == reverse("batches:pot", args=[batch.number])
    read(crew, batch, "69")
    assert names_of("hot") == []
    assert names_of("pot") == [batch.number]


def test_a_batch_in_the_pot_says_its_next_step_and_potash_comes_last(
    crew: make.Crew,
) -> None:
    def step() -> str:
        kind = kind_of("pot")
        assert kind is not None
        return kind.rows[0].do

    batch = make.open_batch(crew)
    assert names_of("planned") == [batch.number]
    oil = make.released_lot(crew, make.sunflower(crew.maker))
    charge = make.charge(crew, batch, oil.stock, 800_000)
    assert step() == "Weigh coconut oil"
    cooking.amend_charge(by=crew.maker, charge=charge, void=True, reason="wrong jug")
    assert step() == "Weigh sunflower oil"
    batch = make.open_batch(crew)
    Batch.objects.exclude(pk=batch.pk).update(status="abandoned")
    make.charge_all(crew, batch)
    assert step() == "Cook and test, then weigh it"
    make.weigh_bulk(crew, batch)
    assert step() == "Finish it"


def test_lots_are_listed_by_the_date_that_comes_first(crew: make.Crew) -> None:
    oil = make.sunflower(crew.maker)
    late = make.released_lot(crew, oil, expires_on=days(31))
    near = make.released_lot(crew, oil, expires_on=days(30))
    gone = make.released_lot(crew, oil, expires_on=days(5), retest_on=days(90))
    retest = make.released_lot(crew, oil, expires_on=days(90), retest_on=days(2))
    RawLot.objects.filter(pk=gone.pk).update(received_on=days(-9), expires_on=days(-1))
    kind = kind_of("date")
    assert kind is not None
    assert [row.name for row in kind.rows] == [gone.code, retest.code, near.code]
    assert late.code not in names_of("date")
    assert kind.rows[0].when.startswith("expired since yesterday")
    assert kind.rows[0].do == "Dispose of it"
    assert kind.rows[1].when.startswith("retest due in 2 days")
    Stock.objects.filter(pk=gone.pk).update(on_hand_mg=0)
    assert gone.code not in names_of("date")


def test_a_buffer_is_listed_by_its_life_once_it_is_opened(crew: make.Crew) -> None:
    buffer = make.registered(
        crew.maker,
        Instrument(
            kind="buffer",
            name="buffer 7",
            nominal=Decimal(7),
            expires_on=days(300),
            opened_on=days(-60),
            days_after_opening=90,
        ),
    )
    assert names_of("tool") == [buffer.name]
    Instrument.objects.filter(pk=buffer.pk).update(days_after_opening=91)
    assert names_of("tool") == []
    Instrument.objects.filter(pk=buffer.pk).update(days_after_opening=10)
    kind = kind_of("tool")
    assert kind is not None
    assert kind.rows[0].when.startswith("past its date since 50 days")
    Instrument.objects.filter(pk=buffer.pk).update(in_use=False)
    assert names_of("tool") == []


def test_a_check_is_listed_on_the_day_it_is_due(crew: make.Crew) -> None:
    scale = make.scale(crew.maker)
    assert names_of("check") == []
    Instrument.objects.filter(pk=scale.pk).update(check_every_days=7)
    assert names_of("check") == [scale.name]
    record_check(
        by=crew.maker,
        instrument=scale,
        held=Known(against="5 kg", reference=Decimal(5000), shown=Decimal(5000)),
        tolerance=Decimal(3),
    )
    assert names_of("check") == []


def test_an_opened_tin_of_potash_is_to_be_weighed(crew: make.Crew) -> None:
    lot = make.released_lot(crew, make.potash(crew.maker), quantity_mg=make.KG)
    tin = Container.objects.create(lot=lot, number=1, filled_mg=make.KG)
    assert names_of("container") == []
    Container.objects.filter(pk=tin.pk).update(opened_at=timezone.now())
    assert names_of("container") == [f"{lot.code}/1"]
    lot.stock.container_weighings.create(
        container=tin,
        scale=make.scale(crew.maker),
        gross_mg=1_100_000,
        tare_mg=100_000,
        net_mg=1_000_000,
        book_mg=1_000_000,
        observed_at=timezone.now(),
        entered_by=crew.maker,
    )
    assert names_of("container") == []


def test_a_material_that_lasts_less_than_two_weeks_is_running_out(
    crew: make.Crew,
) -> None:
    batch = make.open_batch(crew)
    oil = make.released_lot(
        crew, make.sunflower(crew.maker), quantity_mg=4 * make.KG, received_on=days(-19)
    )
    make.charge(crew, batch, oil.stock, 1_600_000)
    # 1.6 kg in 20 days leave 2.4 kg for 30 days, which is enough.
    assert names_of("low") == []
    make.charge(crew, batch, oil.stock, 1_070_000)  # 1.33 kg at 133.5 g a day: 9 days
    kind = kind_of("low")
    assert kind is not None
    assert [row.name for row in kind.rows] == ["sunflower oil"]
    assert kind.rows[0].when == "lasts 9 days at the use of late"


def test_a_note_of_safety_is_listed_a_month_ahead_until_it_is_noted_again(
    crew: make.Crew,
) -> None:
    facts: dict[str, Any] = {
        "by": crew.maker,
        "kind": "first_aid",
        "topic": "Eyewash rinsed",
    }
    safety.record_note(**facts, done_on=days(-300), due_on=days(30))
    assert names_of("safety") == ["first aid and eyewash: Eyewash rinsed"]
    safety.record_note(**facts, done_on=TODAY, due_on=days(365))
    assert names_of("safety") == []


def test_what_comes_round_with_the_year_is_due_a_year_after_the_first_goods(
    crew: make.Crew,
) -> None:
    lot = make.held_lot(crew, make.water(crew.maker))
    RawLot.objects.filter(pk=lot.pk).update(received_on=days(-364))
    assert names_of("yearly") == []
    RawLot.objects.filter(pk=lot.pk).update(received_on=days(-365))
    assert names_of("yearly") == ["Stock-take of everything"]


def test_returned_bottles_are_counted_once_however_often_they_moved(
    crew: make.Crew,
) -> None:
    lot = make.filled(crew)
    sent, _ = make.bottles_of(lot)
    leaving.sent(crew, [sent], consignee=make.consignee(crew.maker))
    assert names_of("bottles") == []
    sent.refresh_from_db()
    hands.moved(crew.maker, sent, "returned", "leaks")
    recalling.open_recall(
        by=crew.reviewer,
        root=lot.batch.stock,
        hazard_class="3",
        reason="a smell",
        public_notice="Bring it back.",
    )
    kind = kind_of("bottles")
    assert kind is not None
    assert kind.rows[0].words.endswith(": 1 on hold, 1 returned")
    assert kind.count == 1


# ------------------------------------------------------------------ the order


def test_what_can_hurt_first_is_to_be_done_first(crew: make.Crew) -> None:
    """One after the other, each before what was there already."""

    def first() -> str:
        found = first_of(due(TODAY))
        return found[0].slug if found else ""

    assert first() == ""
    safety.record_note(
        by=crew.maker, kind="rules", topic="read", done_on=days(-9), due_on=TODAY
    )
    assert first() == "safety"
    make.released_lot(crew, make.sunflower(crew.maker), expires_on=days(3))
    assert first() == "date"
    make.held_lot(crew, make.water(crew.maker))
    assert first() == "lot"
    make.cooked_batch(crew)
    assert first() == "awaiting_review"
    batch = make.open_batch(crew)
    deviating.open_deviation(
        by=crew.maker, classification="minor", what="stood open", stock=batch.stock
    )
    assert first() == "deviation"
    make.charge_all(crew, batch)
    assert first() == "pot"
    WeighingStart.objects.create(
        batch=batch,
        source=make.held_lot(crew, make.water(crew.maker)).stock,
        scale=make.scale(crew.maker),
        first_mg=350_000,
        observed_at=timezone.now(),
        entered_by=crew.maker,
    )
    assert first() == "incomplete"
    failing_check(crew)
    assert first() == "failed"
    Discrepancy.objects.create(
        batch=batch,
        kind="charge",
        sent={"title": "Weigh water", "net_mg": 0},
        refused="the batch was finished",
        observed_at=timezone.now(),
        entered_by=crew.maker,
    )
    assert first() == "discrepancy"
    read(crew, batch, "75")
    assert first() == "hot"
    recalling.open_recall(
        by=crew.reviewer,
        root=batch.stock,
        hazard_class="1",
        reason="caustic",
        public_notice="Do not use it.",
    )
    assert first() == "recall"


def test_a_real_recall_stands_before_a_mock_one(crew: make.Crew) -> None:
    lot = make.held_lot(crew, make.water(crew.maker))
    facts = {"root": lot.stock, "hazard_class": "1", "opened_at": timezone.now()}
    Recall.objects.create(code="R26-0001-A", is_mock=True, reason="tried", **facts)
    facts |= {"hazard_class": "3", "public_notice": "Bring it."}
    Recall.objects.create(code="R26-0002-A", reason="bad", **facts)
    assert names_of("recall") == ["R26-0002-A", "R26-0001-A"]


def test_a_revised_certificate_stands_on_top_until_its_batches_are_decided(
    crew: make.Crew, client: Client
) -> None:
    lot = revised_potash.potash(crew)
    paste = revised_potash.paste_of(crew, lot)
    liquid = make.released_liquid(crew, paste=paste)
    filled = make.filled(crew, liquid)
    sent, _ = make.bottles_of(filled)
    leaving.sent(crew, [sent], consignee=make.consignee(crew.maker))
    failing_check(crew)
    assert kind_of("revised") is None
    revised_potash.revise(crew.maker, lot)
    first = first_of(due(TODAY))
    assert first is not None
    assert (first[0].slug, first[1].name) == ("revised", lot.code)
    assert first[1].words.endswith(": 1 bottle is out, 1 on hold, 2 batches on hold")
    assert first[1].do_at == reverse("quality:revision", args=[lot.code])
    # One cause, one row: what it put on hold is not told once more.
    assert (names_of("on_hold"), names_of("bottles")) == ([], [])
    client.force_login(crew.reviewer)
    assert "bottles are out" in page_of(client.get("/")).words
    intake.decide_lot(
        by=crew.reviewer,
        lot=RawLot.objects.get(pk=lot.pk),
        new="released",
        reason="looked at",
    )
    make.sign(crew.reviewer, make.fresh(paste), "unhold", reason="within limits")
    kind = kind_of("revised")
    assert kind is not None  # what was made from it is not decided
    assert kind.rows[0].words.endswith(": 1 bottle is out, 1 on hold, 1 batch on hold")
    make.sign(crew.reviewer, make.fresh(liquid), "unhold", reason="within limits")
    assert kind_of("revised") is None
    Bottle.objects.filter(filling_lot=filled).exclude(pk=sent.pk).update(
        status="on_hold"
    )
    assert names_of("bottles") == [filled.code]


def test_the_bottles_of_each_revised_lot_are_counted_apart_by_as_many_queries(
    crew: make.Crew,
) -> None:
    def asked() -> int:
        with CaptureQueriesContext(connection) as queries:
            undecided()
        return len(queries)

    lots = []
    for number in (1, 2):
        lot = revised_potash.potash(crew)
        paste = revised_potash.paste_of(crew, lot)
        made = make.filled(crew, make.released_liquid(crew, paste=paste))
        leaving.sent(
            crew,
            make.bottles_of(made)[:number],
            consignee=make.consignee(crew.maker),
        )
        revised_potash.revise(crew.maker, lot)
        lots.append(lot.code)
        if number == 1:
            few = asked()
    assert asked() == few
    assert [(one.lot.code, one.bottles_out) for one in undecided()] == [
        (lots[1], 2),
        (lots[0], 1),
    ]


# ------------------------------------------------------------------ the page


def test_an_empty_day_is_empty(crew: make.Crew, client: Client) -> None:
    batch = make.open_batch(crew)
    Batch.objects.filter(pk=batch.pk).update(status="abandoned")
    client.force_login(crew.maker)
    words = page_of(client.get("/")).words
    assert "The first steps" not in words
    assert "Nothing is due, held or waiting today." in words
    assert "Do this first" not in words


def test_who_may_not_do_it_is_told_whose_it_is(
    crew: make.Crew, auditor: User, client: Client
) -> None:
    batch = make.cooked_batch(crew)
    address = reverse("quality:review", args=[batch.number])
    client.force_login(auditor)
    page = client.get("/").text
    assert f'href="{address}"' not in page
    assert "To do for a reviewer: Review it." in page_of(client.get("/")).words
    client.force_login(crew.reviewer)
    page = client.get("/").text
    assert page.count(f'href="{address}"') == 2  # first, and in its list


def test_more_than_ten_of_a_kind_are_counted_and_all_are_one_tap_away(
    crew: make.Crew, client: Client
) -> None:
    for _ in range(MOST_SHOWN + 2):
        make.held_lot(crew, make.water(crew.maker))
    kind = kind_of("lot")
    assert kind is not None
    assert (len(kind.rows), kind.count, kind.more) == (10, 12, 2)
    client.force_login(crew.reviewer)
    response = client.get("/")
    assert "12 in all, 2 more than these." in page_of(response).words
    assert f'href="{kind.all_at}"' in response.text
    assert client.get(kind.all_at).status_code == 200


def test_days_are_said_in_words() -> None:
    today = datetime.date(2026, 3, 1)
    assert since(today, today) == "since today"
    assert since(datetime.date(2026, 2, 28), today) == "since yesterday"
    assert since(datetime.date(2026, 1, 1), today) == "for 59 days, since 1 Jan 2026"
    assert until(today, today, "due") == "due today"
    assert until(datetime.date(2026, 3, 2), today, "due") == "due tomorrow"
    assert (
        until(datetime.date(2026, 2, 1), today, "due")
        == "due since 28 days, 1 Feb 2026"
    )


# ------------------------------------------------------------------ how much it asks


def more_of_everything(crew: make.Crew, number: int) -> None:
    """Put so many more of each kind into the tables, by their rows alone."""
    now = timezone.now()
    pattern = Batch.objects.select_related("formula_version").first()
    lot = RawLot.objects.select_related("material", "supplier").first()
    assert pattern is not None
    assert lot is not None
    oil = make.sunflower(crew.maker)
    by = {"observed_at": now, "entered_by": crew.maker}
    for _ in range(number):
        code = uuid.uuid4().hex[:12]
        for status in (
            "planned",
            "in_process",
            "awaiting_review",
            "on_hold",
            "rejected",
        ):
            stock = Stock.objects.create(kind="batch", code=f"{status}{code}")
            batch = Batch.objects.create(
                stock=stock,
                formula_version=pattern.formula_version,
                kind="cook",
                basis_mg=make.KG,
                status=status,
                maker=crew.maker,
                opened_at=now,
            )
            if status != "in_process":
                continue
            batch.readings.create(
                characteristic="temperature",
                value=Decimal(80),
                instrument=make.thermometer(crew.maker),
                **by,
            )
            batch.charges.create(
                source=lot.stock,
                scale=make.scale(crew.maker),
                gross_mg=2,
                tare_mg=1,
                net_mg=1,
                **by,
            )
            batch.weighing_starts.create(
                source=lot.stock, scale=make.scale(crew.maker), first_mg=1, **by
            )
            batch.discrepancies.create(
                kind="charge", sent={"title": "x", "net_mg": 0}, refused="no", **by
            )
        for status, expires in (("quarantine", None), ("released", days(3))):
            own = Stock.objects.create(
                kind="lot", code=f"{status[0]}{code}", on_hand_mg=9
            )
            RawLot.objects.create(
                stock=own,
                material=oil,
                supplier=lot.supplier,
                supplier_lot=code,
                received_on=days(-400),
                expires_on=expires,
                status=status,
            )
        tin = RawLot.objects.filter(material__kind="potash").first()
        assert tin is not None
        Container.objects.create(
            lot=tin, number=Container.objects.count() + 1, filled_mg=5, opened_at=now
        )
        Recall.objects.create(
            code=f"R{code}",
            root=lot.stock,
            is_mock=True,
            hazard_class="3",
            reason="x",
            opened_at=now,
        )
        Deviation.objects.create(
            code=f"V{code}", stock=lot.stock, classification="minor", what="x", **by
        )
        tool = Instrument.objects.create(
            kind="scale",
            name=code,
            resolution=1,
            expires_on=days(1),
            check_every_days=5,
        )
        InstrumentCheck.objects.create(
            instrument=tool,
            against="5 kg",
            reference=5000,
            shown=5014,
            tolerance=3,
            passed=False,
            **by,
        )
        Instrument.objects.create(
            kind="scale", name=f"new {code}", resolution=1, check_every_days=5
        )
        SafetyNote.objects.create(
            kind="rules", topic=code, done_on=days(-9), due_on=TODAY, **by
        )


def queries(browser: Client) -> int:
    browser.get("/")  # the session and what is read once
    with CaptureQueriesContext(connection) as asked:
        assert browser.get("/").status_code == 200
    return len(asked)


def test_the_first_page_asks_as_often_for_fifty_of_each_as_for_two(
    crew: make.Crew, client: Client
) -> None:
    lot = make.filled(crew)
    recalling.open_recall(
        by=crew.reviewer,
        root=lot.batch.stock,
        hazard_class="3",
        reason="a smell",
        public_notice="Bring it back.",
    )
    client.force_login(crew.maker)
    more_of_everything(crew, 2)
    shown = {kind.slug for kind in due(TODAY)}
    assert shown >= {
        "recall",
        "hot",
        "discrepancy",
        "failed",
        "deviation",
        "incomplete",
        "pot",
        "on_hold",
        "awaiting_review",
        "rejected",
        "lot",
        "date",
        "tool",
        "check",
        "container",
        "planned",
        "safety",
        "bottles",
    }
    few = queries(client)
    more_of_everything(crew, 48)
    assert kind_of("pot").count == 50  # type: ignore[union-attr]
    assert queries(client) == few
    print(f"queries of the first page: {few}")  # noqa: T201 - asked for
