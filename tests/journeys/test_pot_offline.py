"""The pot screen without network: alarm, kept lines, what cannot be kept, and back."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Locator, expect
from pytest_django import Settings
from pytest_django.live_server_helper import LiveServer

from batches.models import Batch, Charge, Reading
from batches.services import planning
from tests import make
from tests.journeys.hands import PHONE, House, Screen

pytestmark = pytest.mark.browser
# What a browser itself says about a request that was cut.
CUT = re.compile(r"net::ERR_|Failed to load resource")
KEYS = """() => [...Object.keys(localStorage), ...Object.keys(sessionStorage)]"""
SEEN = ".pot-step:not([hidden])"


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
    """Return a cook with its lots chosen and its first oil in the pot."""
    batch = make.open_batch(crew)
    lines = batch.formula_version.lines.select_related("material", "source_formula")
    planning.choose_lots(
        by=crew.maker,
        batch=batch,
        choices={line.pk: make.stock_of(crew, line) for line in lines},
    )
    make.thermometer(crew.maker)
    line = make.line_of(batch, "sunflower oil")
    make.charge(crew, batch, make.stock_of(crew, line), 800_000)
    return make.fresh(batch)


def put_in(crew: make.Crew, batch: Batch) -> Batch:
    """Weigh in what is left of the plan."""
    for planned in planning.plan_of(batch).lines:
        if not planned.charged_mg:
            line = planned.line
            (now,) = [
                one
                for one in planning.plan_of(make.fresh(batch)).lines
                if one.line == line
            ]
            assert now.source is not None
            make.charge(crew, make.fresh(batch), now.source, now.target_mg or 0)
    return make.fresh(batch)


def at_the_pot(house: House, crew: make.Crew, batch: Batch) -> Screen:
    screen = house.person(crew.maker, viewport=PHONE)
    screen.open(f"/batches/{batch.number}/pot/")
    return screen


def cut(screen: Screen, *, off: bool = True) -> None:
    screen.page.context.set_offline(off)


def step(screen: Screen, slug: str) -> Locator:
    return screen.page.locator(f'[data-step="{slug}"]')


def read(screen: Screen, celsius: str) -> None:
    form = step(screen, "temperature")
    form.locator("[name=value]").fill(celsius)
    form.get_by_role("button", name="Record").click()


def test_a_kept_temperature_above_the_limit_raises_the_alarm_on_the_device(
    house: House, crew: make.Crew, batch: Batch
) -> None:
    screen = at_the_pot(house, crew, put_in(crew, batch))
    alarm = screen.page.locator(".pot-alarm")
    cut(screen)
    read(screen, "70")
    expect(step(screen, "temperature")).to_contain_text("Kept: Temperature (°C) 70,")
    expect(alarm).to_have_count(0)  # the limit itself is allowed
    read(screen, "74,5")
    expect(alarm).to_contain_text("TOO HOT 74,5 °C, limit 70 °C")
    expect(alarm).to_contain_text("Off the heat.")
    expect(alarm).to_be_in_viewport()
    read(screen, "66")
    expect(alarm).to_have_count(0)
    assert not Reading.objects.exists()
    cut(screen, off=False)
    expect(screen.page.locator(".note.done")).to_contain_text(
        "Sent and recorded: 3 entries.", timeout=40_000
    )
    assert Reading.objects.count() == 3


def test_the_time_without_a_reading_counts_from_the_kept_one(
    house: House, crew: make.Crew, batch: Batch
) -> None:
    screen = at_the_pot(house, crew, put_in(crew, batch))
    mind = screen.page.locator("[data-overdue]")
    mind.evaluate(
        "one => { one.dataset.from = new Date(Date.now() - 16 * 60000).toISOString();"
        " document.dispatchEvent(new Event('entries-asked')); }"
    )
    expect(mind).to_be_visible()
    cut(screen)
    read(screen, "66")
    expect(mind).to_be_hidden()


def test_nothing_is_overdue_on_the_device_before_anything_cooks(
    house: House, crew: make.Crew, batch: Batch
) -> None:
    screen = at_the_pot(house, crew, batch)
    mind = screen.page.locator("[data-overdue]")
    assert mind.get_attribute("data-from") is None
    mind.evaluate("() => document.dispatchEvent(new Event('entries-asked'))")
    expect(mind).to_be_hidden()


def test_what_was_kept_is_told_in_its_step_and_not_asked_for_again(
    house: House, crew: make.Crew, batch: Batch
) -> None:
    screen = at_the_pot(house, crew, batch)
    own = step(screen, "charge-2")
    cut(screen)
    own.locator("[name=gross_mg]").fill("550")
    own.get_by_role("button", name="Record").click()
    line = own.locator(".pot-kept")
    expect(line).to_contain_text(
        re.compile(r"Kept: 200 g of coconut oil, .*; sent when the network is back\.")
    )
    expect(own.locator("form")).to_be_hidden()
    expect(own.locator(".pot-target")).to_be_hidden()
    bar = screen.page.locator("#kept")
    screen.page.mouse.wheel(0, 4000)
    expect(bar).to_be_in_viewport()  # wherever the page was scrolled to

    own.get_by_role("button", name="Weigh in more of it").click()
    expect(own.locator("form")).to_be_visible()
    expect(own).to_contain_text("What you enter now counts besides.")
    screen.page.locator("[data-step-to=charge-2]").click()
    assert Charge.objects.filter(batch=batch).count() == 1

    cut(screen, off=False)
    expect(screen.page.locator(SEEN)).to_contain_text("distilled water", timeout=40_000)
    expect(screen.page.locator(".pot-last")).to_contain_text("coconut oil 200 g")
    assert Charge.objects.filter(batch=batch).count() == 2


def test_the_next_step_is_one_tap_from_what_was_kept(
    house: House, crew: make.Crew, batch: Batch
) -> None:
    screen = at_the_pot(house, crew, batch)
    cut(screen)
    own = step(screen, "charge-2")
    own.locator("[name=gross_mg]").fill("550")
    own.get_by_role("button", name="Record").click()
    own.get_by_role("button", name="Next: Distilled water").click()
    expect(screen.page.locator(SEEN).locator("h2").first).to_have_text(
        "distilled water"
    )


def test_what_is_typed_is_not_lost_when_the_network_comes_back(
    house: House, crew: make.Crew, batch: Batch
) -> None:
    screen = at_the_pot(house, crew, put_in(crew, batch))
    cut(screen)
    read(screen, "66")
    expect(step(screen, "temperature").locator(".pot-kept")).to_be_visible()
    field = step(screen, "temperature").locator("[name=value]")
    field.fill("6")
    cut(screen, off=False)
    screen.sees("Sent and recorded: 1 entry.", within="#kept")
    screen.page.wait_for_timeout(1000)
    expect(field).to_have_value("6")


@pytest.mark.parametrize("how", ["cut", "silent"])
def test_undo_and_links_without_network_leave_the_pot_where_it_is(
    house: House, crew: make.Crew, batch: Batch, how: str
) -> None:
    screen = at_the_pot(house, crew, batch)
    if how == "cut":
        cut(screen)
    else:  # the Wi-Fi is there, and the server is not
        screen.page.route("**/*", lambda route: route.abort())
    pot = screen.page.url
    screen.page.get_by_role("button", name="Undo").click()
    screen.sees("No network: undo later.", within="[data-no-network]")
    screen.page.get_by_role("link", name="Record", exact=True).click()
    screen.sees("open “Record” later", within="[data-no-network]")
    assert screen.page.url == pot
    expect(step(screen, "charge-2")).to_be_visible()
    cut(screen, off=False)
    screen.page.unroute_all()
    screen.page.get_by_role("button", name="Undo").click()
    screen.sees("Undone: charge of", within=".messages")


def test_signed_out_only_what_was_kept_stays_on_the_device(
    house: House, crew: make.Crew, batch: Batch
) -> None:
    screen = at_the_pot(house, crew, put_in(crew, batch))
    cut(screen)
    read(screen, "74")
    expect(screen.page.locator(".pot-alarm")).to_be_visible()
    screen.page.context.clear_cookies()
    cut(screen, off=False)
    screen.sees("Sign in again; 1 entry wait.", within="#kept")
    keys = screen.page.evaluate(KEYS)
    own = [key for key in keys if key != "kettlebook.lock"]  # whose turn it is, no more
    assert [key[:16] for key in own] == ["kettlebook.kept."]
    screen.sign_in(crew.maker.username, make.PASSWORD)
    expect(screen.page.locator("#kept", has_text="not sent")).to_have_count(0)
    assert Reading.objects.get().value == 74
