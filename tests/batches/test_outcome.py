"""What came out of a batch, found back through everything it was made from."""

from __future__ import annotations

import datetime
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from batches.chemistry.outcome import Pot, oil_charge, potash_charge, react
from batches.models import Batch, BulkWeighing, Charge, Input
from batches.services import cooking, losses, titrating
from batches.services.outcome import Rows, notes_on, outcome_of, soap_content_of
from batches.services.results import yield_of
from producer.models import Material, RawLot, Stock
from producer.quantities import grams
from producer.services import registers
from quality.services.outcome import came_out
from tests import lab, make

pytestmark = pytest.mark.django_db

G = 1_000  # milligrams


def acid(crew: make.Crew) -> Material:
    """Return citric acid, anhydrous."""
    known = Material.objects.filter(name="citric acid").first()
    entry = Material(name="citric acid", kind="addition", acid="citric_anhydrous")
    return known or registers.save(by=crew.maker, entry=entry)


def of_the_scales(batch: Batch) -> Pot:
    """Return the pot by hand, from the rows and the figures they were weighed with."""
    pot = Pot()
    for row in Charge.objects.current().filter(batch=batch):
        kind, mass = row.source.lot.material.kind, grams(row.net_mg)
        if kind == "water":
            pot += Pot(water=mass)
        elif row.figure is not None:
            made = oil_charge if kind == "oil" else potash_charge
            pot += made(mass, row.figure)
    return react(pot)


