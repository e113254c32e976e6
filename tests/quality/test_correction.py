"""The page of a correction: which excess counts, how much of what, and when nothing."""

from __future__ import annotations

import datetime
import re
import uuid
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from batches.models import Batch, Charge
from batches.services import cooking
from batches.services.titrating import Replicate, Setup, record_titration
from producer.models import Instrument, Material, RawLot
from producer.services import registers
from quality.services.correction import Correction, correction_of
from tests import make
from tests.database import row_counts
from tests.doors.pages import Page, page_of

pytestmark = pytest.mark.django_db

G = 1_000  # milligrams
NINE_TENTHS = Decimal("0.9")


@pytest.fixture
def browser(crew: make.Crew) -> Client:
    client = Client()
    client.force_login(crew.maker)
    return client


def fine_scale(crew: make.Crew) -> Instrument:
    """Return a scale in steps of a hundredth of a gram."""
    entry = Instrument(kind="scale", name="letter scale", resolution=Decimal("0.01"))
    return make.registered(crew.maker, entry)


def citric(crew: make.Crew, **changes: Any) -> RawLot:
    """Return a released lot of citric acid."""
    known = Material.objects.filter(name="citric acid").first()
    entry = Material(name="citric acid", kind="addition", acid="citric_anhydrous")
    material = known or registers.save(by=crew.maker, entry=entry)
    return make.released_lot(crew, material, **{"quantity_mg": 500 * G, **changes})


def pot(crew: make.Crew, *, extra_mg: int = 15 * G) -> Batch:
    """Return a cook with this much more potash in it than its oils need."""
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    if extra_mg:
        line = make.line_of(batch, "potash flakes")
        make.charge(crew, batch, make.stock_of(crew, line), extra_mg, line=line)
    return make.fresh(batch)


def lacking(crew: make.Crew) -> Batch:
    """Return a cook with 60 g of oil more than the potash was computed for."""
    batch = pot(crew, extra_mg=0)
    line = make.line_of(batch, "sunflower oil")
    make.charge(crew, batch, make.stock_of(crew, line), 60 * G, line=line)
    return make.fresh(batch)


def found_for(batch: Batch, **changes: Any) -> Correction:
    return correction_of(batch, on=make.TODAY, **changes)


def doses(found: Correction) -> dict[str, int | None]:
    return {one.lot.material.name: one.dose_mg for one in found.proposals}


def titrate(crew: make.Crew, batch: Batch, *volumes: str) -> None:
    """Titrate the free alkali of 10 g samples with 0.1 mol/l acid."""
    record_titration(
        by=crew.maker,
        stock=batch.stock,
        kind="free_alkali",
        replicates=[
            Replicate(sample_mg=10 * G, volume_ml=Decimal(volume)) for volume in volumes
        ],
        setup=Setup(
            concentration=Decimal("0.1"),
            half_width=Decimal("0.0005"),
            burette_half_width=Decimal("0.05"),
            scale=fine_scale(crew),
        ),
    )


def test_each_oil_of_the_pot_and_each_acid_gets_nine_tenths_of_its_dose(
    crew: make.Crew,
) -> None:
    fine_scale(crew)
    citric(crew)
    batch = pot(crew)
    found = found_for(batch)
    assert found.excess is not None
    excess = found.excess.value_g
    assert excess == pytest.approx(Decimal("13.5"), abs=Decimal("0.05"))
    dosed = doses(found)
    # by hand: E · 0.9 / what a gram takes up, down to a tenth of a gram
    for name, takes in {
        "citric acid": Decimal("0.876084"),
        "sunflower oil": Decimal("0.191"),
        "coconut oil": Decimal("0.2565"),
    }.items():
        dose = dosed.pop(name)
        assert dose is not None
        exact = excess * NINE_TENTHS / takes
        assert exact - Decimal("0.11") < Decimal(dose) / 1000 <= exact
    assert dosed == {}


def test_the_share_scales_the_dose(crew: make.Crew) -> None:
    fine_scale(crew)
    batch = pot(crew)
    half, whole = (
        doses(found_for(batch, share=Decimal(share)))["sunflower oil"]
        for share in ("0.5", "1")
    )
    assert half is not None
    assert whole is not None
    assert abs(whole - 2 * half) <= 200


