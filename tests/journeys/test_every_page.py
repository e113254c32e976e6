"""Every main page on a phone, in both colour schemes, and what it tells the console.

Outside check: 44 px is the target size of WCAG 2.2 (W3C Recommendation), success
criterion 2.5.5, written down from memory.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Literal, NamedTuple

import pytest
from playwright.sync_api import Page, ViewportSize

from producer.models import Material, Premises, User
from quality.services import recalling
from tests import items, lab, leaving, make, told
from tests.journeys.hands import DESKTOP, PHONE, House, Screen

pytestmark = pytest.mark.browser
SMALLEST_TARGET = 44
LARGER: tuple[ViewportSize, ...] = (
    {"width": 768, "height": 1024},
    {"width": 1024, "height": 768},
    DESKTOP,
)
SCHEMES: tuple[Literal["light", "dark"], ...] = ("light", "dark")
PUBLIC: dict[str, Any] = {"java_script_enabled": False, "viewport": PHONE}


class World(NamedTuple):
    """The addresses of a premises in the middle of its work, and who sees it all."""

    user: User
    pages: list[str]
    public: list[str]


@pytest.fixture
def world(owner: User, crew: make.Crew) -> World:
    """Return a premises with something in every state, long names included."""
    everything = make.account(
        by=owner, name="Sanna Berg", rights=["owner", "maker", "reviewer"]
    )
    Premises.objects.update(poison_centre="01632 960999 (invented, day and night)")
    long_name = "Westerly & Daughters, Household and Garden Sundries (upper market)"
    shop = make.consignee(crew.maker, name=long_name)
    paste = make.released_paste(crew)
    good = make.filled(crew, make.released_liquid(crew, paste=paste))
    potash = make.released_lot(crew, make.potash(crew.maker), supplier_lot="K-2")
    source = make.cooked_batch(crew, sources={"potash": potash.stock})
    source = make.signed(crew.reviewer, source, "release")
    liquid = make.released_liquid(crew, paste=source)
    bad = make.filled(crew, liquid, count=11, nominal_ul=100_000)
    leaving.sent(crew, make.bottles_of(bad)[:5], consignee=shop)
    recall = recalling.open_recall(
        by=crew.reviewer,
        root=potash.stock,
        hazard_class="1",
        reason="called back by the supplier",
        public_notice="Do not use it. Keep it closed; we take it back.",
    )
    items.with_prefix(owner)
    items.given(crew, liquid.formula_version.formula)
    held = make.held_lot(crew, make.coconut(crew.maker))
    waiting = make.cooked_batch(crew, ph="11")
    running = make.open_batch(crew)
    lot = make.released_lot(crew, make.sunflower(crew.maker))
    make.charge(crew, running, lot.stock, 800_000)
    make.thermometer(crew.maker)
    meter = make.meter(crew.maker)
    acid = make.registered(
        crew.maker,
        Material(
            name="citric acid, a name as long as suppliers like it",
            kind="addition",
            acid="citric_monohydrate",
        ),
    )
    acid_lot = make.released_lot(crew, acid)
    sharp = make.open_batch(crew)
    make.charge_all(crew, sharp)
    lab.free_alkali(crew, sharp, "8.1", "8.0", "9.6")
    lab.container(crew, potash, gain_mg=40_000)
    version = running.formula_version
    hurt = told.about(
        crew, make.bottles_of(bad)[0], who="", consignee=shop, was_hurt=True
    )
    audit = told.inspected(crew.reviewer)
    public = [f"/b/{make.bottles_of(filled)[0].code}/" for filled in (good, bad)]
    pages = f"""
        / /lots/ /lots/receive/ /lots/{potash.code}/ /lots/{lot.code}/certificate/
        /lots/{held.code}/decide/ /registers/ /registers/materials/ /premises/
        /registers/consignees/{shop.pk}/ /people/ /people/new/ /journal/ /events/
        /formulas/ /formulas/{version.formula_id}/ /formulas/new/
        /formulas/{liquid.formula_version.formula_id}/gtin/
        /limits/{version.pk}/ /limits/{version.pk}/set/
        /batches/ /batches/open/ /batches/{running.number}/
        /batches/{running.number}/lots/ /batches/{running.number}/charge/4/
        /batches/{running.number}/pot/ /batches/{running.number}/pot/?step=charge-4
        /batches/{sharp.number}/pot/ /batches/{waiting.number}/pot/
        /batches/{running.number}/read/ph/ /batches/{running.number}/weigh/
        /batches/{source.number}/ /history/{potash.code}/ /flow/{potash.code}/
        /flow/{source.number}/ /flow/{bad.code}/
        /review/{waiting.number}/ /review/{waiting.number}/sign/
        /bottles/ /bottles/{bad.code}/ /dispatches/ /dispatches/new/
        /affected/{potash.code}/ /affected/{potash.code}/recall/
        /affected/{potash.code}/bottles/ /recalls/{recall.code}/bottles/
        /complaints/ /complaints/new/ /complaints/{hurt.complaint.code}/
        /complaints/{hurt.complaint.code}/step/ /audit/ /audit/draw/
        /audit/{audit.number}/ /audit/held/{audit.pk}/
        /recalls/ /recalls/{recall.code}/ /find/?q=oil /methods/ /ph/
        /batches/{running.number}/alkali/ /batches/{running.number}/discount/
        /batches/{waiting.number}/alkali/?draws=20000
        /batches/{sharp.number}/ /batches/{sharp.number}/loss/
        /batches/{sharp.number}/correct/
        /batches/{sharp.number}/correct/{acid_lot.code}/
        /batches/{source.number}/doses/?of=spray
        /bench/{potash.code}/titrate/potash/ /bench/{potash.code}/container/
        /bench/{lot.code}/titrate/saponification_value/
        /bottles/{bad.code}/check/ /instruments/{meter.pk}/
        /instruments/{meter.pk}/check/ /charts/
        /charts/{version.formula_id}/ph/ /charts/{version.formula_id}/yield_variance/
    """.split()
    return World(
        everything,
        [*pages, *(address.rstrip("/") for address in public)],
        [*(address.rstrip("/") for address in public), "/sign-in/"],
    )


def unfold(page: Page) -> None:
    page.evaluate(
        "document.querySelectorAll('details').forEach(one => one.open = true)"
    )


def faults(
    screen: Screen, addresses: list[str], check: Callable[[Page], list[str]]
) -> list[str]:
    """Return what the check finds on each page, with its address."""
    found = []
    for address in addresses:
        screen.open(address)
        unfold(screen.page)
        found += [f"{address}: {fault}" for fault in check(screen.page)]
    return found


TOO_WIDE = """() => {
    const found = [];
    const root = document.documentElement;
    if (Math.max(root.scrollWidth, document.body.scrollWidth) > root.clientWidth) {
        const wide = [...document.querySelectorAll("body *")].filter((one) =>
            one.getBoundingClientRect().right > root.clientWidth + 0.5);
        found.push(wide.map((one) => one.outerHTML.slice(0, 80)).join(" | "));
    }
    for (const box of document.querySelectorAll(".table")) {
        if (box.scrollWidth > box.clientWidth) found.push("a table scrolls sideways");
    }
    return found;
}"""

TOO_SMALL = """(smallest) => {
    const touched = "button, .button, select, textarea, summary, nav a, .jump a,"
        + " input:not([type=hidden])";
    return [...document.querySelectorAll(touched)]
        .map((one) => [one, one.matches("[type=checkbox], [type=radio]")
            ? one.closest("label") : one])
        .filter(([one, target]) => target.checkVisibility()
            && target.getBoundingClientRect().height < smallest)
        .map(([one, target]) => one.outerHTML.slice(0, 80)
            + " " + target.getBoundingClientRect().height);
}"""


def too_small(page: Page) -> list[str]:
    found: list[str] = page.evaluate(TOO_SMALL, SMALLEST_TARGET)
    return found


def in_both_schemes(page: Page) -> list[str]:
    found = []
    for scheme in SCHEMES:
        page.emulate_media(color_scheme=scheme)
        found += page.evaluate(TOO_WIDE)
    return found


def at_larger_sizes(page: Page) -> list[str]:
    found = []
    for size in LARGER:
        page.set_viewport_size(size)
        found += [f"{size['width']} px: {fault}" for fault in page.evaluate(TOO_WIDE)]
    return found


def test_phone_width_has_no_sideways_scroll(house: House, world: World) -> None:
    person = house.person(world.user, viewport=PHONE)
    visitor = house.visitor(**PUBLIC)
    assert faults(person, world.pages, in_both_schemes) == []
    assert faults(visitor, world.public, in_both_schemes) == []
    for screen in (person, visitor):  # the check itself sees what is too wide
        screen.page.evaluate("document.querySelector('h1').style.width = '400px'")
        assert len(in_both_schemes(screen.page)) == len(SCHEMES)


def test_nothing_is_cut_off_on_a_tablet_or_a_desk(house: House, world: World) -> None:
    assert faults(house.person(world.user), world.pages, at_larger_sizes) == []


def test_targets_are_large_enough(house: House, world: World) -> None:
    person = house.person(world.user, viewport=PHONE)
    visitor = house.visitor(**PUBLIC)
    assert faults(person, world.pages, too_small) == []
    assert faults(visitor, world.public, too_small) == []
    for screen, button in ((person, ".foot button"), (visitor, "button")):
        # The check itself sees what is too small.
        screen.page.locator(button).evaluate("one => one.style.minHeight = '20px'")
        screen.page.locator(button).evaluate("one => one.style.padding = '0'")
        assert len(too_small(screen.page)) == 1


def test_console_is_silent(house: House, world: World) -> None:
    person, visitor = house.person(world.user), house.visitor()
    for address in world.pages:
        person.open(address)
    person.open("/lots/receive/")
    person.press("Receive this lot")
    person.sees("Not recorded yet")
    for address in world.public:
        visitor.open(address)
    assert house.console == []


def test_a_refused_script_is_heard(house: House, owner: User) -> None:
    visitor = house.visitor()
    visitor.open("/sign-in/")
    visitor.page.evaluate(INLINE)
    assert visitor.page.evaluate("window.ran") is None
    assert "script-src 'self'" in house.console.pop()
    assert house.console == []


INLINE = """() => {
    const script = document.createElement("script");
    script.textContent = "window.ran = true";
    document.body.append(script);
}"""
