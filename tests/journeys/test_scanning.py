"""Codes that are scanned: by a handheld scanner, and by the camera of a phone."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import TimeoutError as PlaywrightTimeout
from playwright.sync_api import expect

from batches.models import Bottle
from producer.models import RawLot
from tests import make
from tests.journeys.hands import PHONE, House, Screen

pytestmark = pytest.mark.browser

# A browser that reads one code after a moment, and a camera that shows nothing.
READS = """
(() => {
  window.BarcodeDetector = class {
    async detect() { return [{ rawValue: %r }]; }
  };
  const canvas = document.createElement("canvas");
  const paint = canvas.getContext("2d");
  setInterval(() => paint.fillRect(0, 0, 9, 9), 50);
  window.tracks = [];
  navigator.mediaDevices.getUserMedia = async () => {
    const stream = canvas.captureStream(5);
    window.tracks = stream.getTracks();
    return stream;
  };
})();
"""
WITHOUT = "delete window.BarcodeDetector;"
REFUSED = """
window.BarcodeDetector = class {};
navigator.mediaDevices.getUserMedia = async () => {
  throw new DOMException("no", "NotAllowedError");
};
"""


def scan(screen: Screen, code: str, *, gap_ms: float = 0) -> None:
    """Type as a handheld scanner does: at once, and Enter behind it."""
    screen.page.keyboard.type(code, delay=gap_ms)
    screen.page.keyboard.press("Enter")


def scan_to(screen: Screen, code: str, address: str) -> None:
    """Scan until it is read, as people do; a busy machine may type with a gap."""
    for _ in range(4):
        scan(screen, code)
        try:
            screen.page.wait_for_url(f"**{address}", timeout=2_500)
        except PlaywrightTimeout:
            continue
        return
    expect(screen.page).to_have_url(re.compile(f"{re.escape(address)}$"))


def becomes(screen: Screen, script: str) -> None:
    """Wait until a script of ours says true; the page itself allows no evaluation."""
    for _ in range(50):
        if screen.page.evaluate(script):
            return
        screen.page.wait_for_timeout(100)
    raise AssertionError(script)


def lot(crew: make.Crew) -> RawLot:
    return make.held_lot(crew, make.sunflower(crew.maker))


def bottle(crew: make.Crew) -> Bottle:
    return make.bottles_of(make.filled(crew))[0]


def test_a_scan_finds_the_record_wherever_the_focus_is(
    house: House, crew: make.Crew
) -> None:
    found = lot(crew)
    screen = house.person(crew.maker)
    screen.open("/batches/")
    scan_to(screen, found.code, f"/lots/{found.code}/")
    # On a button, where Enter alone would press it.
    screen.open("/lots/receive/")
    screen.page.get_by_role("button", name="Receive this lot").focus()
    scan_to(screen, found.code.lower().replace("-", ""), f"/lots/{found.code}/")
    assert RawLot.objects.count() == 1


def test_the_address_on_a_bottle_of_another_host_is_scanned_whole(
    house: House, crew: make.Crew
) -> None:
    code = bottle(crew).code
    screen = house.person(crew.reviewer)
    screen.open("/journal/")
    scan_to(screen, f"https://soap.example/b/{code}/", f"/b/{code}/")


def test_a_container_is_scanned_in_spite_of_its_stroke(
    house: House, crew: make.Crew
) -> None:
    found = lot(crew)
    found.containers.create(number=2, filled_mg=5)
    screen = house.person(crew.maker)
    screen.open("/batches/")
    scan_to(screen, f"{found.code}/2", f"/lots/{found.code}/")


def test_what_is_scanned_into_a_text_field_stays_there(
    house: House, crew: make.Crew
) -> None:
    found = lot(crew)
    screen = house.person(crew.maker)
    screen.open("/lots/receive/")
    field = screen.field("Supplier's lot")
    field.focus()
    screen.page.keyboard.type(found.code)
    expect(field).to_have_value(found.code)
    expect(screen.page).to_have_url(re.compile("/lots/receive/$"))


def test_a_scan_in_passing_loses_nothing_that_was_typed(
    house: House, crew: make.Crew
) -> None:
    found = lot(crew)
    screen = house.person(crew.maker)
    screen.open("/lots/receive/")
    screen.enter({"Supplier's lot": "F-12"})
    screen.page.locator("h1").click()
    scan(screen, found.code)
    box = screen.page.get_by_role("searchbox")
    expect(box).to_be_focused()
    expect(box).to_have_value(found.code)
    expect(screen.field("Supplier's lot")).to_have_value("F-12")
    box.press("Enter")
    expect(screen.page).to_have_url(re.compile(f"/lots/{found.code}/$"))


def test_a_slow_hand_is_no_scanner_and_the_stroke_goes_to_the_search(
    house: House, crew: make.Crew
) -> None:
    found = lot(crew)
    screen = house.person(crew.maker)
    screen.open("/batches/")
    scan(screen, found.code, gap_ms=250)
    expect(screen.page).to_have_url(re.compile("/batches/$"))
    screen.page.keyboard.press("/")
    expect(screen.page.get_by_role("searchbox")).to_be_focused()
    screen.page.keyboard.type("sunflower")
    screen.page.keyboard.press("Enter")
    screen.sees("Raw lots")


def test_a_word_in_a_burst_is_no_code(house: House, crew: make.Crew) -> None:
    screen = house.person(crew.maker)
    screen.open("/batches/")
    scan(screen, "sunflower")
    expect(screen.page).to_have_url(re.compile("/batches/$"))


def test_the_camera_of_a_phone_finds_a_bottle_and_is_let_go(
    house: House, crew: make.Crew
) -> None:
    code = bottle(crew).code
    screen = house.person(crew.maker, viewport=PHONE)
    screen.page.add_init_script(READS % f"https://soap.example/b/{code}/")
    screen.open("/batches/")
    button = screen.page.get_by_role("button", name="Scan", exact=True)
    expect(button).to_be_visible()
    box = button.bounding_box()
    assert box is not None
    assert box["height"] >= 48
    assert box["x"] + box["width"] <= 360
    button.click()
    expect(screen.page).to_have_url(re.compile(f"/b/{code}/$"))


def test_the_camera_is_let_go_when_its_window_is_closed(
    house: House, crew: make.Crew
) -> None:
    screen = house.person(crew.maker)
    screen.page.add_init_script(READS % "")
    screen.page.add_init_script(
        "window.BarcodeDetector.prototype.detect = async () => [];"
    )
    screen.open("/batches/")
    screen.page.get_by_role("button", name="Scan", exact=True).click()
    becomes(screen, "window.tracks.length > 0")
    assert screen.page.evaluate("window.tracks[0].readyState") == "live"
    screen.page.get_by_role("button", name="Close the camera").click()
    becomes(screen, "window.tracks[0].readyState === 'ended'")
    expect(screen.page.locator("dialog")).to_have_count(0)


def test_without_a_reader_of_codes_there_is_no_button(
    house: House, crew: make.Crew
) -> None:
    screen = house.person(crew.maker)
    screen.page.add_init_script(WITHOUT)
    screen.open("/batches/")
    expect(screen.page.locator("[data-camera]")).to_be_hidden()


def test_a_camera_that_is_not_allowed_says_what_to_do(
    house: House, crew: make.Crew
) -> None:
    screen = house.person(crew.maker)
    screen.page.add_init_script(REFUSED)
    screen.open("/batches/")
    screen.page.get_by_role("button", name="Scan", exact=True).click()
    screen.sees("The camera was not allowed.", within="dialog")
