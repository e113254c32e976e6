"""Entries that a device kept and sends later, to the same addresses as ever."""

from __future__ import annotations

import datetime
import json
import uuid
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from django.db import IntegrityError
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from batches.models import Batch, Charge, Discrepancy, Reading
from batches.services import cooking, discrepancies, half_weighings
from batches.services.entries import Entries
from batches.services.excursions import temperatures_of
from producer.models import JournalEntry, Premises, Right, Stock, User
from producer.services import people
from producer.services import stock as ledger
from producer.views import devices
from tests import make
from tests.database import row_counts
from tests.doors.pages import page_of

pytestmark = pytest.mark.django_db
Send = Callable[..., dict[str, Any]]
MINUTE = datetime.timedelta(minutes=1)


@pytest.fixture
def browser(crew: make.Crew) -> Client:
    client = Client()
    client.force_login(crew.maker)
    return client


@pytest.fixture
def send(browser: Client) -> Send:
    """Return what a device does: send fields by itself and read the answer."""

    def send(address: str, fields: dict[str, Any]) -> dict[str, Any]:
        answer = browser.post(address, fields, headers={devices.HEADER: "1"})
        assert answer.status_code == 200
        found: dict[str, Any] = json.loads(answer.content)
        assert found["submission"] == fields.get("submission", "")
        return found

    return send


@pytest.fixture
def batch(crew: make.Crew) -> Batch:
    batch = make.open_batch(crew, opened_at=timezone.now() - 180 * MINUTE)
    make.go_through(crew, batch, timezone.now() - 170 * MINUTE)
    make.charge_all(crew, batch)
    return make.fresh(batch)


def temperature(
    crew: make.Crew, batch: Batch, **changes: Any
) -> tuple[str, dict[str, Any]]:
    fields = {
        "submission": str(uuid.uuid4()),
        "value": "71,5",
        "instrument": make.thermometer(crew.maker).pk,
        **changes,
    }
    return reverse("batches:read", args=[batch.number, "temperature"]), fields


def kept(
    ago: datetime.timedelta = 40 * MINUTE,
    ahead: datetime.timedelta = datetime.timedelta(),
) -> dict[str, str]:
    """Return what the device says of the sending; its clock may run ahead."""
    zone = datetime.timezone(datetime.timedelta(hours=2))
    shown = timezone.now().astimezone(zone) + ahead
    return {
        "kept_since": (shown - ago).isoformat(timespec="milliseconds"),
        "device_now": shown.isoformat(timespec="milliseconds"),
    }


def taking(
    crew: make.Crew, batch: Batch, lot: Stock, net: int = 40, **changes: Any
) -> tuple[str, dict[str, Any]]:
    line = make.line_of(batch, lot.lot.material.name)
    fields = {
        "submission": str(uuid.uuid4()),
        "source": lot.pk,
        "scale": make.scale(crew.maker).pk,
        "gross_mg": f"{350 + net} g",
        "tare_mg": "350 g",
        "unusual": "the last of the can",
        **changes,
    }
    return reverse("batches:charge", args=[batch.number, line.position]), fields


def emptied(crew: make.Crew, batch: Batch) -> Stock:
    """Return the lot of oil that the batch draws from, emptied by another."""
    lot = Charge.objects.get(batch=batch, line__material__name="sunflower oil").source
    ledger.adjust(by=crew.maker, lot=lot.lot, counted_mg=0, reason="the can is empty")
    return Stock.objects.get(pk=lot.pk)


def test_a_kept_reading_is_recorded_once_with_the_time_it_was_made_at(
    crew: make.Crew, batch: Batch, send: Send
) -> None:
    address, fields = temperature(crew, batch)
    when = kept()
    first = send(address, {**fields, **when})
    assert first["outcome"] == "recorded"
    row = Reading.objects.get()
    made = datetime.datetime.fromisoformat(when["kept_since"])
    assert row.observed_at == made
    assert timezone.now() - row.entered_at < MINUTE  # ours, not the device's
    last = JournalEntry.objects.latest("sequence")
    told = last.after_values["kept_on_device_since"]
    assert datetime.datetime.fromisoformat(told) == made
    assert "device_clock_ahead_s" not in last.after_values
    before = row_counts()
    assert send(address, {**fields, **kept()})["outcome"] == "already"
    assert row_counts() == before


