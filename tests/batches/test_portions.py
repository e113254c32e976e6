"""Portions of a bulk product: never more than is there, and a charge takes no more."""

from __future__ import annotations

import uuid
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.test import Client
from django.urls import reverse

from batches.models import Batch, Charge, Portion
from batches.services import cooking, half_weighings, portions
from batches.services.cooking.how import How
from batches.services.portion_books import Taken, leave_alone, outside_mg, portion_for
from batches.services.results import yield_of
from producer.errors import Conflict, NotEnough, Refusal
from producer.models import JournalEntry, Place
from producer.services import registers
from quality.services import finding
from quality.services.verification import CHECKS, quiet
from tests import make
from tests.doors.pages import page_of

pytestmark = pytest.mark.django_db

G = 1_000


def cellar(crew: make.Crew) -> Place:
    known = Place.objects.filter(name="cellar").first()
    return known or registers.save(
        by=crew.maker, entry=Place(name="cellar", conditions="frost-free, dark")
    )


def paste(crew: make.Crew, made_mg: int = 1_600 * G) -> Batch:
    """Return a released paste of which so much was weighed out."""
    batch = make.open_batch(crew, basis_mg=make.KG)
    make.charge_all(crew, batch)
    make.read_ph(crew, batch)
    make.read_clarity(crew, batch)
    cooking.weigh_bulk(
        by=crew.maker,
        batch=batch,
        scale=make.scale(crew.maker),
        gross_mg=made_mg + make.TARE_MG,
        tare_mg=make.TARE_MG,
    )
    cooking.finish(by=crew.maker, batch=batch)
    return make.signed(crew.reviewer, batch, "release")


def aside(crew: make.Crew, batch: Batch, mass_mg: int, purpose: str = "") -> Portion:
    return portions.set_aside(
        by=crew.maker,
        batch=batch,
        mass_mg=mass_mg,
        place=cellar(crew),
        purpose=purpose,
    )


def dilution(crew: make.Crew, paste_mg: int) -> Batch:
    return make.open_batch(crew, make.liquid_version(crew), basis_mg=paste_mg)


def draw(
    crew: make.Crew, batch: Batch, source: Batch, mg: int, portion: Portion | None
) -> Charge:
    how = How(portion=portion, passed_over=make.SCENE)
    return make.charge(crew, batch, source.stock, mg, how=how)


def left(batch: Batch) -> list[int]:
    return [one.left_mg for one in portions.portions_of(batch)]


def test_scenario_15_partial_portion_700_g_remain_with_status_place_and_date(
    crew: make.Crew,
) -> None:
    batch = paste(crew)
    before = yield_of(batch)
    tub = aside(crew, batch, 1_600 * G, "our own washing")
    draw(crew, dilution(crew, 900 * G), batch, 900 * G, tub)
    (now,) = portions.portions_of(batch)
    assert (now.left_mg, now.number, str(now.place)) == (700 * G, 1, "cellar")
    assert now.purpose == "our own washing"
    assert now.code == f"{batch.number}/1"
    assert yield_of(batch) == before
    browser = Client()
    browser.force_login(crew.maker)
    page = page_of(browser.get(reverse("batches:batch", args=[batch.number])))
    assert f"{batch.number}/1 released" in page.words
    assert "700 g of 1.6 kg" in page.words
    assert "cellar" in page.words
    assert f"{tub.observed_at:%b %Y}" in page.words
    assert "1.6 kg" in page.words[page.words.index("Actual") :][:40]


def test_no_more_is_set_aside_than_is_on_hand(crew: make.Crew) -> None:
    batch = paste(crew)
    aside(crew, batch, 900 * G)
    with pytest.raises(Refusal, match="Only 700 g more") as refused:
        aside(crew, batch, 700 * G + 1)
    assert refused.value.field == "mass_mg"
    aside(crew, batch, 700 * G)
    with pytest.raises(Refusal, match="Only 0 g more"):
        aside(crew, batch, 1)
    assert left(batch) == [900 * G, 700 * G]
    assert outside_mg(batch, portions.portions_of(batch)) == 0


def test_what_was_drawn_from_the_bulk_is_not_there_to_set_aside(
    crew: make.Crew,
) -> None:
    batch = paste(crew)
    draw(crew, dilution(crew, 900 * G), batch, 900 * G, None)
    with pytest.raises(Refusal, match="Only 700 g more"):
        aside(crew, batch, 701 * G)
    assert aside(crew, batch, 700 * G).number == 1


