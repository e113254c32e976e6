"""Before the first pot: the premises, its registers and formulas, goods in."""

from __future__ import annotations

import datetime

import weasyprint

from producer.services.people import make_setup_code
from tests.journeys.hands import Screen

TODAY = datetime.datetime.now(tz=datetime.UTC).date()
PASSWORD = "nine geese by the weir"
POTASH, SUNFLOWER, COCONUT, WATER = "potash flakes", "sunflower", "coconut", "water"
PASTE, LIQUID = "Winter paste", "Weir laundry liquid"
SUPPLIERS = ("Marram Salts", "Oil Mill Tarn")
SHOP, FRIEND = "Corner shop Ostrander", "Neighbour J."
MAIL = "counter@ostranderandneighbours.example"

# What the certificates say, in the numbers of a country that writes commas.
ASSAY, CARBONATE, SUNFLOWER_VALUE = "90,4", "1,2", "190,4"


# ------------------------------------------------------------------ the premises


def set_up(owner: Screen, maker: Screen, reviewer: Screen) -> None:
    owner.open("/")
    owner.enter(
        {
            "Setup code": make_setup_code(),
            "Name of the premises": "Weir House Soap",
            "Time zone": "Europe/Berlin",
            "Your name, as it is printed": "Ottoline Weir",
            "Account name": "ottoline",
            "Password, at least ten characters": PASSWORD,
        }
    )
    owner.page.get_by_label("I also make soap").uncheck()
    owner.press("Set it up", says="The premises is set up.")
    owner.sign_in("ottoline", PASSWORD)
    owner.follow("Write the address, telephone and poison centre of the premises")
    owner.enter(
        {
            "Address": "1 Weir Lane",
            "Phone": "555 0170",
            "Poison centre telephone": "555 0199",
        }
    )
    owner.press("Save", says="The premises is changed.")
    for name, username, right in (
        ("Mattis Fell", "mattis", "Maker: goods in, batches, filling, dispatch"),
        ("Runa Holm", "runa", "Reviewer: releases, rejects, holds, recalls"),
    ):
        owner.open("/people/")
        owner.follow("Open an account")
        owner.enter(
            {
                "Name of the new person": name,
                "Account name": username,
                "First password": PASSWORD,
            }
        )
        owner.tick(right)
        owner.press("Open it", says=f"The account “{username}” is open.")
    maker.sign_in("mattis", PASSWORD)
    reviewer.sign_in("runa", PASSWORD)


def fill_registers(maker: Screen) -> None:
    for name in SUPPLIERS:
        register(maker, "suppliers", {"Name": name, "Phone": "555 0110"})
    register(maker, "materials", {"Name": POTASH, "Kind": "potash (potassium"})
    register(maker, "materials", {"Name": WATER, "Kind": "water"})
    for name, low, high in ((SUNFLOWER, "188", "194"), (COCONUT, "248", "265")):
        values = {
            "Name": name,
            "Kind": "oil or fat",
            "Saponification value, lowest published (mg KOH/g)": low,
            "Saponification value, highest published (mg KOH/g)": high,
            "Source of the range": "Codex CXS 210-1999",
        }
        register(maker, "materials", values)
    for kind, name, step in (
        ("scale", "bench scale", "0,1"),
        ("thermometer", "pot probe", "0,1"),
        ("pH meter", "pen meter", "0,01"),
    ):
        values = {"Kind": kind, "Name": name, "Smallest step": step}
        register(maker, "instruments", values)
    weight = {"Kind": "check weight", "Name": "500 g weight", "Smallest step": "0"}
    register(maker, "instruments", {**weight, "What it stands for": "500"})
    register(maker, "vessels", {"Name": "steel pot", "Tare, as written on it": "350"})
    for name, kind in ((SHOP, "reseller"), (FRIEND, "private person")):
        values = {"Kind": kind, "Name": name, "Phone": "555 0121", "E-mail": MAIL}
        register(maker, "consignees", values)


def register(maker: Screen, kind: str, values: dict[str, str]) -> None:
    maker.open(f"/registers/{kind}/new/")
    maker.enter(values)
    maker.press("Save", says=f"{values['Name']} is registered.")