def test_what_was_typed_as_the_time_counts_more_than_when_it_was_kept(
    crew: make.Crew, batch: Batch, send: Send
) -> None:
    typed = (timezone.now() - 90 * MINUTE).replace(second=0, microsecond=0)
    shown = timezone.localtime(typed, batch_zone())
    address, fields = temperature(crew, batch, observed_at=f"{shown:%Y-%m-%dT%H:%M}")
    send(address, {**fields, **kept()})
    assert Reading.objects.get().observed_at == typed


def batch_zone() -> datetime.tzinfo:
    return Premises.objects.get().zone


def test_what_arrived_although_the_answer_was_lost_is_not_done_again(
    crew: make.Crew, batch: Batch, send: Send, browser: Client
) -> None:
    address, fields = temperature(crew, batch)
    assert browser.post(address, fields).status_code == 302  # nobody heard of it
    assert send(address, {**fields, **kept()})["outcome"] == "already"
    assert Reading.objects.count() == 1


@pytest.mark.parametrize("hours", [24, -2, -24 * 365 * 7])
def test_scenario_07_a_kept_entry_of_a_clock_that_is_off_is_put_where_it_belongs(
    crew: make.Crew, batch: Batch, send: Send, hours: int
) -> None:
    off = datetime.timedelta(hours=hours)
    address, fields = temperature(crew, batch)
    when = kept(ahead=off)
    assert send(address, {**fields, **when})["outcome"] == "recorded"
    row = Reading.objects.get()
    made = timezone.now() - 40 * MINUTE  # by our clock
    assert abs(row.observed_at - made) < MINUTE
    assert not row.observed_later_than_entered
    told = JournalEntry.objects.latest("sequence").after_values
    # As the device sent them, beside what became of them.
    for name, sent in (
        ("kept_on_device_since", "kept_since"),
        ("device_clock_when_sent", "device_now"),
    ):
        raw = datetime.datetime.fromisoformat(told[name])
        assert raw == datetime.datetime.fromisoformat(when[sent])
    assert abs(told["device_clock_ahead_s"] - off.total_seconds()) < 60


def test_scenario_07_a_typed_time_stays_as_it_was_typed_and_is_flagged(
    crew: make.Crew, batch: Batch, send: Send
) -> None:
    typed = (timezone.now() + 90 * MINUTE).replace(second=0, microsecond=0)
    shown = timezone.localtime(typed, batch_zone())
    address, fields = temperature(crew, batch, observed_at=f"{shown:%Y-%m-%dT%H:%M}")
    ahead = datetime.timedelta(days=1)
    assert send(address, {**fields, **kept(ahead=ahead)})["outcome"] == "recorded"
    row = Reading.objects.get()
    assert row.observed_at == typed
    assert row.observed_later_than_entered


def test_a_clock_two_minutes_off_is_believed(
    crew: make.Crew, batch: Batch, send: Send
) -> None:
    address, fields = temperature(crew, batch)
    when = kept(ahead=datetime.timedelta(seconds=110))
    send(address, {**fields, **when})
    made = datetime.datetime.fromisoformat(when["kept_since"])
    assert Reading.objects.get().observed_at == made


