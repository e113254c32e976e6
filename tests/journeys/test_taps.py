"""A whole cook on a phone, every tap and key counted against the line on paper.

The paper is the batch sheet as it is printed. What somebody writes on it for an entry
is told twice: *in full*, as its columns ask, with time, net and initials; and
*strictly*, only what cannot be left out, without time, net, initials and every word:
gross and tare, the bare result, one stroke for a box, one letter for how a portion
looks. The screen takes no more taps and keys than the strict line plus one per entry.
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from playwright.sync_api import Locator, expect

from batches.models import Batch, BulkWeighing, Charge, HoldPoint, Reading
from producer.models import RawLot, User
from producer.services import containers
from quality.services.before_the_cook import BEFORE
from tests import lab, make
from tests.journeys.hands import PHONE, House, Screen

pytestmark = pytest.mark.browser
TIME, INITIALS = "14:05", "MA"


@dataclasses.dataclass
class Entry:
    """One entry: touches of the screen, keys pressed, and what stands on paper."""

    name: str
    in_full: str
    strict: str
    taps: int = 0
    keys: int = 0
    typed: bool = False

    @property
    def screen(self) -> int:
        """Taps and keys together."""
        return self.taps + self.keys

    @property
    def with_keypad(self) -> int:
        """The same where the phone opens its keypad only when the field is touched."""
        return self.screen + self.typed


class Hand:
    """The only way in which this test touches the screen; it counts."""

    def __init__(self, screen: Screen) -> None:
        self.screen = screen
        self.entries: list[Entry] = []

    @contextmanager
    def entry(self, name: str, *, in_full: str, strict: str) -> Iterator[None]:
        """Count what is done inside as one entry, with its line on paper."""
        self.entries.append(Entry(name, _bare(in_full), _bare(strict)))
        yield

    def tap(self, what: Locator) -> None:
        """Touch it once."""
        self.entries[-1].taps += 1
        what.tap()

    def send(self, by: Locator | str, *, says: str) -> None:
        """Send what was entered by a touch or a key; read what the next page says."""
        with self.screen.page.expect_navigation():
            if isinstance(by, str):
                self.key(by)
            else:
                self.tap(by)
        self.screen.sees(says, within=".messages")

    def type(self, text: str, *, into: str) -> None:
        """Type into the field that has the keyboard; it must be the one meant."""
        expect(self.screen.page.locator("*:focus")).to_have_attribute("name", into)
        self.entries[-1].keys += len(text)
        self.entries[-1].typed = True
        self.screen.page.keyboard.type(text)

    def key(self, name: str) -> None:
        """Press one key, such as Enter."""
        self.entries[-1].keys += 1
        self.screen.page.keyboard.press(name)

    def button(self, words: str) -> Locator:
        """Return the button that is to be seen and says this."""
        return self.screen.page.get_by_role("button", name=words, exact=True)


def _bare(line: str) -> str:
    """Return what is written, without the blanks that part its columns."""
    return re.sub(r"\s", "", line)


@pytest.fixture
def tin(crew: make.Crew) -> RawLot:
    """Return a lot of potash in a tin that is weighed before and after."""
    lot = make.released_lot(crew, make.potash(crew.maker))
    containers.register(
        by=crew.maker,
        lot=lot,
        fillings=[containers.Filling(net_mg=5 * make.KG, tare_mg=400_000)],
    )
    return lot


def planned(crew: make.Crew) -> Batch:
    """Return a planned cook; in the store and the registers is what it takes."""
    for material in (make.sunflower, make.coconut, make.water):
        make.released_lot(crew, material(crew.maker))
    make.scale(crew.maker)
    make.vessel(crew.maker)
    make.thermometer(crew.maker)
    make.meter(crew.maker)
    lab.check_weight(crew.maker)
    return make.open_batch(crew)


def weigh_in(hand: Hand, batch: Batch, name: str, net_g: str, gross: str) -> None:
    """Weigh a line in, in the vessel whose tare is known."""
    hand.screen.sees(net_g, within=".pot-step:not([hidden]) .pot-target")
    with hand.entry(
        name,
        in_full=f"{gross} 350 {net_g.rstrip(' g')} {TIME} {INITIALS}",
        strict=f"{gross} 350",
    ):
        hand.type(gross, into="gross_mg")
        expect(hand.screen.page.locator(".preview:visible")).to_contain_text(net_g)
        hand.send("Enter", says="The charge is recorded.")


def read(hand: Hand, name: str, value: str, *, in_full: str) -> None:
    with hand.entry(name, in_full=in_full, strict=value):
        hand.type(value, into="value")
        hand.send("Enter", says="The reading is recorded.")


def go_through(hand: Hand, batch: Batch) -> None:
    """Go through the hold points: what was ticked, what the scale showed."""
    boxes = "✓" * len(BEFORE["cook"])
    page = hand.screen.page
    with hand.entry(
        "hold points",
        in_full=f"{boxes} {TIME} bench scale 500 500 steel pot 350 350 {INITIALS}",
        strict=f"{boxes} 500 350",
    ):
        hand.tap(hand.screen.link("Go through them"))
        hand.tap(page.locator("[name=cleared]"))
        hand.tap(page.locator("[name=protected]"))
        hand.tap(page.locator("[name=shown]"))
        hand.type("500", into="shown")
        hand.tap(page.locator("[name=lots]"))
        hand.tap(page.locator("[name=mass_mg]"))
        hand.type("350", into="mass_mg")
        hand.send("Enter", says="All hold points are in order.")
    assert HoldPoint.objects.filter(batch=batch, in_order=True).count() == 5


def cook(hand: Hand, batch: Batch, *, by_difference: bool) -> None:
    page = hand.screen.page
    hand.screen.open(f"/batches/{batch.number}/")
    with hand.entry("take the sheet up", in_full="", strict=""):
        hand.tap(hand.screen.link("To the pot"))
    with hand.entry(
        "lots",
        in_full="".join(one.code for one in RawLot.objects.listed()),
        strict="",  # printed on the sheet, where they were chosen before
    ):
        hand.send(hand.button("Take these"), says="The lots are chosen.")
    go_through(hand, batch)
    weigh_in(hand, batch, "sunflower oil", "800 g", "1150")
    weigh_in(hand, batch, "coconut oil", "200 g", "550")
    weigh_in(hand, batch, "distilled water", "420 g", "770")
    target = page.locator(".pot-step:not([hidden]) .pot-target").inner_text()
    potash = round(float(target.removesuffix(" g")))
    hand.screen.sees("Never water onto potash.", within=".pot-step:not([hidden])")
    if by_difference:
        before, after = "5400", str(5400 - potash)
        with hand.entry(
            "potash",
            in_full=f"{before} {after} {potash} {TIME} {INITIALS}",
            strict=f"{before} {after}",
        ):
            hand.type(before, into="gross_mg")
            hand.key("Enter")
            hand.type(after, into="tare_mg")
            hand.send("Enter", says="The charge is recorded.")
    else:
        gross = str(350 + potash)
        with hand.entry(
            "potash",
            in_full=f"{gross} 350 {potash} {TIME} {INITIALS}",
            strict=f"{gross} 350",
        ):
            hand.type(gross, into="gross_mg")
            hand.send("Enter", says="The charge is recorded.")
    for celsius in ("62", "66", "67"):
        read(
            hand,
            "temperature",
            celsius,
            in_full=f"{TIME} {celsius} pot probe {INITIALS}",
        )
    with hand.entry("clarity", in_full=f"{TIME} clear {INITIALS}", strict="c"):
        hand.send(hand.button("Clear"), says="The reading is recorded.")
    read(hand, "pH", "9.2", in_full=f"{TIME} 9.2 pH meter {INITIALS}")
    made = 350 + 1500
    with hand.entry(
        "what came out",
        in_full=f"{made} 350 1500 steel pot {TIME}",
        strict=f"{made} 350",
    ):
        hand.type(str(made), into="gross_mg")
        hand.send("Enter", says="The yield is recorded.")
    with hand.entry("finish", in_full="Mirja Aalto 5 Oct 2026 14:05", strict=INITIALS):
        hand.send(hand.button("Finish it"), says="waits for review")


@pytest.mark.parametrize("by_difference", [False, True])
def test_a_whole_cook_takes_no_more_taps_and_keys_than_its_line_on_paper(
    house: House,
    crew: make.Crew,
    request: pytest.FixtureRequest,
    capsys: pytest.CaptureFixture[str],
    *,
    by_difference: bool,
) -> None:
    if by_difference:
        request.getfixturevalue("tin")
    else:
        make.released_lot(crew, make.potash(crew.maker))
    batch = planned(crew)
    hand = Hand(house.person(crew.maker, viewport=PHONE, has_touch=True))
    cook(hand, batch, by_difference=by_difference)
    check_recorded(batch, crew.maker)

    with capsys.disabled():
        print(told(hand.entries))  # noqa: T201 - the count is what was asked for
    screen = sum(entry.screen for entry in hand.entries)
    strict = sum(len(entry.strict) for entry in hand.entries)
    assert screen <= strict + len(hand.entries)
    # Also where each field must be touched before the phone shows its keypad.
    assert sum(one.with_keypad for one in hand.entries) <= strict + len(hand.entries)


def check_recorded(batch: Batch, maker: User) -> None:
    """See that the whole cook is there, in its vessel, by this account."""
    found = make.fresh(batch)
    assert found.status == "awaiting_review"
    charges = Charge.objects.filter(batch=batch)
    assert [row.net_mg for row in charges[:3]] == [800_000, 200_000, 420_000]
    assert charges.count() == 4
    for row in charges:
        assert row.by_difference or (row.vessel and row.vessel.name == "steel pot")
        assert row.entered_by == maker
    assert Reading.objects.filter(batch=batch).count() == 5
    assert BulkWeighing.objects.get(batch=batch).net_mg == 1_500_000


def told(entries: list[Entry]) -> str:
    """Return the counts of each entry and their sums, to be read."""
    table = [
        (one.name, one.taps, one.keys, one.screen, len(one.strict), len(one.in_full))
        for one in entries
    ]
    sums = [sum(column) for column in list(zip(*table, strict=True))[1:]]
    names = ("entry", "taps", "keys", "screen", "strict", "in full")
    lines = [
        "{:<20}{:>6}{:>6}{:>8}{:>8}{:>9}".format(*row)
        for row in (names, *table, ("together", *sums))
    ]
    return "\n".join(
        [
            "",
            *lines,
            f"allowed: {sums[3]} and one for each of {len(entries)} entries",
            f"with a touch for the keypad: {sum(one.with_keypad for one in entries)}",
        ]
    )