def test_where_alkali_is_lacking_only_potash_is_offered(crew: make.Crew) -> None:
    fine_scale(crew)
    citric(crew)
    found = found_for(lacking(crew))
    assert found.excess is not None
    dosed = doses(found)
    assert set(dosed) == {"potash flakes"}
    dose = dosed["potash flakes"]
    assert dose is not None
    exact = -found.excess.value_g * NINE_TENTHS / NINE_TENTHS  # 90 % potash
    assert Decimal(dose) / 1000 == pytest.approx(exact, abs=Decimal("0.11"))


def test_weighing_the_dose_in_brings_the_excess_to_a_tenth(crew: make.Crew) -> None:
    scale, acid = fine_scale(crew), citric(crew)
    batch = pot(crew)
    found = found_for(batch)
    assert found.excess is not None
    dose = doses(found)["citric acid"]
    assert dose is not None
    cooking.correct(
        by=crew.maker,
        batch=batch,
        source=acid.stock,
        scale=scale,
        gross_mg=dose,
        tare_mg=0,
        reason="too much alkali",
    )
    after = found_for(make.fresh(batch))
    assert after.excess is not None
    assert after.excess.value_g == pytest.approx(
        found.excess.value_g / 10, abs=Decimal("0.1")
    )
    assert "inside its own uncertainty" in after.why_not
    assert after.proposals == []


def test_a_kitchen_scale_is_told_to_be_too_coarse_for_a_small_dose(
    crew: make.Crew,
) -> None:
    citric(crew)
    batch = pot(crew)
    by_name = {one.lot.material.name: one for one in found_for(batch).proposals}
    assert by_name["citric acid"].dose_mg is None
    assert "Take a finer scale" in by_name["citric acid"].why_not
    assert by_name["sunflower oil"].dose_mg is not None  # 63 g it can weigh


def test_what_may_not_or_cannot_be_used_is_not_offered(crew: make.Crew) -> None:
    fine_scale(crew)
    batch = pot(crew)
    little = citric(crew, quantity_mg=2 * G)
    held = make.held_lot(crew, little.material)
    old = citric(crew)
    yesterday = make.TODAY - datetime.timedelta(days=1)
    RawLot.objects.filter(pk=old.pk).update(expires_on=yesterday, received_on=yesterday)
    olive = make._oil(crew.maker, "olive oil", 184, 196)
    foreign = make.released_lot(crew, olive)  # not in this pot
    by_lot = {one.lot.pk: one for one in found_for(batch).proposals}
    assert not {held.pk, old.pk, foreign.pk} & by_lot.keys()
    assert "Only 2 g of it is on hand" in by_lot[little.pk].why_not


def test_an_excess_inside_its_uncertainty_is_measured_first(crew: make.Crew) -> None:
    found = found_for(pot(crew, extra_mg=0))
    assert found.excess is not None
    assert not found.excess.is_known
    assert "Measure first" in found.why_not
    assert found.proposals == []


def test_a_titration_counts_before_the_weighings(crew: make.Crew) -> None:
    fine_scale(crew)
    batch = pot(crew)
    titrate(crew, batch, "9.0", "9.1", "9.0")  # 0.5 % by 5.61 V c / m
    found = found_for(batch)
    assert found.excess is not None
    assert found.excess.origin == "titration"
    paste_g = Decimal(1662)
    assert found.excess.value_g == pytest.approx(
        paste_g * Decimal("0.00507"), rel=Decimal("0.01")
    )


def test_no_free_alkali_by_titration_leaves_lacking_potash_to_the_weighings(
    crew: make.Crew,
) -> None:
    batch = lacking(crew)
    titrate(crew, batch, "0.02", "0.03", "0.02")
    found = found_for(batch)
    assert found.excess is not None
    assert found.excess.origin == "weighings"
    assert found.excess.value_g < 0


def test_free_alkali_beside_lacking_potash_means_cook_on(crew: make.Crew) -> None:
    batch = lacking(crew)
    titrate(crew, batch, "9.0", "9.1", "9.0")
    found = found_for(batch)
    assert any("Cook on and titrate again" in words for words in found.advice)