def write_formulas(maker: Screen) -> None:
    cook = [(SUNFLOWER, "800"), (COCONUT, "200"), (WATER, "420"), (POTASH, "")]
    write_formula(maker, PASTE, "cook (oils", "paste, for", cook)
    diluted = [(PASTE, "1 kg"), (WATER, "1,5 kg")]
    write_formula(maker, LIQUID, "dilution (paste", "laundry and cleaning", diluted)


def write_formula(
    maker: Screen, name: str, kind: str, purpose: str, lines: list[tuple[str, str]]
) -> None:
    maker.open("/formulas/new/")
    maker.enter(
        {
            "Name of the formula": name,
            "Kind": kind,
            "For": purpose,
            "Name on the label": name,
            "Life from making (days)": "180",
        }
    )
    for number, (ingredient, amount) in enumerate(lines, start=1):
        maker.enter({f"Ingredient {number}": ingredient})
        maker.enter({f"Amount {number}, per kilogram of the basis": amount})
    maker.press("Write it", says="The formula is written.")


def set_limits(reviewer: Screen, formula: str, characteristics: list[str]) -> None:
    sides = {"pH": ("8,5", "10"), "yield variance (%)": ("-20", "0")}
    reviewer.open("/formulas/")
    reviewer.follow(formula)
    reviewer.follow("Limits")
    for characteristic in characteristics:
        reviewer.follow("Set a limit")
        lower, upper = sides.get(characteristic, ("", ""))
        reviewer.enter(
            {
                "Of": characteristic,
                "Lower limit": lower,
                "Upper limit": upper,
                "Why": "agreed at the start",
            }
        )
        reviewer.press("Set it", says="The limit is set.")


# ------------------------------------------------------------------ goods in


def certificate() -> bytes:
    html = f"<h1>Certificate of analysis</h1><p>Total alkali {ASSAY} % as KOH</p>"
    pdf = weasyprint.HTML(string=html).write_pdf()
    assert isinstance(pdf, bytes)
    return pdf


def goods_in(maker: Screen, reviewer: Screen, paper: bytes) -> dict[str, str]:
    salts, oils = SUPPLIERS
    potash = receive(maker, POTASH, salts, "25")
    record_certificate(
        maker,
        potash,
        paper,
        {
            "Assay (%)": ASSAY,
            "What the assay counts": "total alkali",
            "Carbonate, as K₂CO₃ (%)": CARBONATE,
        },
    )
    sunflower = receive(maker, SUNFLOWER, oils, "20")
    value = {"Saponification value (mg KOH/g)": SUNFLOWER_VALUE}
    record_certificate(maker, sunflower, paper, value)
    coconut = receive(maker, COCONUT, oils, "5")
    record_certificate(maker, coconut, paper, {})
    water = receive(maker, WATER, salts, "10")
    maker.open(f"/lots/{potash}/")
    maker.sees("held")
    maker.sees("90.4 %, total alkali, calculated as KOH")
    lots = {POTASH: potash, SUNFLOWER: sunflower, COCONUT: coconut, WATER: water}
    for code in lots.values():
        reviewer.search(code)
        reviewer.follow("Decide about this lot")
        reviewer.tick("Release it for use")
        reviewer.enter({"Why": "container, quantity and certificate looked at"})
        reviewer.press("Decide", says=f"{code} is released.")
    return lots


def receive(maker: Screen, material: str, supplier: str, kilograms: str) -> str:
    maker.open("/lots/")
    maker.follow("Receive a lot")
    maker.enter(
        {
            "Material": material,
            "Supplier": supplier,
            "Supplier's lot": f"{material[:3]}-771",
            "Quantity": kilograms,
            "Received on": TODAY.isoformat(),
            "Expiry date": (TODAY + datetime.timedelta(days=400)).isoformat(),
        }
    )
    maker.press("Receive this lot", says="is booked in.")
    maker.sees("held")
    return maker.code


def record_certificate(
    maker: Screen, code: str, paper: bytes, values: dict[str, str]
) -> None:
    maker.open(f"/lots/{code}/")
    maker.follow("Record the certificate")
    maker.field("The certificate").set_input_files(
        {"name": "analysis.pdf", "mimeType": "application/pdf", "buffer": paper}
    )
    maker.enter({"Its number": "COA 4471", "Its date": TODAY.isoformat(), **values})
    maker.press("Record the certificate", says="The certificate is recorded.")
