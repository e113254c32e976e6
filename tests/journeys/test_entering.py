"""Typing, tapping twice, going back, and doing it all without a mouse."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Any

import pytest
from playwright.sync_api import expect

from batches.models import Batch, Reading
from producer.models import RawLot, User
from tests import make
from tests.journeys.hands import PHONE, House, Screen

pytestmark = pytest.mark.browser
MOST_TABS = 60


def test_ambiguous_number_is_asked_about(house: House, maker: User) -> None:
    make.sunflower(maker)
    make.supplier(maker)
    screen = house.person(maker, viewport=PHONE)
    screen.open("/lots/receive/")
    screen.enter(
        {
            "Material": "sunflower oil",
            "Supplier": "Fenwick Lye and Oil",
            "Supplier's lot": "F-12",
            "Quantity": "1,250",
            "Received on": make.TODAY.isoformat(),
        }
    )
    screen.press("Receive this lot")
    screen.sees("“1,250” can mean 1.25 kg or 1250 kg.")
    assert not RawLot.objects.exists()
    expect(screen.field("Supplier's lot")).to_have_value("F-12")
    expect(screen.page.locator(".summary")).to_be_focused()

    screen.page.get_by_role("button", name="I mean 1.25 kg", exact=True).click()
    expect(screen.field("Quantity")).to_have_value("1.25 kg")
    screen.press("Receive this lot", says="is booked in.")
    assert RawLot.objects.get().stock.on_hand_mg == 1_250_000


@pytest.mark.parametrize(
    "options",
    [{}, {"java_script_enabled": False}],
    ids=["with JavaScript", "without JavaScript"],
)
def test_double_tap_records_once(
    house: House, crew: make.Crew, options: dict[str, Any]
) -> None:
    screen = house.person(crew.maker, **options)
    batch = open_reading(screen, crew)
    screen.page.get_by_role("button", name="Record", exact=True).dblclick()
    screen.sees("The reading is recorded.", within=".messages")
    check_read_once(batch)

    # The page as it was left, where the browser kept it, else a new and empty one.
    screen.page.go_back(wait_until="commit")
    expect(screen.page).to_have_url(re.compile("/temperature/$"))
    screen.press("Record")
    screen.sees(re.compile("This was recorded already|Not recorded yet"))
    check_read_once(batch)


def test_two_taps_that_arrive_together_record_once(
    house: House, crew: make.Crew
) -> None:
    screen = house.person(crew.maker)
    batch = open_reading(screen, crew)
    answers = screen.page.evaluate(SEND_TWICE)
    assert answers == [200, 200]
    check_read_once(batch)
    screen.open(f"/batches/{batch.number}/read/temperature/")
    screen.enter({"Temperature (°C)": "66,5"})
    screen.press("Record", says="The reading is recorded.")
    assert Reading.objects.count() == 2  # nothing but the page's own mark kept it out


# The browser itself would drop the first request for the second; a bad line would not.
SEND_TWICE = """async () => {
    const form = document.querySelector("form.act");
    const send = () => fetch(location.href, {method: "POST", body: new FormData(form)});
    const answers = await Promise.all([send(), send()]);
    return answers.map((answer) => answer.status);
}"""


def open_reading(screen: Screen, crew: make.Crew) -> Batch:
    """Open the form for a temperature of a batch that is cooking, and fill it in."""
    batch = make.open_batch(crew)
    lot = make.released_lot(crew, make.sunflower(crew.maker))
    make.charge(crew, batch, lot.stock, 800_000)
    make.thermometer(crew.maker)
    screen.open(f"/batches/{batch.number}/read/temperature/")
    screen.enter({"Temperature (°C)": "66,5"})
    return batch


def check_read_once(batch: Batch) -> None:
    reading = Reading.objects.get()
    assert (reading.batch_id, reading.value) == (batch.pk, Decimal("66.5"))


def test_keyboard_alone(house: House, crew: make.Crew) -> None:
    lot = make.held_lot(crew, make.sunflower(crew.maker))
    screen = house.visitor()
    keys = screen.page.keyboard
    screen.open("/")
    tab_to(screen, "input[name=username]")
    keys.type(crew.maker.username)
    tab_to(screen, "input[name=password]")
    keys.type(make.PASSWORD)
    keys.press("Enter")
    expect(screen.page).to_have_title(re.compile("^Today"))

    keys.press("Tab")
    expect(screen.page.get_by_role("link", name="Skip to the page")).to_be_focused()
    expect(screen.page.get_by_role("link", name="Skip to the page")).to_be_in_viewport()
    keys.press("/")
    expect(screen.page.get_by_role("searchbox")).to_be_focused()
    keys.type("sunflower")
    keys.press("Enter")
    expect(screen.page).to_have_title(re.compile("^Find"))
    tab_to(screen, f"main a[href='/lots/{lot.code}/']")
    keys.press("Enter")
    screen.sees("On hand")
    assert screen.code == lot.code


def tab_to(screen: Screen, selector: str) -> None:
    """Press Tab until it is there; wherever the keyboard is, it must be seen."""
    for _ in range(MOST_TABS):
        focused = screen.page.locator("*:focus")
        if focused.count():
            outline = focused.evaluate("one => getComputedStyle(one).outlineStyle")
            assert outline != "none", focused.evaluate("one => one.outerHTML")
            if focused.evaluate("(one, wanted) => one.matches(wanted)", selector):
                return
        screen.page.keyboard.press("Tab")
    pytest.fail(f"The keyboard alone does not reach {selector}.")
