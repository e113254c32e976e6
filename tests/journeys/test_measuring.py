"""At the bench and the stove: titrate, find too much alkali, take it up, look again.

The free alkali and the dose are computed here a second time, by moles.
"""

from __future__ import annotations

import re

import pytest

from batches.models import Batch, Charge, Titration
from producer.models import Material
from tests import lab, make
from tests.journeys.hands import PHONE, House, Screen

pytestmark = pytest.mark.browser

KOH = 39.0983 + 15.999 + 1.008
CITRIC_MONOHYDRATE = 6 * 12.011 + 10 * 1.008 + 8 * 15.999
ACID_MOL_L = 0.1


def sharp_batch(crew: make.Crew) -> Batch:
    """Return a cook in the pot; how sharp it is the titration will say."""
    acid = make.registered(
        crew.maker,
        Material(name="citric acid", kind="addition", acid="citric_monohydrate"),
    )
    make.released_lot(crew, acid)
    lab.balance(crew.maker)
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    return batch


def titrate(screen: Screen, batch: Batch, *volumes_ml: str) -> None:
    screen.open(f"/batches/{batch.number}/")
    screen.follow("Titrate free alkali")
    screen.sees("Goggles and gloves.")
    screen.enter(
        {
            "Strength of the titrant (mol/l)": "0,1",
            "± of its strength (mol/l)": "0,0005",
        }
    )
    screen.page.get_by_label("Samples weighed on").select_option(label="balance")
    for number, volume in enumerate(volumes_ml, start=1):
        screen.page.locator(f"[name=sample_{number}]").fill("10 g")
        screen.page.locator(f"[name=volume_{number}]").fill(volume)
    screen.press("Record")


def test_too_much_alkali_is_found_taken_up_and_looked_at_again(
    house: House, crew: make.Crew
) -> None:
    batch = sharp_batch(crew)
    screen = house.person(crew.maker, viewport=PHONE)
    titrate(screen, batch, "9,00", "9,10", "9,05")
    percent = 9.05 / 1000 * ACID_MOL_L * KOH / 10 * 100
    screen.sees(f"{percent:.4f} ±")
    row = Titration.objects.get()
    assert float(row.value or 0) == pytest.approx(percent, abs=1e-4)

    # No dose before a portion was looked at: oil and alkali may not have met yet.
    screen.follow("Correct the alkali")
    screen.sees("No dose is computed.")
    screen.open(f"/batches/{batch.number}/")
    screen.follow("Clarity")
    screen.tick("clear")
    screen.press("Record", says="The reading is recorded.")
    screen.follow("Correct the alkali")
    went_in_g = sum(one.net_mg for one in Charge.objects.all()) / 1000
    excess_g = went_in_g * percent / 100
    dose_g = 0.9 * excess_g / KOH * CITRIC_MONOHYDRATE / 3
    line = screen.row("citric acid")
    proposed = re.search(r"([\d.]+) g", line.locator("strong").inner_text())
    assert proposed, line.inner_text()
    assert float(proposed[1]) == pytest.approx(dose_g, abs=0.11)
    screen.sees("Only as a weak solution")
    line.get_by_role("link", name="Weigh it in").click()
    screen.page.get_by_label("Scale", exact=True).select_option(label="balance")
    screen.enter(
        {"Gross": f"{dose_g:.1f} g", "Tare": "0", "Why it is corrected": "too sharp"}
    )
    screen.press("Record this correction")
    screen.sees("too sharp")
    screen.open(f"/batches/{batch.number}/correct/")
    # What was titrated before no longer counts.
    screen.sees("was titrated before the last charge went in")


def test_the_budget_is_checked_by_draws_on_demand(
    house: House, crew: make.Crew
) -> None:
    batch = sharp_batch(crew)
    screen = house.person(crew.maker)
    screen.open(f"/batches/{batch.number}/")
    screen.follow("Where the ± comes from")
    screen.sees("Distribution")
    assert screen.page.locator("main svg[role=img]").count() == 1
    screen.page.get_by_role("button", name="Check it with 200 000 random draws").click()
    screen.sees("Monte Carlo of 200")
