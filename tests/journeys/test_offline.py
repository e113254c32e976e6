"""The network is cut while somebody weighs: in a real browser, with the real server."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import Browser, Route, expect
from pytest_django import Settings
from pytest_django.live_server_helper import LiveServer

from batches.models import Batch, Charge, Discrepancy, Reading
from producer.models import JournalEntry, RawLot, Stock, User
from producer.services import stock as ledger
from tests import make
from tests.journeys.hands import PHONE, House, Screen

pytestmark = pytest.mark.browser
BAR = "#kept"
TRIES = 160  # four times a second, longer than the page waits between two tries
KEYS = """() => Object.keys(localStorage).filter((key) => /kept/.test(key)).length"""
COUNT_OPENED = """() => {
  window.opened = 0;
  document.addEventListener("click", (event) => {
    window.opened += 1;
    event.preventDefault();
  });
}"""
# What a browser itself says about a request that was cut or refused.
CUT = re.compile(r"net::ERR_|Failed to load resource")


@pytest.fixture
def house(
    browser: Browser, live_server: LiveServer, settings: Settings
) -> Iterator[House]:
    """Return the premises, whose network may fail; pages may say nothing else."""
    settings.PUBLIC_URL = live_server.url
    opened = House(browser, live_server.url)
    yield opened
    opened.close()
    assert [said for said in opened.console if not CUT.search(said)] == []


@pytest.fixture
def batch(crew: make.Crew) -> Batch:
    """Return a batch with its sunflower oil in the pot, and something to read with."""
    batch = make.open_batch(crew)
    lot = make.released_lot(crew, make.sunflower(crew.maker))
    make.charge(crew, batch, lot.stock, 800_000)
    make.released_lot(crew, make.coconut(crew.maker))
    make.thermometer(crew.maker)
    return make.fresh(batch)


def at_the_pot(house: House, user: User, batch: Batch, page: str) -> Screen:
    screen = house.person(user, viewport=PHONE)
    screen.open(f"/batches/{batch.number}/{page}/")
    return screen


def cut(screen: Screen, *, off: bool = True) -> None:
    """Cut the network of a phone, or bring it back."""
    screen.page.context.set_offline(off)


def read(screen: Screen, value: str) -> None:
    screen.enter({"Temperature (°C)": value})
    screen.press("Record")


def kept(screen: Screen, count: int) -> None:
    """Wait until the page says that so many entries are on this device."""
    words = "1 entry" if count == 1 else f"{count} entries"
    expect(screen.page.locator(BAR)).to_contain_text(
        f"Kept on this device, not sent: {words}."
    )
    assert screen.page.evaluate(KEYS) == count


def on_device(screen: Screen, count: int) -> None:
    """Wait until this device keeps so many entries; the policy forbids asking in JS."""
    for _ in range(TRIES):
        if screen.page.evaluate(KEYS) == count:
            return
        screen.page.wait_for_timeout(250)
    raise AssertionError(f"{screen.page.evaluate(KEYS)} entries are on the device.")


def all_sent(screen: Screen) -> None:
    """Wait until nothing is left on this device."""
    on_device(screen, 0)
    expect(screen.page.locator(BAR, has_text="not sent")).to_have_count(0)


def test_entries_made_without_network_are_kept_and_arrive_in_order_with_both_times(
    house: House, crew: make.Crew, batch: Batch
) -> None:
    screen = at_the_pot(house, crew.maker, batch, "read/temperature")
    cut(screen)
    for count, value in enumerate(("70,5", "71", "72.5"), start=1):
        read(screen, value)
        kept(screen, count)
        expect(screen.field("Temperature (°C)")).to_have_value("")  # for the next one
    expect(screen.page.locator(f"{BAR} li").first).to_contain_text("70,5")
    screen.sees("Figures on this page do not know them yet.", within=BAR)
    assert not Reading.objects.exists()

    cut(screen, off=False)
    all_sent(screen)
    screen.sees("Sent and recorded: 3 entries.", within=BAR)
    rows = list(Reading.objects.order_by("pk"))
    assert [str(row.value.normalize()) for row in rows if row.value] == [
        "70.5",
        "71",
        "72.5",
    ]
    assert all(row.observed_at < row.entered_at for row in rows)
    assert rows[0].observed_at < rows[1].observed_at < rows[2].observed_at
    assert all(rows[2].observed_at < row.entered_at for row in rows)
    told = JournalEntry.objects.latest("sequence").after_values
    assert "kept_on_device_since" in told


def test_a_charge_kept_says_what_it_was_and_arrives_once(
    house: House, crew: make.Crew, batch: Batch
) -> None:
    line = make.line_of(batch, "coconut oil")
    screen = at_the_pot(house, crew.maker, batch, f"charge/{line.position}")
    cut(screen)
    screen.enter({"Gross": "550", "Tare": "350"})
    screen.page.get_by_role("button", name="Record this charge").dblclick()
    kept(screen, 1)
    screen.sees("200 g of coconut oil: ", within=BAR)
    screen.sees("Gross 550, Tare 350", within=BAR)
    cut(screen, off=False)
    all_sent(screen)
    assert Charge.objects.get(batch=batch, line=line).net_mg == 200_000


def test_the_second_tap_of_two_opens_no_link_that_slid_under_the_finger(
    house: House, crew: make.Crew, batch: Batch
) -> None:
    line = make.line_of(batch, "coconut oil")
    screen = at_the_pot(house, crew.maker, batch, f"charge/{line.position}")
    page = screen.page
    page.evaluate("performance.now = () => 1000")  # no time passes
    cut(screen)
    screen.enter({"Gross": "550", "Tare": "350"})
    screen.press("Record this charge")
    kept(screen, 1)
    link = page.locator(f"main a[href='/batches/{batch.number}/']").first
    page.evaluate(COUNT_OPENED)

    def tap(count: int) -> int:
        link.dispatch_event("click", {"detail": count})
        found: int = page.evaluate("window.opened")
        return found

    assert tap(2) == 0
    assert tap(1) == 1  # who taps once means it
    page.evaluate("performance.now = () => 9000")
    assert tap(2) == 2  # and who taps later, too


def test_scenario_02_one_phone_offline_takes_40_g_of_a_lot_another_empties(
    house: House, crew: make.Crew, batch: Batch
) -> None:
    line = make.line_of(batch, "coconut oil")
    phone = at_the_pot(house, crew.maker, batch, f"charge/{line.position}")
    office = house.person(crew.maker)
    cut(phone)
    phone.enter(
        {
            "Gross": "390",
            "Tare": "350",
            "If this is an unusual amount, why": "the last of it",
        }
    )
    phone.press("Record this charge")
    kept(phone, 1)

    lot = RawLot.objects.get(material__name="coconut oil")
    office.open(f"/lots/{lot.code}/dispose/")
    office.enter({"Disposed of": "5 kg", "Why": "it went rancid"})
    office.page.locator("main form.act button[type=submit]").click()
    office.page.wait_for_url(re.compile(f"/lots/{lot.code}/$"))
    assert Stock.objects.get(pk=lot.pk).on_hand_mg == 0

    cut(phone, off=False)
    all_sent(phone)
    phone.sees(f"Kept as a discrepancy: 40 g of {lot.code}", within=BAR)
    row = Discrepancy.objects.get()
    assert (row.stock_id, row.short_mg, row.batch_id) == (lot.pk, 40_000, batch.pk)
    assert row.observed_at < row.entered_at
    office.open(f"/lots/{lot.code}/")
    office.sees("−40 g")
    phone.open(f"/batches/{batch.number}/")
    phone.sees(f"Open: 40 g of {lot.code} into {batch.number}")
    phone.open(f"/batches/{batch.number}/finish/")
    phone.page.locator("main form.act button[type=submit]").click()
    phone.sees("does not fit the book")
    assert make.fresh(batch).status == "in_process"


def test_signed_out_meanwhile_the_entries_wait_for_the_same_person(
    house: House, crew: make.Crew, batch: Batch
) -> None:
    screen = at_the_pot(house, crew.maker, batch, "read/temperature")
    cut(screen)
    read(screen, "70")
    kept(screen, 1)
    read(screen, "71")
    kept(screen, 2)
    context = screen.page.context
    context.clear_cookies()
    cut(screen, off=False)
    screen.sees("Sign in again; 2 entries wait.", within=BAR)
    assert not Reading.objects.exists()

    # Somebody else signs in on the same phone: theirs is not ours to send.
    screen.sign_in(crew.reviewer.username, make.PASSWORD)
    screen.sees("2 entries of another account kept here (Mirja Aalto)", within=BAR)
    assert screen.page.evaluate(KEYS) == 2
    assert not Reading.objects.exists()

    context.clear_cookies()
    screen.open("/sign-in/")
    screen.sees("Kept on this device, not sent: 2 entries", within=BAR)
    screen.sign_in(crew.maker.username, make.PASSWORD)
    all_sent(screen)
    assert [row.entered_by for row in Reading.objects.all()] == [crew.maker] * 2


def test_a_page_that_was_closed_sends_what_it_kept_when_any_page_is_opened(
    house: House, crew: make.Crew, batch: Batch
) -> None:
    screen = at_the_pot(house, crew.maker, batch, "read/temperature")
    cut(screen)
    read(screen, "70")
    kept(screen, 1)
    context = screen.page.context
    screen.page.close()
    context.set_offline(False)
    again = Screen(context.new_page())
    again.open("/")
    all_sent(again)
    assert Reading.objects.get().batch == batch


def test_an_answer_that_is_not_ours_forgets_nothing(
    house: House, crew: make.Crew, batch: Batch
) -> None:
    screen = at_the_pot(house, crew.maker, batch, "read/temperature")
    answers = iter(
        [
            {"status": 500, "body": "out of order"},
            {"status": 200, "content_type": "text/html", "body": "<p>Wi-Fi: agree</p>"},
            {
                "status": 200,
                "content_type": "application/json",
                "body": json.dumps({"submission": "another", "outcome": "recorded"}),
            },
        ]
    )
    seen: list[str] = []

    def answer(route: Route) -> None:
        if route.request.method != "POST":
            route.continue_()
            return
        given: dict[str, Any] | None = next(answers, None)
        seen.append("ours" if given is None else "another's")
        if given is None:
            route.continue_()
        else:
            route.fulfill(**given)

    screen.page.route(re.compile("/read/temperature/$"), answer)
    read(screen, "70")
    for refused in range(1, 4):
        kept(screen, 1)
        assert not Reading.objects.exists()
        if refused > 1:
            screen.page.evaluate("dispatchEvent(new Event('online'))")
        screen.page.wait_for_timeout(500)
    screen.page.evaluate("dispatchEvent(new Event('online'))")
    all_sent(screen)
    assert seen == ["another's"] * 3 + ["ours"]
    assert Reading.objects.count() == 1


@pytest.mark.parametrize(
    ("status", "tries"),
    [
        pytest.param(500, 3, id="it-stumbles-three-times"),
        pytest.param(413, 1, id="it-is-too-large"),
    ],
)
def test_an_entry_that_the_server_cannot_take_does_not_keep_back_the_others(
    house: House, crew: make.Crew, batch: Batch, status: int, tries: int
) -> None:
    screen = at_the_pot(house, crew.maker, batch, "read/temperature")
    cut(screen)
    for count, value in enumerate(("70", "71"), start=1):
        read(screen, value)
        kept(screen, count)
    refused: list[str] = []

    def answer(route: Route) -> None:
        if "value=70" in (route.request.post_data or ""):
            refused.append(route.request.url)
            route.fulfill(status=status, body="out of order")
        else:
            route.continue_()

    screen.page.route(re.compile("/read/temperature/$"), answer)
    cut(screen, off=False)
    for tried in range(1, tries + 1):
        on_screen = screen.page.locator(BAR)
        if tried > 1:
            assert not Reading.objects.exists()  # what comes after it waits for it
            screen.page.evaluate("dispatchEvent(new Event('online'))")
        for _ in range(TRIES):
            if len(refused) >= tried:
                break
            screen.page.wait_for_timeout(250)
        screen.page.wait_for_timeout(300)
    on_device(screen, 1)
    expect(on_screen).to_contain_text("The server cannot take it. Show it to somebody.")
    assert [str(row.value)[:2] for row in Reading.objects.all()] == ["71"]


def test_an_answer_that_was_lost_on_the_way_records_nothing_twice(
    house: House, crew: make.Crew, batch: Batch
) -> None:
    screen = at_the_pot(house, crew.maker, batch, "read/temperature")
    lost: list[int] = []

    def lose(route: Route) -> None:
        if route.request.method == "POST" and not lost:
            lost.append(route.fetch().status)  # it arrives
            route.abort()  # and nobody hears of it
        else:
            route.continue_()

    screen.page.route(re.compile("/read/temperature/$"), lose)
    read(screen, "70")
    all_sent(screen)
    assert lost == [200]
    assert Reading.objects.count() == 1


def test_a_device_without_room_says_so_before_the_figure_is_lost(
    house: House, crew: make.Crew, batch: Batch
) -> None:
    screen = at_the_pot(house, crew.maker, batch, "read/temperature")
    screen.page.evaluate(
        "() => { Storage.prototype.setItem = () => { throw new Error('full'); }; }"
    )
    cut(screen)
    read(screen, "70")
    screen.sees("Not recorded and not kept.")
    expect(screen.page.locator("form.act .alarm")).to_be_in_viewport()
    expect(screen.field("Temperature (°C)")).to_have_value("70")
    cut(screen, off=False)
    screen.press("Record", says="The reading is recorded.")
    assert Reading.objects.count() == 1


def test_two_tabs_send_an_entry_once(
    house: House, crew: make.Crew, batch: Batch
) -> None:
    screen = at_the_pot(house, crew.maker, batch, "read/temperature")
    other = Screen(screen.page.context.new_page())
    other.open("/")
    cut(screen)
    for count, value in enumerate(("70", "71", "72"), start=1):
        read(screen, value)
        kept(screen, count)
    kept(other, 3)  # the other tab says so too
    cut(screen, off=False)
    all_sent(screen)
    all_sent(other)
    values = [str(row.value) for row in Reading.objects.order_by("pk")]
    assert [value[:2] for value in values] == ["70", "71", "72"]


def test_what_is_refused_at_once_is_shown_beside_its_field_and_not_kept(
    house: House, crew: make.Crew, batch: Batch
) -> None:
    screen = at_the_pot(house, crew.maker, batch, "read/temperature")
    read(screen, "warm")
    screen.sees("Not recorded yet")
    expect(screen.field("Temperature (°C)")).to_have_value("warm")
    assert screen.page.evaluate(KEYS) == 0
    read(screen, "70")
    screen.sees("The reading is recorded.", within=".messages")


def test_power_fails_in_the_midst_of_sending_and_the_entry_is_there_afterwards(
    house: House, crew: make.Crew, batch: Batch
) -> None:
    screen = at_the_pot(house, crew.maker, batch, "read/temperature")
    screen.page.route(re.compile("/read/temperature/$"), lambda route: None)
    screen.enter({"Temperature (°C)": "70"})
    screen.page.get_by_role("button", name="Record", exact=True).click()
    on_device(screen, 1)
    context = screen.page.context
    screen.page.close()  # before any answer
    again = Screen(context.new_page())
    again.open("/")
    all_sent(again)
    assert Reading.objects.count() == 1


def test_a_counted_lot_lets_the_discrepancy_be_entered(
    house: House, crew: make.Crew, batch: Batch
) -> None:
    line = make.line_of(batch, "coconut oil")
    phone = at_the_pot(house, crew.maker, batch, f"charge/{line.position}")
    lot = RawLot.objects.get(material__name="coconut oil")
    cut(phone)
    phone.enter({"Gross": "550", "Tare": "350"})
    phone.press("Record this charge")
    kept(phone, 1)
    ledger.adjust(by=crew.maker, lot=lot, counted_mg=10_000, reason="weighed the can")
    cut(phone, off=False)
    all_sent(phone)
    row = Discrepancy.objects.get()
    assert row.short_mg == 190_000
    ledger.adjust(by=crew.maker, lot=lot, counted_mg=300_000, reason="there was more")
    phone.open(f"/batches/{batch.number}/discrepancies/{row.pk}/")
    phone.follow("Enter it now")
    expect(phone.field("Gross")).to_have_value("550")
    phone.press("Record this charge", says="The charge is recorded.")
    charge = Charge.objects.get(batch=batch, line=line)
    assert (charge.net_mg, charge.observed_at) == (200_000, row.observed_at)
    row.refresh_from_db()
    assert row.end.outcome == "entered"