def test_a_hot_pot_alarms_although_the_phone_is_two_hours_slow(
    crew: make.Crew, batch: Batch, send: Send, browser: Client
) -> None:
    cooking.record_reading(
        by=crew.maker,
        batch=batch,
        characteristic="temperature",
        value=Decimal(66),
        instrument=make.thermometer(crew.maker),
        observed_at=timezone.now() - 30 * MINUTE,
    )
    slow = datetime.timedelta(hours=-2)
    address, fields = temperature(crew, batch, value="97")
    send(address, {**fields, **kept(10 * MINUTE, ahead=slow)})
    first, last = temperatures_of(Entries(batch))
    assert [first.value, last.value] == [Decimal(66), Decimal(97)]
    page = page_of(browser.get(reverse("batches:pot", args=[batch.number])))
    assert "TOO HOT" in page.words


@pytest.mark.parametrize(
    ("since", "now"),
    [
        (-31 * 24 * 60, 0),  # a month and a day ago, by a clock that is right
        (-7 * 365 * 24 * 60, 0),  # the clock was set anew while it was kept
        (5, -90),  # written after it was sent
        (9, None),  # in the future, and no word of the clock
    ],
)
def test_a_clock_that_was_set_meanwhile_makes_a_discrepancy_of_the_arrival(
    crew: make.Crew, batch: Batch, send: Send, since: int, now: int | None
) -> None:
    address, fields = temperature(crew, batch)
    ours = timezone.now()
    when = {
        "kept_since": (ours + since * MINUTE).isoformat(),
        "device_now": "" if now is None else (ours + now * MINUTE).isoformat(),
    }
    assert send(address, {**fields, **when})["outcome"] == "discrepancy"
    row = Discrepancy.objects.get()
    assert "its clock was set anew" in row.refused
    assert abs(row.observed_at - ours) < MINUTE
    told = JournalEntry.objects.latest("sequence").after_values
    raw = datetime.datetime.fromisoformat(told["kept_on_device_since"])
    assert raw == ours + since * MINUTE


@pytest.mark.parametrize(
    "when",
    [
        {"kept_since": "at noon", "device_now": "later"},
        {"kept_since": "2026-13-45T99:00", "device_now": ""},
        {"kept_since": "2026-03-01T10:00:00"},  # without an offset it is no moment
        # Moments that no other time zone can name.
        {"kept_since": "0001-01-01T00:00:00+23:59", "device_now": "9999-12-31T23:59Z"},
        {"kept_since": "9999-12-31T23:59:59-23:59"},
    ],
)
def test_a_clock_that_cannot_be_read_loses_no_entry(
    crew: make.Crew, batch: Batch, send: Send, when: dict[str, str]
) -> None:
    address, fields = temperature(crew, batch)
    assert send(address, {**fields, **when})["outcome"] == "recorded"
    assert timezone.now() - Reading.objects.get().observed_at < MINUTE


def test_scenario_02_what_was_taken_offline_arrives_after_the_lot_was_emptied(
    crew: make.Crew, batch: Batch, send: Send, browser: Client
) -> None:
    lot = emptied(crew, batch)
    address, fields = taking(crew, batch, lot)
    when = kept()
    answer = send(address, {**fields, **when})
    assert answer["outcome"] == "discrepancy"
    assert f"40 g of {lot.code}" in answer["words"]
    row = Discrepancy.objects.get()
    assert (row.batch_id, row.stock_id, row.short_mg) == (batch.pk, lot.pk, 40_000)
    assert row.observed_at == datetime.datetime.fromisoformat(when["kept_since"])
    assert row.sent["fields"]["gross_mg"] == "390 g"
    assert ["Gross", "390 g"] in row.sent["shown"]
    assert ["From", lot.code] in row.sent["shown"]
    assert not {"submission", "kept_since", "csrfmiddlewaretoken"} & {
        *row.sent["fields"]
    }
    again = send(address, {**fields, **kept()})
    assert again["outcome"] == "already"
    assert Discrepancy.objects.count() == 1
    page = page_of(browser.get(reverse("producer:lot", args=[lot.code]))).words
    assert "−40 g" in page
    assert "−40 g" in page_of(browser.get(reverse("producer:lots"))).words
    number = [batch.number]
    words = page_of(browser.get(reverse("batches:batch", args=number))).words
    assert f"Open: 40 g of {lot.code} into {batch.number}" in words
    finish = {"submission": str(uuid.uuid4())}
    make.read_ph(crew, batch)
    make.weigh_bulk(crew, batch)
    refused = browser.post(reverse("batches:finish", args=number), finish)
    assert "does not fit the book" in page_of(refused).words
    assert make.fresh(batch).status == "in_process"