def test_what_was_not_weighed_out_has_no_portions(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    with pytest.raises(Refusal, match="has not been weighed yet"):
        aside(crew, batch, 5)


def test_a_charge_never_takes_more_than_its_portion_holds(crew: make.Crew) -> None:
    batch = paste(crew)
    tub, other = aside(crew, batch, 500 * G), aside(crew, batch, 600 * G)
    into = dilution(crew, 600 * G)
    with pytest.raises(NotEnough, match=r"holds 500 g, so 500.001 mg") as refused:
        draw(crew, into, batch, 500 * G + 1, tub)
    assert refused.value.field == "portion"
    entry = JournalEntry.objects.first()
    assert entry is not None
    assert entry.act == "draw refused"
    row = draw(crew, into, batch, 500 * G, tub)
    assert row.portion == tub
    assert left(batch) == [0, 600 * G]
    with pytest.raises(NotEnough, match="holds 0 g"):
        draw(crew, into, batch, 1 * G, tub)
    assert draw(crew, into, batch, 100 * G, other).portion == other


def test_without_a_portion_only_what_stands_outside_is_taken(crew: make.Crew) -> None:
    batch = paste(crew)
    aside(crew, batch, 500 * G)
    aside(crew, batch, 600 * G)
    into = dilution(crew, 600 * G)
    with pytest.raises(Refusal, match="Say which one it came from") as refused:
        draw(crew, into, batch, 500 * G + 1, None)
    assert refused.value.field == "portion"
    assert "500 g of" in refused.value.message
    assert "(600 g, cellar)" in refused.value.message
    assert draw(crew, into, batch, 500 * G, None).portion is None
    assert left(batch) == [500 * G, 600 * G]


def test_the_only_portion_follows_where_nothing_else_is_left(crew: make.Crew) -> None:
    batch = paste(crew)
    tub = aside(crew, batch, 1_600 * G)
    assert draw(crew, dilution(crew, 300 * G), batch, 300 * G, None).portion == tub
    assert left(batch) == [1_300 * G]


def test_a_portion_of_another_batch_or_of_a_lot_is_refused(crew: make.Crew) -> None:
    batch, other = paste(crew), paste(crew)
    tub = aside(crew, other, 100 * G)
    with pytest.raises(Refusal, match="is no portion of"):
        draw(crew, dilution(crew, 50 * G), batch, 50 * G, tub)
    lot = make.released_lot(crew, make.water(crew.maker))
    with pytest.raises(Refusal, match="has no portions"):
        portion_for(lot.stock, tub, net_mg=5)


def test_a_correction_of_a_charge_follows_in_its_portion(crew: make.Crew) -> None:
    batch = paste(crew)
    tub = aside(crew, batch, 500 * G)
    into = dilution(crew, 500 * G)
    row = draw(crew, into, batch, 400 * G, tub)
    tare = make.TARE_MG
    with pytest.raises(NotEnough, match="holds 500 g"):
        cooking.amend_charge(
            by=crew.maker,
            charge=row,
            gross_mg=501 * G + tare,
            tare_mg=tare,
            reason="misread",
        )
    more = cooking.amend_charge(
        by=crew.maker,
        charge=row,
        gross_mg=500 * G + tare,
        tare_mg=tare,
        reason="misread",
    )
    assert more.portion == tub
    assert left(batch) == [0]
    cooking.amend_charge(by=crew.maker, charge=more, void=True, reason="wrong pot")
    assert left(batch) == [500 * G]


def test_a_correction_without_a_portion_takes_what_it_took_again(
    crew: make.Crew,
) -> None:
    batch = paste(crew)
    aside(crew, batch, 500 * G)
    aside(crew, batch, 500 * G)
    row = draw(crew, dilution(crew, 600 * G), batch, 600 * G, None)
    was = Taken(portion=None, mass_mg=row.net_mg)
    assert portion_for(batch.stock, None, net_mg=600 * G, was=was) is None
    with pytest.raises(Refusal, match="Say which one"):
        portion_for(batch.stock, None, net_mg=600 * G + 1, was=was)


def test_an_amended_portion_keeps_number_and_what_was_taken(crew: make.Crew) -> None:
    batch = paste(crew)
    tub = aside(crew, batch, 500 * G)
    draw(crew, dilution(crew, 200 * G), batch, 200 * G, tub)
    shed = registers.save(by=crew.maker, entry=Place(name="shed"))
    moved = portions.amend_portion(
        by=crew.maker, portion=tub, mass_mg=500 * G, place=shed, reason="moved"
    )
    (now,) = portions.portions_of(batch)
    assert (now.portion, now.number, now.left_mg) == (moved, 1, 300 * G)
    assert str(now.place) == "shed"
    # A page that was open longer still names the former row: the same tub.
    row = draw(crew, dilution(crew, 100 * G), batch, 100 * G, tub)
    assert row.portion == moved
    assert left(batch) == [200 * G]
    with pytest.raises(Conflict, match="corrected already"):
        portions.amend_portion(
            by=crew.maker, portion=tub, mass_mg=500 * G, reason="again"
        )
    with pytest.raises(Refusal, match="it held no less"):
        portions.amend_portion(
            by=crew.maker, portion=moved, mass_mg=300 * G - 1, reason="less"
        )
    with pytest.raises(Refusal, match=r"Only 1\.1 kg more"):
        portions.amend_portion(
            by=crew.maker, portion=moved, mass_mg=1_600 * G + 1, reason="more"
        )
    with pytest.raises(Refusal, match="300 g was taken out of"):
        portions.amend_portion(by=crew.maker, portion=moved, void=True, reason="no")


def test_a_portion_taken_back_stands_with_the_rest_again(crew: make.Crew) -> None:
    batch = paste(crew)
    tub = aside(crew, batch, 1_600 * G)
    portions.amend_portion(by=crew.maker, portion=tub, void=True, reason="poured back")
    assert portions.portions_of(batch) == []
    with pytest.raises(Refusal, match="was taken back"):
        draw(crew, dilution(crew, 5 * G), batch, 5 * G, tub)
    assert aside(crew, batch, 1_600 * G).number == 2  # a number is given once


def test_a_smaller_yield_must_leave_what_is_set_aside(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    make.read_ph(crew, batch)
    made = make.weigh_bulk(crew, batch)
    aside(crew, batch, made - 100 * G)
    weighing = batch.bulk_weighings.get()
    facts: dict[str, Any] = {
        "by": crew.maker,
        "weighing": weighing,
        "reason": "misread",
    }
    tare = make.TARE_MG
    with pytest.raises(Refusal, match="stands outside its portions"):
        cooking.amend_bulk(**facts, gross_mg=made - 100 * G - 1 + tare, tare_mg=tare)
    cooking.amend_bulk(**facts, gross_mg=made - 100 * G + tare, tare_mg=tare)
    leave_alone(batch, 0)
    with pytest.raises(Refusal, match="Amend those it comes from first"):
        leave_alone(batch, 1)


def test_disposal_leaves_nothing_in_any_tub(crew: make.Crew) -> None:
    batch = make.failed_paste(crew)
    aside(crew, batch, 500 * G)
    make.sign(crew.reviewer, batch, "dispose")
    assert left(batch) == [0]


def test_only_a_maker_sets_aside_and_amends(crew: make.Crew) -> None:
    batch = paste(crew)
    with pytest.raises(PermissionDenied):
        portions.set_aside(by=crew.reviewer, batch=batch, mass_mg=5)
    tub = aside(crew, batch, 500 * G)
    with pytest.raises(PermissionDenied):
        portions.amend_portion(
            by=crew.reviewer, portion=tub, mass_mg=5, reason="no right"
        )


def test_a_half_weighing_is_finished_from_a_portion(crew: make.Crew) -> None:
    batch = paste(crew)
    tub = aside(crew, batch, 500 * G)
    aside(crew, batch, 500 * G)
    into = dilution(crew, 300 * G)
    make.go_through(crew, into)
    line = make.line_of(into, "Kitchen paste")
    start = half_weighings.begin(
        by=crew.maker,
        batch=into,
        line=line,
        source=batch.stock,
        scale=make.scale(crew.maker),
        first_mg=make.TARE_MG,
    )
    browser = Client()
    browser.force_login(crew.maker)
    address = reverse("batches:start_finish", args=[into.number, start.pk])
    page = page_of(browser.get(address))
    assert f"{batch.number}/1 – 500 g left, cellar" in page.words
    assert "CAUTION Hot paste and boiling water" in page.words
    answer = browser.post(
        address,
        {
            "submission": str(uuid.uuid4()),
            "other_mg": "650 g",
            "portion": tub.pk,
            "unusual": "a small one",
        },
    )
    assert answer.status_code == 302
    assert Charge.objects.get(batch=into).portion == tub


def test_the_pages_set_aside_amend_take_back_and_charge(crew: make.Crew) -> None:
    batch = paste(crew)
    browser = Client()
    browser.force_login(crew.maker)
    place = cellar(crew)
    address = reverse("batches:portion_add", args=[batch.number])
    assert "Outside its portions 1.6 kg" in page_of(browser.get(address)).words
    form = {"mass_mg": "900 g", "place": place.pk, "purpose": "the stall"}
    answer = browser.post(address, {"submission": str(uuid.uuid4()), **form})
    assert answer.status_code == 302
    tub = Portion.objects.get()
    aside(crew, batch, 700 * G)
    amend = reverse("batches:portion_amend", args=[batch.number, tub.pk])
    typed = next(
        one
        for one in page_of(browser.get(amend)).attributes("input")
        if one.get("name") == "mass_mg"
    )
    assert typed["value"] == "900 g"
    answer = browser.post(
        amend,
        {
            "submission": str(uuid.uuid4()),
            "mass_mg": typed["value"],
            "purpose": "gifts",
            "reason": "no stall this year",
        },
    )
    assert answer.status_code == 302
    moved = Portion.objects.current().get(number=1)
    assert (moved.mass_mg, moved.purpose, moved.place) == (900 * G, "gifts", None)
    page = page_of(browser.get(reverse("batches:batch", args=[batch.number])))
    assert "Amended: no stall this year" in page.words
    assert "900 g, cellar, the stall" in page.words
    into = dilution(crew, 400 * G)
    make.go_through(crew, into)
    line = make.line_of(into, "Kitchen paste")
    charge = reverse("batches:charge", args=[into.number, line.position])
    assert f"{batch.number}/1 – 900 g left, gifts" in page_of(browser.get(charge)).words
    fields = {
        "source": batch.pk,
        "scale": make.scale(crew.maker).pk,
        "gross_mg": "750 g",
        "tare_mg": "350 g",
    }
    refused = page_of(browser.post(charge, {"submission": str(uuid.uuid4()), **fields}))
    assert "Say which one it came from" in refused.words
    fields |= {"submission": str(uuid.uuid4()), "portion": moved.pk}
    assert browser.post(charge, fields).status_code == 302
    assert Charge.objects.get(batch=into).portion == moved
    page = page_of(browser.get(reverse("batches:batch", args=[into.number])))
    assert f"portion {batch.number}/1" in page.words


def test_a_cook_is_not_asked_for_portions(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    make.go_through(crew, batch)
    browser = Client()
    browser.force_login(crew.maker)
    address = reverse("batches:charge", args=[batch.number, 1])
    assert "From which portion" not in page_of(browser.get(address)).words


def test_the_code_of_a_portion_leads_to_its_batch(crew: make.Crew) -> None:
    batch = paste(crew)
    aside(crew, batch, 500 * G)
    hit = finding.by_code(f"{batch.number.lower()} / 1")
    assert hit == finding.Hit("batches:batch", (batch.number,), f"{batch.number}/1")
    assert finding.by_code(f"{batch.number}/2") is None


def test_a_signed_dilution_names_the_portion_and_verifies(crew: make.Crew) -> None:
    batch = paste(crew)
    tub = aside(crew, batch, 500 * G)
    liquid = dilution(crew, 400 * G)
    draw(crew, liquid, batch, 400 * G, tub)
    water = make.released_lot(crew, make.water(crew.maker))
    make.charge(crew, liquid, water.stock, 600 * G)
    make.complete(crew, liquid, share="0.99")
    make.sign(crew.reviewer, liquid)
    record = liquid.signatures.get().record
    assert '"portion":1' in record
    portions.amend_portion(
        by=crew.maker, portion=tub, mass_mg=450 * G, reason="it held less"
    )
    assert [fault for check in CHECKS for fault in check.walk(quiet)] == []