def test_before_anything_is_weighed_nothing_is_known(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    found = outcome_of(batch)
    assert found.pot is None
    assert "Nothing has been weighed in" in found.why_not
    assert soap_content_of(batch).percent is None
    assert notes_on(found) == []


def test_a_cook_makes_what_its_weighings_say(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    expected = of_the_scales(batch)
    found = outcome_of(batch)
    assert found.pot == expected
    assert found.made is None  # not weighed yet
    assert "not been weighed" in soap_content_of(batch).sentence
    net = make.weigh_bulk(crew, batch)
    content = soap_content_of(batch)
    # what is missing counts as water, so all the soap is in what came out
    assert content.percent == pytest.approx(expected.soap * 100 / grams(net))
    assert content.sentence == ""
    (note,) = [one for one in notes_on(outcome_of(batch)) if "together" in one]
    assert "if none of what this batch itself lost was, the soap" in note


def test_a_dilution_has_its_part_of_the_soap_of_the_paste(crew: make.Crew) -> None:
    paste = make.released_paste(crew)
    liquid = make.diluted_batch(crew, paste=paste)
    of_paste, of_liquid = soap_content_of(paste), soap_content_of(liquid)
    assert of_paste.percent is not None
    assert of_liquid.percent is not None
    drawn = liquid.inputs.get(source=paste.stock).mass_mg
    made = yield_of(liquid).actual_mg
    assert made is not None
    expected = of_paste.percent * drawn / made
    assert of_liquid.percent == pytest.approx(expected, rel=Decimal("1e-8"))


def test_three_deep_costs_no_more_questions_than_a_cook(crew: make.Crew) -> None:
    paste = make.released_paste(crew)
    liquid = make.diluted_batch(crew, paste=paste)
    counts = []
    for batch in (paste, liquid):
        with CaptureQueriesContext(connection) as asked:
            assert soap_content_of(batch).percent is not None
        counts.append(len(asked))
    assert counts[0] == counts[1]


def test_what_holds_a_paste_of_unknown_content_names_it(crew: make.Crew) -> None:
    bad = make.failed_paste(crew, "rework", share="1.03")  # more out than in
    rework = make.open_batch(crew, is_rework=True)
    make.charge(crew, rework, bad.stock, 100 * G, is_rework=True)
    content = soap_content_of(rework)
    assert content.percent is None
    assert f"What {bad.number} holds is not known" in content.sentence
    assert "More came out than went in" in content.sentence


def test_acid_beyond_the_free_alkali_shows_as_soap_that_is_gone(
    crew: make.Crew,
) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    before = outcome_of(batch).pot
    lot = make.released_lot(crew, acid(crew), quantity_mg=100 * G)
    cooking.correct(
        by=crew.maker,
        batch=batch,
        source=lot.stock,
        scale=make.scale(crew.maker),
        gross_mg=10 * G,
        tare_mg=0,
        reason="too much by far",
    )
    after = outcome_of(batch).pot
    assert before is not None
    assert after is not None
    assert after.soap < before.soap
    assert after.excess == pytest.approx(
        before.excess - 10 * Decimal("0.876084"), abs=Decimal("1e-5")
    )
    assert after.total == before.total + 10
    assert any("alkali is short" in note for note in notes_on(outcome_of(batch)))


def test_an_addition_that_is_no_acid_is_only_mass(crew: make.Crew) -> None:
    salt = registers.save(
        by=crew.maker, entry=Material(name="sea salt", kind="addition")
    )
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    lot = make.released_lot(crew, salt, quantity_mg=100 * G)
    with pytest.raises(Exception, match="neither takes up alkali"):
        cooking.correct(
            by=crew.maker,
            batch=batch,
            source=lot.stock,
            scale=make.scale(crew.maker),
            gross_mg=10 * G,
            tare_mg=0,
            reason="to thicken",
        )


def test_losses_take_soap_along_and_evaporation_does_not(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    went_in = yield_of(batch).theoretical_mg
    losses.record_loss(by=crew.maker, batch=batch, kind="spill", mass_mg=100 * G)
    losses.record_loss(by=crew.maker, batch=batch, kind="evaporation", mass_mg=50 * G)
    net = went_in - 150 * G
    cooking.weigh_bulk(
        by=crew.maker,
        batch=batch,
        scale=make.scale(crew.maker),
        gross_mg=net,
        tare_mg=0,
    )
    found = outcome_of(batch)
    assert found.split is not None
    assert found.pot is not None
    assert found.split.known == 100
    assert found.split.evaporated == 50
    assert found.split.unexplained == 0
    product = grams(net + 100 * G)
    assert found.soap_content == pytest.approx(found.pot.soap * 100 / product)


def test_more_out_than_in_has_no_soap_content(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    make.weigh_bulk(crew, batch, share="1.03")
    content = soap_content_of(batch)
    assert content.percent is None
    assert "More came out than went in" in content.sentence


def test_what_no_water_can_explain_is_said(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    make.weigh_bulk(crew, batch, share="0.5")
    found = outcome_of(batch)
    assert found.split is not None
    assert found.split.unexplained > 0
    assert any("unexplained" in note for note in notes_on(found))


def watered_down(crew: make.Crew, paste: Batch, *, times: int) -> Batch:
    """Return the last of a chain: each a kilo of the one before and 1 g of water."""
    water = make.released_lot(crew, make.water(crew.maker))
    version, scale = make.liquid_version(crew), make.scale(crew.maker)
    now, last = timezone.now(), paste
    hand = {"observed_at": now, "entered_by": crew.maker}
    for number in range(times):
        stock = Stock.objects.create(kind="batch", code=f"B-1990-{number:04}")
        batch = Batch.objects.create(
            stock=stock,
            formula_version=version,
            kind="dilution",
            basis_mg=100 * G,
            status="released",
            maker=crew.maker,
            opened_at=now,
        )
        for source, mass_mg in ((last.stock, 1000 * G), (water.stock, G)):
            Input.objects.create(batch=batch, source=source, mass_mg=mass_mg)
            masses = {"gross_mg": mass_mg, "tare_mg": 0, "net_mg": mass_mg}
            Charge.objects.create(
                batch=batch, source=source, scale=scale, **masses, **hand
            )
        masses = {"gross_mg": 1001 * G, "tare_mg": 0, "net_mg": 1001 * G}
        BulkWeighing.objects.create(batch=batch, scale=scale, **masses, **hand)
        last = batch
    return last


def test_a_chain_of_three_hundred_dilutions_is_no_deeper_than_one(
    crew: make.Crew,
) -> None:
    paste = make.cooked_batch(crew)
    first = soap_content_of(paste).percent
    last = watered_down(crew, paste, times=300)
    found = outcome_of(last)
    assert first is not None
    assert found.why_not == ""
    assert found.soap_content is not None
    expected = first * (Decimal(1000) / 1001) ** 300
    assert found.soap_content == pytest.approx(expected, rel=Decimal("1e-8"))
    assert came_out(last).soap_content is not None


def test_what_is_not_known_far_above_is_said_in_one_sentence(
    crew: make.Crew,
) -> None:
    paste = make.cooked_batch(crew, share="1.03")  # more out than in
    content = soap_content_of(watered_down(crew, paste, times=300))
    assert content.percent is None
    assert content.sentence.startswith(f"What {paste.number} holds is not known: More")
    assert len(content.sentence) < 200


def acid_value(crew: make.Crew, lot: RawLot, volume_ml: str, **changes: Any) -> Any:
    """Titrate the acid value of a lot of oil: about 5 mg/g for each 9 ml."""
    sample = titrating.Replicate(sample_mg=10_000, volume_ml=Decimal(volume_ml))
    setup = {"concentration": Decimal("0.1"), "half_width": Decimal("0.0005")}
    return lab.titration(
        crew, lot.stock, sample, kind="acid_value", setup=setup, **changes
    )


def test_an_acid_value_titrated_later_changes_nothing_that_was_made(
    crew: make.Crew,
) -> None:
    oil = make.released_lot(crew, make.sunflower(crew.maker))
    paste = make.released_paste(crew)
    assert paste.charges.filter(source=oil.stock).exists()
    before = outcome_of(paste)
    acid_value(crew, oil, "9")
    after = outcome_of(paste)
    assert (after.pot, after.made) == (before.pot, before.made)
    assert came_out(paste).soap_content == came_out(paste).soap_content
    later = outcome_of(make.cooked_batch(crew))  # control: from now on it counts
    assert later.pot is not None
    assert before.pot is not None
    assert later.pot.glycerol < before.pot.glycerol


def test_the_acid_value_of_the_day_is_the_newest_by_its_day_and_stays(
    crew: make.Crew,
) -> None:
    oil = make.released_lot(crew, make.sunflower(crew.maker))
    ago = timezone.now() - datetime.timedelta(days=2)
    newest = acid_value(crew, oil, "3.6")
    acid_value(crew, oil, "9", observed_at=ago)  # written down late
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    row = batch.charges.get(source=oil.stock)
    assert Rows(batch).acid_value(row) == newest.value
    titrating.take_back_titration(by=crew.maker, titration=newest, reason="wrong oil")
    acid_value(crew, oil, "5")
    assert Rows(batch).acid_value(row) == newest.value
    amended = cooking.amend_charge(
        by=crew.maker,
        charge=row,
        gross_mg=row.gross_mg + G,
        tare_mg=row.tare_mg,
        reason="misread",
    )
    assert Rows(batch).acid_value(amended) == newest.value  # of the day it went in


def test_a_charge_of_another_lot_has_the_acid_value_of_that_one(
    crew: make.Crew,
) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    row = batch.charges.get(line__material__name="sunflower oil")
    assert Rows(batch).acid_value(row) is None
    other = make.released_lot(crew, make.sunflower(crew.maker))
    known = acid_value(crew, other, "3.6")
    amended = cooking.amend_charge(
        by=crew.maker,
        charge=row,
        source=other.stock,
        gross_mg=row.gross_mg,
        tare_mg=row.tare_mg,
        reason="read the wrong label",
    )
    assert Rows(batch).acid_value(amended) == known.value


def test_an_acid_value_taken_back_before_the_charge_does_not_count(
    crew: make.Crew,
) -> None:
    oil = make.released_lot(crew, make.sunflower(crew.maker))
    gone = acid_value(crew, oil, "9")
    titrating.take_back_titration(by=crew.maker, titration=gone, reason="wrong oil")
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    assert Rows(batch).acid_value(batch.charges.get(source=oil.stock)) is None