def test_it_is_entered_after_all_at_the_page_it_was_made_on(
    crew: make.Crew, batch: Batch, send: Send, browser: Client
) -> None:
    lot = emptied(crew, batch)
    send(*with_kept(taking(crew, batch, lot)))
    row = Discrepancy.objects.get()
    at = reverse("batches:discrepancy", args=[batch.number, row.pk])
    assert "Enter it now" in page_of(browser.get(at)).words
    ledger.adjust(by=crew.maker, lot=lot.lot, counted_mg=55_000, reason="weighed it")
    enter = f"{row.sent['path']}?settles={row.pk}"
    shown = page_of(browser.get(enter))
    typed = {one.get("name"): one.get("value") for one in shown.attributes("input")}
    assert (typed["gross_mg"], typed["tare_mg"]) == ("390 g", "350 g")
    assert typed["observed_at"]
    fields = taking(crew, batch, lot)[1]
    before = JournalEntry.objects.count()
    answer = browser.post(enter, {**fields, "observed_at": typed["observed_at"]})
    assert answer.status_code == 302
    assert JournalEntry.objects.count() == before + 1
    charge = Charge.objects.latest("pk")
    assert (charge.net_mg, charge.observed_at) == (40_000, row.observed_at)
    row.refresh_from_db()
    assert row.end.outcome == "entered"
    assert not discrepancies.open_discrepancies(batch)
    again = page_of(
        browser.post(enter, {**fields, "submission": str(uuid.uuid4()), "unusual": "x"})
    )
    assert "settled by Mirja Aalto already" in again.words
    assert Charge.objects.latest("pk") == charge


def with_kept(
    what: tuple[str, dict[str, Any]],
) -> tuple[str, dict[str, Any]]:
    address, fields = what
    return address, {**fields, **kept()}


def test_a_reviewer_explains_it_and_nothing_is_entered(
    crew: make.Crew, batch: Batch, send: Send
) -> None:
    lot = emptied(crew, batch)
    send(*with_kept(taking(crew, batch, lot)))
    row = Discrepancy.objects.get()
    reviewer = Client()
    reviewer.force_login(crew.reviewer)
    arguments = [batch.number, row.pk]
    answer = reviewer.post(
        reverse("batches:discrepancy_explain", args=arguments),
        {
            "submission": str(uuid.uuid4()),
            "went_in": "no",
            "reason": "it was poured back",
        },
    )
    assert answer.status_code == 302
    page = page_of(reviewer.get(reverse("batches:discrepancy", args=arguments)))
    assert "Nothing of it went into the batch. it was poured back" in page.words
    assert "Enter it now" not in page.words


def test_an_entry_for_a_batch_that_was_released_holds_it(
    crew: make.Crew, send: Send
) -> None:
    batch = make.released_paste(crew)
    answer = send(*with_kept(temperature(crew, batch)))
    assert answer["outcome"] == "discrepancy"
    assert "its record is closed and signed" in Discrepancy.objects.get().refused
    assert make.fresh(batch).status == "on_hold"


@pytest.mark.parametrize("end", ["abandoned", "finished"])
def test_an_entry_for_a_batch_that_was_closed_meanwhile_is_kept(
    crew: make.Crew, batch: Batch, send: Send, end: str
) -> None:
    lot = Charge.objects.get(batch=batch, line__material__name="sunflower oil").source
    if end == "abandoned":
        cooking.abandon(by=crew.maker, batch=batch, reason="burnt")
    else:
        make.complete(crew, batch)
    answer = send(*with_kept(taking(crew, batch, lot)))
    assert answer["outcome"] == "discrepancy"
    assert Discrepancy.objects.get().short_mg == 0  # the lot has enough, by the book
    assert discrepancies.beyond_the_book() == {lot.pk: 40_000}