def test_after_a_dose_by_titration_the_weighings_propose_no_other(
    crew: make.Crew,
) -> None:
    fine_scale(crew)
    acid = citric(crew)
    batch = pot(crew, extra_mg=0)
    titrate(crew, batch, "9.0", "9.1", "9.0")
    cooking.correct(
        by=crew.maker,
        batch=batch,
        source=acid.stock,
        scale=make.scale(crew.maker),
        gross_mg=9 * G,
        tare_mg=0,
        reason="too much alkali",
    )
    found = found_for(batch)
    assert found.excess is not None
    assert found.excess.is_known  # by the weighings potash is lacking now
    assert found.proposals == []
    assert "Titrate it again" in found.why_not
    lacking_by_weighing = found_for(batch).advice
    assert any("If it is clear" in words for words in lacking_by_weighing)


def test_after_two_corrections_it_says_stop(crew: make.Crew) -> None:
    batch = pot(crew)
    oil = RawLot.objects.get(material__name="sunflower oil")
    for _ in range(2):
        assert not any("stop" in words for words in found_for(batch).advice)
        cooking.correct(
            by=crew.maker,
            batch=batch,
            source=oil.stock,
            scale=make.scale(crew.maker),
            gross_mg=20 * G,
            tare_mg=0,
            reason="too much alkali",
        )
    assert any("stop" in words for words in found_for(batch).advice)


def test_a_wide_excess_warns_of_the_soap_that_acid_could_split(crew: make.Crew) -> None:
    fine_scale(crew)
    citric(crew)
    found = found_for(pot(crew, extra_mg=5 * G))
    assert found.excess is not None
    acid = next(one for one in found.proposals if one.lot.material.acid)
    overshoot = found.excess.value_g * NINE_TENTHS - (
        found.excess.value_g - found.excess.expanded_uncertainty_g
    )
    assert overshoot > 0
    # about 5.3 g of soap, with a fifth of coconut oil, for each gram of KOH
    assert acid.soap_split_g == pytest.approx(
        overshoot * Decimal("5.3"), rel=Decimal("0.05")
    )
    oil = next(one for one in found.proposals if not one.lot.material.acid)
    assert oil.soap_split_g == 0


@pytest.mark.parametrize("state", ["planned", "incomplete", "weighed", "finished"])
def test_where_nothing_can_go_in_it_says_why(crew: make.Crew, state: str) -> None:
    said = {
        "planned": "Nothing is in the pot yet",
        "incomplete": "first: until then",
        "weighed": "has been weighed already",
        "finished": "nothing can be weighed in any more",
    }[state]
    batch = make.open_batch(crew)
    if state == "incomplete":
        oil = make.released_lot(crew, make.sunflower(crew.maker))
        make.charge(crew, batch, oil.stock, 800 * G)
    elif state != "planned":
        make.charge_all(crew, batch)
        make.weigh_bulk(crew, batch)
        if state == "finished":
            cooking.finish(by=crew.maker, batch=batch)
    found = found_for(make.fresh(batch))
    assert said in found.closed
    assert found.proposals == []


# ------------------------------------------------------------------ pages


def correction_page(browser: Client, batch: Batch, query: str = "") -> Page:
    response = browser.get(reverse("quality:correction", args=[batch.number]) + query)
    assert response.status_code == 200
    return page_of(response)


def test_the_page_shows_doses_cautions_and_a_way_to_weigh(
    browser: Client, crew: make.Crew
) -> None:
    fine_scale(crew)
    acid = citric(crew)
    batch = pot(crew)
    page = correction_page(browser, batch)
    assert "13.5 ±" in page.words
    assert "Never undiluted acid together with potash" in page.words
    links = [one["href"] for one in page.attributes("a") if "href" in one]
    address = reverse("batches:correct", args=[batch.number, acid.code])
    assert f"{address}?share=90" in links
    half = correction_page(browser, batch, "?share=50")
    assert "At 50 % of the computed dose" in half.words


