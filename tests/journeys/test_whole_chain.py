"""From goods in to recall: four people, four browsers, an empty premises, no shortcut.

Outside checks: the codes are read out of the rendered sheet by zxing-cpp, the sheet
and the list are rendered and read by pypdfium2; the potash is computed here a second
time, from the molar masses of the elements (IUPAC abridged atomic weights).
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable

import pypdfium2
import pytest
import zxingcpp
from playwright.sync_api import expect

from batches.models import Formula
from tests.journeys.hands import PHONE, House, Screen
from tests.journeys.office import (
    FRIEND,
    LIQUID,
    MAIL,
    PASSWORD,
    PASTE,
    POTASH,
    SHOP,
    SUNFLOWER,
    SUPPLIERS,
    WATER,
    certificate,
    fill_registers,
    goods_in,
    set_limits,
    set_up,
    write_formulas,
)

pytestmark = pytest.mark.browser

# What is weighed, in grams: the sunflower comes out a gram heavier than planned.
SUNFLOWER_G, COCONUT_G, WATER_G, TARE_G = 801, 200, 420, 350
PASTE_MADE_G = 1550
DILUTED = {PASTE: 1500, WATER: 2250}
LIQUID_MADE_G = 3740
BOTTLES = 12


def test_from_goods_in_to_recall(house: House) -> None:
    owner, maker, reviewer = (house.visitor() for _ in range(3))
    visitor = house.visitor(viewport=PHONE)
    set_up(owner, maker, reviewer)
    fill_registers(maker)
    write_formulas(maker)
    set_limits(reviewer, PASTE, ["pH", "yield variance (%)", "clarity"])
    set_limits(reviewer, LIQUID, ["pH", "yield variance (%)"])
    paper = certificate()
    lots = goods_in(maker, reviewer, paper)
    paste = cook(maker, lots)
    release(reviewer, paste, says=["pH 9.2", "pass", "A portion dissolves clear"])
    liquid = dilute(maker, paste, lots)
    release(reviewer, liquid, says=["pH 9.1", "pass"])
    label_text(maker, reviewer)
    lot, codes, addresses = fill(maker, liquid)
    let_leave(maker, reviewer, lot)
    public_page_keeps_secrets(visitor, addresses[0], liquid)
    history_goes_back(maker, addresses[0], [*lots.values(), paste, liquid], paper)
    dispatch(maker, addresses)
    recall_from_potash(reviewer, lots[POTASH], codes, [paste, liquid])
    for address in (addresses[0], addresses[-1]):
        visitor.open(address)
        visitor.sees("Recall: do not use this bottle")
    reviewer.open(addresses[0])
    reviewer.sees("Recall: do not use this bottle")


# ------------------------------------------------------------------ at the pot


def potash_g(sunflower_g: float, coconut_g: float) -> float:
    """Compute it the other way round: moles of fatty acid, then the weighed salt."""
    koh = 39.0983 + 15.999 + 1.008
    carbonate = 2 * 39.0983 + 12.011 + 3 * 15.999
    coconut_value = (248 + 265) / 2  # no value on its certificate: the range's middle
    moles = (sunflower_g * 190.4 + coconut_g * coconut_value) / 1000 / koh
    # Each mole of carbonate was titrated as two of hydroxide, and makes no soap.
    hydroxide_share = 90.4 / 100 - 2 * koh * (1.2 / 100) / carbonate
    return moles * koh / hydroxide_share


def cook(maker: Screen, lots: dict[str, str]) -> str:
    maker.open("/batches/")
    maker.follow("Open a batch")
    maker.sees("Never water onto potash.")
    maker.enter({"Formula": PASTE, "How much": "1"})
    maker.press("Open it", says="is open.")
    batch = maker.code
    maker.sees("computed when every oil has its lot")
    choose_lots(maker, lots)
    planned = potash_g(800, 200)
    maker.sees(f"{planned:.1f} g")
    maker.sees("Risk of unsaponified oil")  # before anything is in the pot
    maker.sees("The lye will boil")
    sheet = pypdfium2.PdfDocument(maker.print_out("Print the batch sheet"))
    check_printed(sheet, [f"{planned:.1f} g", "THE LYE WILL BOIL", *lots.values()])
    hold_points(maker, batch)
    charge(maker, batch, 1, SUNFLOWER_G)
    charge(maker, batch, 2, COCONUT_G)
    charge(maker, batch, 3, WATER_G)
    # Weighing a gram more of oil moves what is asked for; the old figure is gone.
    needed = round(potash_g(SUNFLOWER_G, COCONUT_G), 1)
    assert needed > round(planned, 1)
    maker.go_on("Weigh it")
    maker.sees("Causes severe skin burns and eye damage.")
    assert maker.text("main .figure") == f"{needed:.1f} g"
    weigh(maker, needed, "Record this charge")
    maker.sees("total alkali: 90.4 ± 0.5 % (no ± stated, common practice)")
    maker.sees("carbonate 1.2 %")
    read(maker, batch, "Temperature", {"Temperature (°C)": "66,5"})
    maker.follow("Clarity")
    maker.tick("clear")
    maker.press("Record", says="The reading is recorded.")
    read(maker, batch, "pH", {"pH": "9,2"})
    maker.go_on("Weigh the yield")
    weigh(maker, PASTE_MADE_G, "Record")
    theoretical = SUNFLOWER_G + COCONUT_G + WATER_G + needed
    check_yield(maker, theoretical, PASTE_MADE_G)
    finish(maker)
    return batch


def choose_lots(maker: Screen, sources: dict[str, str]) -> None:
    maker.go_on("Choose lots")
    maker.enter(sources)
    maker.press("Choose these", says="The lots are chosen.")


def hold_points(maker: Screen, batch: str) -> None:
    """Go through what stands before the first charge: tick, look, weigh."""
    maker.open(f"/batches/{batch}/hold-points/")
    for name in ("cleared", "protected", "lots"):
        maker.page.locator(f"[name={name}]").check()
    passed_today = maker.page.locator("[name=counted]")
    if passed_today.count():
        passed_today.first.check()
    else:
        maker.enter({"Scale": "bench scale", "Check weight on it": "500 g weight"})
        maker.enter({"What the scale shows": "500"})
    maker.enter({"Vessel": "steel pot", "What it weighs empty": "350"})
    maker.press("Record what I found", says="All hold points are in order.")


def charge(maker: Screen, batch: str, position: int, net_g: float) -> None:
    maker.open(f"/batches/{batch}/charge/{position}/")
    weigh(maker, net_g, "Record this charge")


def weigh(maker: Screen, net_g: float, button: str) -> None:
    gross = f"{net_g + TARE_G:.1f}".replace(".", ",")
    maker.enter({"Gross": gross, "Tare": str(TARE_G)})
    maker.sees(f"Net {net_g:g} g", within=".preview")
    maker.press(button, says="recorded.")


def read(maker: Screen, batch: str, link: str, values: dict[str, str]) -> None:
    maker.open(f"/batches/{batch}/")
    maker.follow(link)
    maker.enter(values)
    maker.press("Record", says="The reading is recorded.")


def check_yield(maker: Screen, theoretical_g: float, actual_g: float) -> None:
    facts = [
        maker.fact("Theoretical: all that was weighed in"),
        maker.fact("Actual"),
        maker.fact("Variance"),
    ]
    assert [in_grams(text) for text in facts[:2]] == [theoretical_g, actual_g]
    variance = 100 * (actual_g - theoretical_g) / theoretical_g
    assert facts[2].startswith(f"{variance:.2f} %,".replace("-", "−"))


def in_grams(text: str) -> float:
    number, unit = text.split()
    return round(float(number) * {"g": 1, "kg": 1000}[unit], 3)


def finish(maker: Screen) -> None:
    maker.go_on("Finish")
    maker.press("Finish it", says="The batch is finished and waits for review.")
    maker.sees("awaiting review")


def dilute(maker: Screen, paste: str, lots: dict[str, str]) -> str:
    maker.open("/batches/open/")
    maker.enter({"Formula": LIQUID, "How much": "1,5"})
    maker.press("Open it", says="is open.")
    batch = maker.code
    choose_lots(maker, {PASTE: paste, WATER: lots[WATER]})
    hold_points(maker, batch)
    for position, mass_g in enumerate(DILUTED.values(), start=1):
        charge(maker, batch, position, mass_g)
    read(maker, batch, "pH", {"pH": "9,1"})
    maker.go_on("Weigh the yield")
    weigh(maker, LIQUID_MADE_G, "Record")
    check_yield(maker, sum(DILUTED.values()), LIQUID_MADE_G)
    finish(maker)
    return batch


def release(reviewer: Screen, batch: str, says: list[str]) -> None:
    reviewer.open("/")
    reviewer.link("Review it").first.click()
    reviewer.sees(batch)
    for words in says:
        reviewer.sees(words)
    reviewer.follow("Sign a decision")
    reviewer.tick("reviewed and released")
    reviewer.enter({"Your password again": "not the password"})
    reviewer.press("Sign")
    reviewer.sees("This is not your password. Nothing was signed.")
    reviewer.enter({"Your password again": PASSWORD})
    reviewer.press("Sign", says="Signed: reviewed and released.")
    assert reviewer.signed_by("Runa Holm") == "reviewed and released"


# ------------------------------------------------------------------ bottles


def label_text(maker: Screen, reviewer: Screen) -> None:
    texts = f"/formulas/{Formula.objects.get(name=LIQUID).pk}/labels/"
    maker.open(f"{texts}en/write/")
    maker.enter({"Name on the label": LIQUID, "Directions for use": "For washing."})
    maker.press("Write it", says="The text is written.")
    reviewer.open(f"{texts}en/1/approve/")
    reviewer.press("Approve it", says="The text is approved")


def fill(maker: Screen, batch: str) -> tuple[str, list[str], list[str]]:
    maker.open(f"/batches/{batch}/")
    maker.go_on("Fill bottles")
    maker.enter(
        {
            "Bottles filled": str(BOTTLES),
            "Nominal quantity of each": "250",
            "Density at 20 °C (g/ml)": "1,02",
        }
    )
    maker.press("Number these bottles", says=f"{BOTTLES} bottles are numbered.")
    codes = maker.page.locator("td:has(a[href^='/b/'])").all_inner_texts()
    assert len(set(codes)) == BOTTLES
    lot = maker.page.url.rstrip("/").rsplit("/", 1)[-1]
    maker.open(f"/bottles/{lot}/labels/")
    asked = maker.page.locator("input[name=band]")
    if asked.count():  # ± reaches another class: the maker says which
        asked.first.check()
        maker.enter({"If it is not the class reckoned, why": "by the mean"})
    maker.press("Issue these labels")
    sheet = pypdfium2.PdfDocument(maker.print_out("Open the labels (PDF)"))
    words = (LIQUID, "250 ml", batch, "Weir House Soap", "children", *codes)
    check_printed(sheet, words)
    addresses = [
        found.text
        for page in sheet
        for found in zxingcpp.read_barcodes(page.render(scale=300 / 72).to_pil())
    ]
    assert sorted(addresses) == sorted(f"{address_of(maker)}/b/{c}" for c in codes)
    return lot, codes, [f"{address_of(maker)}/b/{code}" for code in codes]


def let_leave(maker: Screen, reviewer: Screen, lot: str) -> None:
    """Count the labels, weigh the bottles, and have somebody else release them."""
    maker.open(f"/bottles/{lot}/labels/counts/")
    maker.tick("applied to bottles")
    maker.enter({"How many": str(BOTTLES)})
    maker.press("Record this count", says=f"All {BOTTLES} labels are accounted for.")
    maker.open(f"/bottles/{lot}/check/")
    masses = "\n".join(["297,5"] * BOTTLES)
    maker.enter({"Empty bottle with cap": "42", "Masses in grams, one a line": masses})
    maker.press("Record these masses", says="Accepted")
    reviewer.open(f"/bottles/{lot}/release/")
    reviewer.enter({"Note": "no sample of so small a lot"})
    reviewer.press("Let these bottles leave", says="Its bottles may leave.")


def check_printed(paper: pypdfium2.PdfDocument, words: Iterable[str]) -> None:
    """Look for words in what is printed, wherever the lines break."""
    text = "".join(page.get_textpage().get_text_range() for page in paper)
    for word in words:
        assert "".join(word.split()) in "".join(text.split())


def rightmost(paper: pypdfium2.PdfDocument) -> float:
    """Return how far right anything is printed, in points."""
    texts = [page.get_textpage() for page in paper]
    return max(
        float(text.get_charbox(index)[2])
        for text in texts
        for index in range(text.count_chars())
    )


def address_of(screen: Screen) -> str:
    found = re.match(r"https?://[^/]+", screen.page.url)
    assert found
    return found[0]


def public_page_keeps_secrets(visitor: Screen, address: str, batch: str) -> None:
    visitor.open(address)
    for words in (LIQUID, "250 ml", batch, "none known", "555 0170", "Not for skin"):
        visitor.sees(words)
    source = visitor.page.content()
    for secret in (*SUPPLIERS, "Mattis", "Runa", "Ottoline", "771", SUNFLOWER, SHOP):
        assert secret not in source


def history_goes_back(
    maker: Screen, address: str, codes: list[str], paper: bytes
) -> None:
    maker.open(address)
    for words in (*codes, *SUPPLIERS, "Mattis Fell"):
        maker.sees(words)
    potash = maker.row("lot pot-771")
    assert "90.4 %" in potash.inner_text()
    with maker.page.expect_download() as taken:
        potash.get_by_role("link", name="analysis.pdf").click()
    assert taken.value.suggested_filename == "analysis.pdf"
    assert taken.value.path().read_bytes() == paper


def dispatch(maker: Screen, addresses: list[str]) -> None:
    maker.open("/bottles/")
    maker.page.locator("td a").first.click()
    maker.follow("Send some to a consignee")
    maker.enter({"To": SHOP, "First bottle": "1", "Last bottle": "5"})
    maker.press("Dispatch them", says="is recorded")
    maker.open("/dispatches/new/")
    maker.enter({"To": FRIEND, "Scan or type a code": addresses[5]})
    maker.press("Add")
    expect(maker.page.locator("[data-lines] li")).to_have_count(1)
    maker.press("Dispatch them", says="is recorded")


def recall_from_potash(
    reviewer: Screen, potash: str, codes: list[str], batches: list[str]
) -> None:
    reviewer.search(potash)
    reviewer.follow("Where did it go?")
    reviewer.follow("Open a recall")
    reviewer.page.locator("input[type=radio]").first.check()
    reviewer.enter({"What is wrong": "the supplier called the lot back"})
    reviewer.press("Open the recall")
    asked = reviewer.page.get_by_role("dialog")
    asked.get_by_role("button", name="Open the recall").click()
    reviewer.sees("is open. What of it was released is on hold", within=".messages")
    holders = {SHOP: ("1–5", "5"), FRIEND: ("6", "1"), "on the premises": ("7–12", "6")}
    for place, (numbers, count) in holders.items():
        numbered = reviewer.page.locator("[data-label='Bottles no.']")
        row = reviewer.row(place).filter(has=numbered).first
        assert row.locator("[data-label='Bottles no.']").inner_text() == numbers
        assert row.locator("[data-label='Count']").inner_text() == count
    for batch in batches:
        assert "on hold" in reviewer.row(batch).last.inner_text()
    reviewer.follow("Every bottle, one by one")
    lines = reviewer.download("Save the CSV").decode("utf-8-sig")
    reviewer.page.go_back()
    assert named_in(lines, codes) == [SHOP] * 5 + [FRIEND] + ["on the premises"] * 6
    printed = pypdfium2.PdfDocument(reviewer.print_out("Print the list"))
    assert rightmost(printed) < printed[0].get_width()
    check_printed(
        printed, (potash, SHOP, FRIEND, "555 0121", MAIL, "1–5", "7–12", *batches)
    )


def named_in(lines: str, codes: list[str]) -> list[str]:
    """Return who has each of the bottles, out of the file."""
    *rows, end = csv.DictReader(io.StringIO(lines))
    assert end["bottle"] == "end"
    holders = {row["bottle"]: row["holder"] for row in rows}
    assert holders.keys() == set(codes)
    return [holders[code] for code in codes]