def test_a_slip_of_the_finger_is_kept_as_it_was_typed(
    crew: make.Crew, batch: Batch, send: Send
) -> None:
    answer = send(*with_kept(temperature(crew, batch, value="warm", clarity="\0x")))
    assert answer["outcome"] == "discrepancy"
    row = Discrepancy.objects.get()
    assert row.sent["fields"]["value"] == "warm"
    assert row.sent["fields"]["clarity"] == "x"
    # The sentence alone: what it is about stands above it.
    assert row.refused.startswith("“warm” is not one number.")


def test_what_is_far_too_long_or_too_much_is_kept_as_far_as_it_goes(
    crew: make.Crew, batch: Batch, send: Send
) -> None:
    many = {f"field_{number}": "x" for number in range(100)}
    address, fields = temperature(crew, batch, value="9" * 5000 + "x", **many)
    address += "?about=" + "x" * 5000
    assert send(*with_kept((address, fields)))["outcome"] == "discrepancy"
    row = Discrepancy.objects.get()
    kept_value = row.sent["fields"]["value"]
    assert kept_value == "9" * 4000 + " … cut at 4000 characters"
    assert len(row.sent["fields"]) == 60
    # A hundred and value and instrument were sent.
    assert ["Further fields", "42, not kept"] in row.sent["shown"]
    assert len(json.dumps(row.sent)) < 16_000
    assert len(row.refused) < 4100


def test_a_ticked_field_keeps_no_more_values_than_a_page_could_have_asked_for(
    crew: make.Crew, batch: Batch, send: Send
) -> None:
    send(*with_kept(temperature(crew, batch, value="warm", clarity=["x"] * 200)))
    assert Discrepancy.objects.get().sent["fields"]["clarity"] == ["x"] * 60


def test_no_password_and_no_token_is_kept_with_what_did_not_fit(
    crew: make.Crew, batch: Batch, send: Send
) -> None:
    secret = {"password": "horse", "new_password": "staple", "seen": "1"}
    send(*with_kept(temperature(crew, batch, value="warm", **secret)))
    row = Discrepancy.objects.get()
    assert set(row.sent["fields"]) == {"value", "instrument"}
    for word in ("horse", "staple"):
        assert word not in json.dumps(row.sent) + row.refused
        assert word not in JournalEntry.objects.latest("sequence").after


def test_the_second_half_of_a_weighing_that_the_lot_cannot_cover_is_short_of_the_net(
    crew: make.Crew, batch: Batch, send: Send
) -> None:
    lot = Charge.objects.get(batch=batch, line__material__name="sunflower oil").source
    start = half_weighings.begin(
        by=crew.maker,
        batch=batch,
        line=make.line_of(batch, "sunflower oil"),
        source=lot,
        scale=make.scale(crew.maker),
        first_mg=350_000,
    )
    emptied(crew, batch)
    address = reverse("batches:start_finish", args=[batch.number, start.pk])
    fields = {"submission": str(uuid.uuid4()), "other_mg": "390", "unusual": "the rest"}
    assert send(address, {**fields, **kept()})["outcome"] == "discrepancy"
    row = Discrepancy.objects.get()
    assert (row.stock_id, row.short_mg) == (lot.pk, 40_000)


def test_a_tare_that_comes_too_late_took_nothing_from_its_lot(
    crew: make.Crew, batch: Batch, send: Send
) -> None:
    line = make.line_of(batch, "sunflower oil")
    lot = Charge.objects.get(batch=batch, line=line).source
    fields = taking(crew, batch, lot)[1]
    make.complete(crew, batch)
    begin = reverse("batches:charge_begin", args=[batch.number, line.position])
    assert send(begin, {**fields, **kept()})["outcome"] == "discrepancy"
    assert Discrepancy.objects.get().stock is None