@pytest.mark.parametrize("share", ["0", "101", "ninety", "", "9" * 400, "-5", "²"])
def test_a_share_that_cannot_be_is_said_beside_its_field(
    browser: Client, crew: make.Crew, share: str
) -> None:
    fine_scale(crew)
    batch = pot(crew)
    page = correction_page(browser, batch, f"?share={share}")
    wrong = [one for one in page.attributes("div") if "wrong" in one.get("class", "")]
    assert wrong
    assert "At 90 % of the computed dose" in page.words


def test_a_correction_is_weighed_in_from_its_page(
    browser: Client, crew: make.Crew
) -> None:
    scale, acid = fine_scale(crew), citric(crew)
    batch = pot(crew)
    address = reverse("batches:correct", args=[batch.number, acid.code])
    page = page_of(browser.get(f"{address}?share=50"))
    assert re.search(r"To weigh at 50 % .*7\.\d+ g", page.words)
    form = {
        "submission": str(uuid.uuid4()),
        "scale": str(scale.pk),
        "gross_mg": "17,7 g",
        "tare_mg": "10 g",
        "reason": "",
    }
    before = row_counts()
    assert "This is needed" in page_of(browser.post(address, form)).words
    assert row_counts() == before
    assert browser.post(address, {**form, "reason": "0.5 % alkali"}).status_code == 302
    row = Charge.objects.get(batch=batch, line=None)
    assert (row.net_mg, row.reason) == (7_700, "0.5 % alkali")


@pytest.mark.parametrize("share", ["nonsense", "500", "9" * 500])
def test_the_dose_on_the_page_of_weighing_is_clamped(
    browser: Client, crew: make.Crew, share: str
) -> None:
    fine_scale(crew)
    acid, batch = citric(crew), pot(crew)
    address = reverse("batches:correct", args=[batch.number, acid.code])
    response = browser.get(f"{address}?share={share}")
    assert response.status_code == 200
    assert "of the computed dose" in page_of(response).words


def test_what_corrects_nothing_has_no_page_to_weigh_it_in(
    browser: Client, crew: make.Crew
) -> None:
    batch = pot(crew)
    water = RawLot.objects.get(material__name="distilled water")
    address = reverse("batches:correct", args=[batch.number, water.code])
    assert browser.get(address).status_code == 404


def test_a_loss_is_recorded_corrected_and_taken_back_by_its_pages(
    browser: Client, crew: make.Crew
) -> None:
    batch = pot(crew)
    home = reverse("batches:batch", args=[batch.number])
    form = {
        "submission": str(uuid.uuid4()),
        "kind": "spill",
        "mass_mg": "30 g",
        "half_width_mg": "",
        "note": "on the hob",
    }
    address = reverse("batches:loss", args=[batch.number])
    assert browser.get(address).status_code == 200
    assert browser.post(address, form).headers["Location"] == home
    page = page_of(browser.get(home))
    assert "on the hob" in page.words
    pk = batch.losses.get().pk
    amend = reverse("batches:loss_amend", args=[batch.number, pk])
    facts = {**form, "mass_mg": "40 g", "half_width_mg": "5 g", "reason": "weighed"}
    assert browser.post(amend, facts).status_code == 302
    assert "40 g ± 5 g" in page_of(browser.get(home)).words
    newest = batch.losses.latest("pk").pk
    void = reverse("batches:loss_void", args=[batch.number, newest])
    assert "40 g" in page_of(browser.get(void)).words
    sent = {"submission": str(uuid.uuid4()), "reason": "it was scraped off"}
    assert browser.post(void, sent).status_code == 302
    assert "taken back" in page_of(browser.get(home)).words


def test_the_batch_and_review_pages_show_what_came_out(
    browser: Client, crew: make.Crew
) -> None:
    paste = make.released_paste(crew)
    liquid = make.diluted_batch(crew, paste=paste)
    for batch in (paste, liquid):
        for name in ("batches:batch", "quality:review"):
            words = page_of(browser.get(reverse(name, args=[batch.number]))).words
            assert "What came out" in words
            assert re.search(r"Soap content \d+\.\d+ ± \d+\.\d+ %", words)
            assert "Where the ± of the soap content comes from" in words
