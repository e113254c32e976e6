"""How often the pages of the pot ask the database, however long the formula is."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from batches.models import Batch
from batches.services import formulas
from producer.models import Material
from tests import make

pytestmark = [pytest.mark.django_db, pytest.mark.any_engine]
MOST_AT_THE_POT = 120
MOST_OF_A_BATCH = 60
A_LINE = 10  # its lots, their containers, who means them, what they are weighed on


def begun(crew: make.Crew, lines: int) -> Batch:
    """Return a batch that is begun, of so many lines, each with its lot."""
    oils = [make.sunflower(crew.maker), make.coconut(crew.maker)]
    for number in range(lines - len(oils) - 2):
        oils.append(
            make.registered(
                crew.maker,
                Material(
                    name=f"oil {number}",
                    kind="oil",
                    saponification_low=oils[0].saponification_low,
                    saponification_high=oils[0].saponification_high,
                    saponification_source="Codex CXS 210-1999",
                ),
            )
        )
    share = make.KG // len(oils)
    version = formulas.write_formula(
        by=crew.maker,
        name=f"Paste of {lines} lines",
        kind="cook",
        purpose="paste",
        wording=formulas.Wording(product_name="Paste", shelf_life_days=365),
        lines=[
            *(
                formulas.Line(
                    material=oil,
                    per_kg_mg=make.KG - share * (len(oils) - 1) if last else share,
                )
                for oil, last in ((one, one is oils[-1]) for one in oils)
            ),
            formulas.Line(material=make.water(crew.maker), per_kg_mg=420_000),
            formulas.Line(material=make.potash(crew.maker)),
        ],
    )
    batch = make.open_batch(crew, version)
    make.go_through(crew, batch)
    found = list(batch.formula_version.lines.all())
    assert len(found) == lines
    for line in found:
        make.stock_of(crew, line)
    water = make.line_of(batch, "distilled water")
    make.charge(crew, batch, make.stock_of(crew, water), 100_000, line=water)
    return make.fresh(batch)


def asked(browser: Client, page: str, batch: Batch) -> int:
    address = reverse(page, args=[batch.number])
    browser.get(address)  # fills what is cached
    with CaptureQueriesContext(connection) as found:
        assert browser.get(address).status_code == 200
    return len(found)


def test_the_pot_asks_little_and_little_more_for_a_longer_formula(
    crew: make.Crew,
) -> None:
    browser = Client()
    browser.force_login(crew.maker)
    short, long = begun(crew, 5), begun(crew, 9)
    few, many = (asked(browser, "batches:pot", one) for one in (short, long))
    assert few <= MOST_AT_THE_POT, (few, many)
    assert many - few <= A_LINE * 4, (few, many)


def test_the_page_of_a_batch_asks_as_often_for_a_longer_formula(
    crew: make.Crew,
) -> None:
    browser = Client()
    browser.force_login(crew.maker)
    short, long = begun(crew, 5), begun(crew, 9)
    few, many = (asked(browser, "batches:batch", one) for one in (short, long))
    assert few <= MOST_OF_A_BATCH, (few, many)
    assert many <= few, (few, many)
