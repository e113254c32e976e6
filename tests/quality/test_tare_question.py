"""Scenario 24: more came out than went in, and what is asked then."""

from __future__ import annotations

from decimal import Decimal

import pytest
from django.test import Client
from django.urls import reverse

from batches.models import Batch, HoldPoint
from batches.services import cooking, hold_points, losses
from batches.services.entries import Entries
from batches.services.outcome import outcome_of
from batches.services.results import yield_of
from batches.services.tare_question import is_impossible, tare_question
from producer.errors import Refusal
from quality.services.reviewing import review_of
from tests import make
from tests.doors.pages import field_value, page_of

pytestmark = pytest.mark.django_db
# What weighing the vessel empty showed, by what was taken off instead of it.
POT_MG, TAKEN_OFF_MG = make.TARE_MG, 300_000


def weighed_too_light(crew: make.Crew) -> Batch:
    """Return a batch whose yield had 300 g taken off for a pot of 350 g."""
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    went_in = yield_of(batch).theoretical_mg
    cooking.weigh_bulk(
        by=crew.maker,
        batch=batch,
        scale=make.scale(crew.maker),
        vessel=make.vessel(crew.maker),
        gross_mg=went_in - 1_000 + POT_MG,
        tare_mg=TAKEN_OFF_MG,
    )
    return make.fresh(batch)


def weigh_the_pot(crew: make.Crew, batch: Batch) -> HoldPoint:
    (row,) = hold_points.go_through(
        by=crew.maker,
        batch=batch,
        looks=[
            hold_points.Look(
                point=HoldPoint.Point.TARE,
                tare=hold_points.EmptyVessel(
                    vessel=make.vessel(crew.maker),
                    scale=make.scale(crew.maker),
                    mass_mg=POT_MG,
                ),
            )
        ],
    )
    return row


def obstacle(crew: make.Crew, batch: Batch) -> str:
    found = review_of(batch, by=crew.reviewer).obstacles
    return next((one for one in found if "More came out" in one), "")


def test_scenario_24_yield_103_percent_stops_and_a_tare_check_is_asked(
    crew: make.Crew,
) -> None:
    batch = weighed_too_light(crew)
    result = yield_of(batch)
    assert result.variance_percent is not None
    assert Decimal("2.9") < result.variance_percent < Decimal("3.1")
    asked = obstacle(crew, batch)
    assert "Its tare was taken as 300 g: weigh steel pot empty again" in asked
    assert "Hold points, vessel and tare" in asked
    # The vessel is weighed empty again: now both tares stand there.
    weigh_the_pot(crew, batch)
    both = obstacle(crew, batch)
    assert "Its tare was taken as 300 g" in both
    assert "weighed empty again: 350 g. Agrees." in both
    # Still no release, whatever is said in its favour.
    make.read_ph(crew, batch)
    cooking.record_reading(
        by=crew.maker, batch=batch, characteristic="clarity", clarity="clear"
    )
    cooking.finish(by=crew.maker, batch=batch)
    with pytest.raises(Refusal, match="weighed empty again"):
        make.sign(crew.reviewer, make.fresh(batch))
    # The tare put right: both values stay, and nothing is in the way any more.
    row = batch.bulk_weighings.get()
    mended = cooking.amend_bulk(
        by=crew.maker,
        weighing=row,
        gross_mg=row.gross_mg,
        tare_mg=POT_MG,
        reason="tare of another pot",
    )
    assert mended.vessel == row.vessel
    assert obstacle(crew, batch) == ""
    assert make.signed(crew.reviewer, make.fresh(batch), "release").status == "released"
    assert [one.tare_mg for one in batch.bulk_weighings.order_by("pk")] == [
        *(TAKEN_OFF_MG, POT_MG)
    ]


def test_a_finished_batch_is_asked_too_without_a_page_that_is_closed(
    crew: make.Crew,
) -> None:
    batch = make.cooked_batch(crew, share="1.03")
    asked = obstacle(crew, batch)
    assert "weigh the vessel empty again, then correct" in asked
    assert "Hold points" not in asked  # they are past


def test_nothing_is_asked_of_a_yield_that_can_be(crew: make.Crew) -> None:
    batch = make.cooked_batch(crew, share="0.97")
    assert not is_impossible(Entries(batch))
    assert obstacle(crew, batch) == ""
    open_ = make.open_batch(crew)
    assert tare_question(Entries(open_)) == ""
    assert not is_impossible(Entries(open_))


def test_a_tare_from_before_the_yield_answers_nothing(crew: make.Crew) -> None:
    """The pot was weighed at its hold point: that was before, and is no new check."""
    batch = weighed_too_light(crew)
    entries = Entries(batch)
    assert any(row.tare for row in entries.hold_points)  # there is one from before
    assert "weighed empty again" not in tare_question(entries)


def test_the_page_says_it_at_once(client: Client, crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    client.force_login(crew.maker)
    address = reverse("batches:weigh", args=[batch.number])
    over = yield_of(batch).theoretical_mg // 1000 + 50
    fields = {
        "submission": field_value(page_of(client.get(address)), "submission"),
        "scale": make.scale(crew.maker).pk,
        "gross_mg": f"{over} g",
        "tare_mg": "0",
    }
    page = page_of(client.post(address, fields, follow=True))
    assert "more came out than went in" in page.words
    assert "cannot be released so" in page.words
    assert "Its tare was taken as 0 g" in page.words


def test_evaporation_and_what_is_unexplained_stand_apart(crew: make.Crew) -> None:
    """1000 g less 50 g boiled off as weighed less 20 g spilled: 30 g unexplained."""
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    for kind, mass_mg in (("evaporation", 50_000), ("spill", 20_000)):
        losses.record_loss(by=crew.maker, batch=batch, kind=kind, mass_mg=mass_mg)
    went_in = yield_of(batch).theoretical_mg
    cooking.weigh_bulk(
        by=crew.maker,
        batch=batch,
        scale=make.scale(crew.maker),
        gross_mg=went_in - 100_000,
        tare_mg=0,
    )
    split = outcome_of(batch).split
    assert split is not None
    assert split.evaporated == 50
    assert split.known == 20
    assert split.unexplained == 30