@pytest.mark.parametrize("source", ["", "nobody", "999999", "9" * 40, "-1"])
def test_a_lot_that_is_none_is_kept_without_one(
    crew: make.Crew, batch: Batch, send: Send, source: str
) -> None:
    lot = emptied(crew, batch)
    answer = send(*with_kept(taking(crew, batch, lot, source=source)))
    assert answer["outcome"] == "discrepancy"
    assert Discrepancy.objects.get().stock is None


def test_what_is_sent_at_once_and_refused_is_no_discrepancy(
    crew: make.Crew, batch: Batch, send: Send
) -> None:
    address, fields = temperature(crew, batch, value="warm")
    before = row_counts()
    answer = send(address, fields)
    assert answer["outcome"] == "refused"
    assert "Temperature" in answer["words"]
    assert row_counts() == before


def test_what_is_sent_at_once_says_on_the_next_page_that_it_is_recorded(
    crew: make.Crew, batch: Batch, send: Send, browser: Client
) -> None:
    answer = send(*temperature(crew, batch))
    assert answer["outcome"] == "recorded"
    assert "The reading is recorded." in page_of(browser.get(answer["go"])).words


def test_without_an_id_nothing_is_recorded_and_nothing_forgotten(
    crew: make.Crew, batch: Batch, send: Send
) -> None:
    make.thermometer(crew.maker)
    before = row_counts()
    for submission in ("", "no id"):
        address, fields = temperature(crew, batch, submission=submission)
        assert send(address, {**fields, **kept()})["outcome"] == "refused"
    assert row_counts() == before


def test_whoever_lost_the_right_is_told_and_the_entry_stays_with_the_device(
    crew: make.Crew, batch: Batch, send: Send, owner: User
) -> None:
    address, fields = temperature(crew, batch)
    people.change_rights(
        by=owner, user=crew.maker, rights=[Right.AUDITOR], reason="on leave"
    )
    before = row_counts()
    answer = send(address, {**fields, **kept()})
    assert answer["outcome"] == "refused-because-of-rights"
    assert row_counts() == before


def test_what_the_tables_refuse_is_kept_too(
    crew: make.Crew, batch: Batch, send: Send, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(**_: Any) -> None:
        raise IntegrityError("CHECK constraint failed: something_new")

    monkeypatch.setattr(cooking, "record_reading", refuse)
    assert send(*with_kept(temperature(crew, batch)))["outcome"] == "discrepancy"
    assert "something_new" in Discrepancy.objects.get().refused


def test_a_page_without_a_place_for_it_refuses_and_says_so(
    crew: make.Crew, send: Send
) -> None:
    lot = make.held_lot(crew, make.sunflower(crew.maker))
    before = row_counts()
    answer = send(
        reverse("producer:lot_count", args=[lot.code]),
        {"submission": str(uuid.uuid4()), "counted_mg": "x", "reason": "", **kept()},
    )
    assert answer["outcome"] == "refused"
    assert row_counts() == before


def test_a_device_is_told_whose_session_it_is(browser: Client, crew: make.Crew) -> None:
    found = json.loads(browser.get(reverse("producer:kept")).content)
    assert found["user"] == str(crew.maker.pk)
    strict = Client(enforce_csrf_checks=True)
    strict.force_login(crew.maker)
    token = json.loads(strict.get(reverse("producer:kept")).content)["token"]
    address = reverse("producer:sign_out")
    assert strict.post(address).status_code == 403  # control
    assert strict.post(address, {"csrfmiddlewaretoken": token}).status_code == 302
    away = strict.get(reverse("producer:kept"))
    assert away.status_code == 302
    assert away.headers["Location"].startswith(reverse("producer:sign_in"))
