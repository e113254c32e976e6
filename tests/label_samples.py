"""Texts of labels as a maker would write them, for tests and measurements."""

from __future__ import annotations

import dataclasses

from batches.label_text import Hazard, LabelText, Serial
from batches.label_words import contents_in
from producer.codes import BOTTLE_ALPHABET, BOTTLE_LENGTH, grouped

PUBLIC_URL = "https://kettle.hollow-beck.example"
BAND = "15 % or over but less than 30 %"

ENGLISH = LabelText(
    language="en",
    product_name="Laundry liquid",
    net="500 ml",
    net_ul=500_000,
    batch="B26-0012-4",
    filled="4 Sep 2026",
    use_by="4 Sep 2028",
    contents=contents_in(BAND, "en"),
    directions="Into the drawer, with the wash. Not above 60 °C.",
    doses=(("soft", "35 ml"), ("medium", "50 ml"), ("hard", "70 ml")),
    purpose="wash",
    contact=("Hollow Beck", "Mill Lane 3, Upper Wend", "+44 1632 960 123"),
    poison_centre="111",
)
GERMAN = dataclasses.replace(
    ENGLISH,
    language="de",
    product_name="Waschmittel, flüssig",
    filled="4. Sep 2026",
    use_by="4. Sep 2028",
    contents=contents_in(BAND, "de"),
    directions="In das Fach, mit der Wäsche. Nicht über 60 °C.",
    doses=(("weich", "35 ml"), ("mittel", "50 ml"), ("hart", "70 ml")),
    contact=("Hof Hohlbach", "Mühlweg 3, 99999 Oberwend", "+49 30 23125 012"),
    poison_centre="+49 30 19240",
)
# As much German as a label of 70 × 37 mm takes.
SHORT_GERMAN = dataclasses.replace(GERMAN, directions="", doses=())
SPRAY = dataclasses.replace(
    ENGLISH,
    product_name="Potassium soap for plants",
    directions="10 ml in a litre of soft water. Wet the underside of the leaves.",
    doses=(),
    purpose="spray",
)
CLASSIFIED = dataclasses.replace(
    GERMAN,
    hazard=Hazard(
        signal="Achtung",
        statements="Verursacht schwere Augenreizung.\nSchutzbrille tragen.",
        identifier="E600-30P1-S00Y-5079",
    ),
)


def serials(count: int, copy: int = 1) -> list[Serial]:
    """Return labels of so many bottles, each with its own code, always the same."""
    return [Serial(code_of(number), number, copy) for number in range(1, count + 1)]


def code_of(number: int) -> str:
    """Return a code in the form of a bottle's that nothing but this number has.

    Its check character is not reckoned: nobody looks it up.
    """
    signs = []
    scattered = number * 387_420_489 + 13  # so that neighbours look unlike
    for _ in range(BOTTLE_LENGTH):
        scattered, sign = divmod(scattered, len(BOTTLE_ALPHABET))
        signs.append(BOTTLE_ALPHABET[sign])
        scattered += number << 40
    return "".join(signs)


def address_of(serial: Serial) -> str:
    """Return what the code of a label says with :data:`PUBLIC_URL`."""
    return f"{PUBLIC_URL}/b/{grouped(serial.code)}"
