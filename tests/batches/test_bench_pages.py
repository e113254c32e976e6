"""The pages of the bench: titrate, weigh a container, and see what was found."""

from __future__ import annotations

import uuid
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from batches.models import ContainerWeighing, Titration
from batches.services import titrating
from producer.models import Certificate, Material, Premises, RawLot, User
from producer.services import intake
from tests import lab, make, uploads
from tests.database import row_counts
from tests.doors.pages import page_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def browser(crew: make.Crew) -> Client:
    client = Client()
    client.force_login(crew.maker)
    return client


@pytest.fixture
def potash(crew: make.Crew) -> RawLot:
    return make.released_lot(crew, make.potash(crew.maker))


def form(crew: make.Crew, **changes: Any) -> dict[str, Any]:
    return {
        "submission": str(uuid.uuid4()),
        "concentration": "1",
        "half_width": "0,002",
        "burette_half_width": "0.05",
        "scale": str(lab.balance(crew.maker).pk),
        **changes,
    }


POTASH_ROW = {"sample_1": "1,5 g", "volume_1": "24,1", "second_1": "24.2"}


def address_of(code: str, kind: str = "potash") -> str:
    return reverse("batches:titrate", args=[code, kind])


def lot_page(browser: Client, lot: RawLot) -> str:
    return page_of(browser.get(reverse("producer:lot", args=[lot.code]))).words


def test_the_page_says_how_by_which_formula_and_what_can_hurt(
    browser: Client, potash: RawLot
) -> None:
    page = page_of(browser.get(address_of(potash.code)))
    assert "methyl orange" in page.words
    assert "5.61·(2a − b)·c/m" in page.words
    assert "in soap it is not valid" in page.words
    assert "Alcohol is flammable" in page.words
    assert "Goggles" in page.words
    assert "severe skin burns" in page.words


def test_only_the_samples_that_are_filled_in_count(
    browser: Client, crew: make.Crew, potash: RawLot
) -> None:
    rows = {**POTASH_ROW, "sample_3": "1.6", "volume_3": "25.7", "second_3": "25.8"}
    page = page_of(
        browser.post(address_of(potash.code), form(crew, **rows), follow=True)
    )
    row = Titration.objects.get()
    assert [one.sample_mg for one in row.replicates.all()] == [1500, 1600]
    assert row.titrant_half_width == Decimal("0.002")
    assert row.sentence in page.words


def test_a_half_filled_sample_is_asked_about(
    browser: Client, crew: make.Crew, potash: RawLot
) -> None:
    rows = {**POTASH_ROW, "sample_2": "1.5", "volume_4": "24"}
    said = form(crew, **rows)
    before = row_counts()
    page = page_of(browser.post(address_of(potash.code), said))
    assert "This is needed for sample 2." in page.words
    assert "This is needed for sample 4." in page.words
    assert row_counts() == before


def test_an_empty_form_asks_for_a_sample(
    browser: Client, crew: make.Crew, potash: RawLot
) -> None:
    page = page_of(browser.post(address_of(potash.code), form(crew)))
    assert "Write at least one sample." in page.words


def test_what_the_service_refuses_stands_on_the_form(
    browser: Client, crew: make.Crew, potash: RawLot
) -> None:
    rows = {"sample_1": "1.5", "volume_1": "12", "second_1": "24.5"}
    page = page_of(browser.post(address_of(potash.code), form(crew, **rows)))
    assert "The first end point must come after half of all the acid" in page.words
    assert not Titration.objects.exists()


def test_what_is_no_number_is_said_beside_its_field(
    browser: Client, crew: make.Crew, potash: RawLot
) -> None:
    rows = {**POTASH_ROW, "volume_1": "a lot"}
    page = page_of(browser.post(address_of(potash.code), form(crew, **rows)))
    assert "“a lot” is not one number" in page.words
    assert "needed for sample 1" not in page.words


def test_a_result_that_contradicts_the_certificate_asks_why_and_shows_it(
    browser: Client, crew: make.Crew, potash: RawLot
) -> None:
    said = form(crew, **POTASH_ROW, concentration="0.5")
    page = page_of(browser.post(address_of(potash.code), said))
    assert "If this is an unusual result, why" in page.words
    assert "does not fit certificate version 1" in page.words
    assert not Titration.objects.exists()
    said = form(crew, **POTASH_ROW, concentration="0.5", unusual="a tin of lye")
    page = page_of(browser.post(address_of(potash.code), said, follow=True))
    assert "Unusual, because: a tin of lye" in page.words


def test_only_what_is_held_against_something_asks_why(
    browser: Client, crew: make.Crew
) -> None:
    lot = make.held_lot(crew, make.sunflower(crew.maker))
    page = page_of(browser.get(address_of(lot.code, "acid_value")))
    assert "unusual result" not in page.words


def test_litres_in_a_volume_field_are_told(
    browser: Client, crew: make.Crew, potash: RawLot
) -> None:
    rows = {**POTASH_ROW, "volume_1": "0,0241"}
    page = page_of(browser.post(address_of(potash.code), form(crew, **rows)))
    assert "“0,0241” has more than 3 decimals." in page.words
    assert "Write millilitres, not litres: 24.1 for 0.0241 l." in page.words
    rows = {**POTASH_ROW, "volume_1": "24,1000"}
    browser.post(address_of(potash.code), form(crew, **rows))
    assert Titration.objects.exists()


def test_too_many_decimals_on_a_certificate_are_told(
    browser: Client, crew: make.Crew
) -> None:
    lot = make.held_lot(crew, make.sunflower(crew.maker))
    address = reverse("quality:lot_certificate", args=[lot.code])
    said = {
        "submission": str(uuid.uuid4()),
        "file": uploads.pdf(),
        "saponification_value": "190.5012",
    }
    page = page_of(browser.post(address, said))
    assert "“190.5012” has more than 2 decimals. Type no more digits" in page.words


def test_a_saponification_value_asks_for_its_blank(
    browser: Client, crew: make.Crew
) -> None:
    lot = make.held_lot(crew, make.sunflower(crew.maker))
    address = address_of(lot.code, "saponification_value")
    rows = {"concentration": "0.5", "sample_1": "1.5", "volume_1": "15"}
    page = page_of(browser.post(address, form(crew, **rows)))
    assert "This is needed." in page.words
    browser.post(address, form(crew, **rows, blank_ml="25"))
    assert Titration.objects.get().value == Decimal("187.0177")


def test_a_warm_titrant_needs_both_temperatures(
    browser: Client, crew: make.Crew
) -> None:
    lot = make.held_lot(crew, make.sunflower(crew.maker))
    address = address_of(lot.code, "acid_value")
    rows = {
        "concentration": "0.1",
        "sample_1": "10",
        "volume_1": "4",
        "temperature": "25",
    }
    page = page_of(browser.post(address, form(crew, **rows)))
    assert "A correction needs both temperatures." in page.words
    browser.post(address, form(crew, **rows, standard_temperature="20"))
    assert "Titrant at 25 °C" in Titration.objects.get().method


@pytest.mark.parametrize("kind", ["free_alkali", "saponification_value", "nonsense"])
def test_there_is_no_page_for_a_kind_that_does_not_fit(
    browser: Client, potash: RawLot, kind: str
) -> None:
    assert browser.get(address_of(potash.code, kind)).status_code == 404


def test_the_lot_page_shows_share_and_where_it_is_from(
    browser: Client, crew: make.Crew, potash: RawLot
) -> None:
    words = lot_page(browser, potash)
    assert "Figures of this lot" in words
    assert "90.00 ± 0.58 %" in words
    assert "hydroxide only: 90 ± 0.5 % (no ± stated, common practice)" in words
    lab.titration(crew, potash.stock)
    words = lot_page(browser, potash)
    assert "89.77 ± " in words
    assert "own titration of" in words


def test_the_lot_page_has_the_decimal_mark_of_the_premises(
    browser: Client, potash: RawLot
) -> None:
    Premises.objects.update(decimal_mark=",")
    assert "90,00 ± 0,58 %" in lot_page(browser, potash)


def test_a_lot_without_an_assay_says_so_instead(
    browser: Client, crew: make.Crew
) -> None:
    lot = make.held_lot(crew, make.potash(crew.maker))
    assert "has no certificate with an assay" in lot_page(browser, lot)


def test_the_lot_page_shows_samples_and_who_stands_out(
    browser: Client, crew: make.Crew, potash: RawLot
) -> None:
    lab.titration(crew, potash.stock, *[lab.POTASH_SAMPLE] * 3)
    assert "stands out" not in lot_page(browser, potash)
    odd = titrating.Replicate(
        sample_mg=1500, volume_ml=Decimal(22), second_volume_ml=Decimal("22.1")
    )
    lab.titration(crew, potash.stock, *[lab.POTASH_SAMPLE] * 3, odd)
    words = lot_page(browser, potash)
    assert "81.91 stands out" in words
    assert "24.1 and in all 24.2 ml: 89.77" in words


def test_oil_and_acid_show_theirs_and_water_shows_nothing(
    browser: Client, crew: make.Crew
) -> None:
    oil = make.released_lot(crew, make.coconut(crew.maker))
    assert "256.5 ± 9.9 mg KOH/g" in lot_page(browser, oil)
    citric = make.registered(
        crew.maker,
        Material(name="citric acid", kind="addition", acid="citric_anhydrous"),
    )
    words = lot_page(browser, make.released_lot(crew, citric))
    assert "0.8761 ± 0.0051 g KOH per gram" in words
    water = make.released_lot(crew, make.water(crew.maker))
    assert "Figures of this lot" not in lot_page(browser, water)


def test_a_titration_is_taken_back_on_its_page(
    browser: Client, crew: make.Crew, potash: RawLot
) -> None:
    row = lab.titration(crew, potash.stock)
    address = reverse("batches:titration_void", args=[potash.code, row.pk])
    assert row.sentence in page_of(browser.get(address)).words
    said = {"submission": str(uuid.uuid4()), "reason": "wrong acid"}
    page = page_of(browser.post(address, said, follow=True))
    assert "taken back: wrong acid" in page.words
    assert "90.00 ± 0.58 %" in page.words
    other = make.released_lot(crew, make.potash(crew.maker))
    elsewhere = reverse("batches:titration_void", args=[other.code, row.pk])
    assert browser.get(elsewhere).status_code == 404


def test_a_container_is_weighed_corrected_and_taken_back(
    browser: Client, crew: make.Crew, potash: RawLot
) -> None:
    masses = {"gross_mg": "5,45 kg", "tare_mg": "400 g"}
    said = {
        "submission": str(uuid.uuid4()),
        "scale": str(make.scale(crew.maker).pk),
        **masses,
    }
    address = reverse("batches:container", args=[potash.code])
    assert "In the book 5 kg" in page_of(browser.get(address)).words
    page = page_of(browser.post(address, said, follow=True))
    assert "Hold and retest: 5.05 kg on the scale, 5 kg in the book" in page.words
    held = "The lot is on hold now. Titrate it; a stock-take sets the book"
    assert held in page.words
    assert "90.0 % usable, then 1.0 % heavier: between" in page.words
    row = ContainerWeighing.objects.get()
    amend = reverse("batches:container_amend", args=[potash.code, row.pk])
    assert "5.45 kg" in page_of(browser.get(amend)).words
    changed = {
        "submission": str(uuid.uuid4()),
        "gross_mg": "5.4 kg",
        "tare_mg": "400 g",
        "reason": "misread",
    }
    page = page_of(browser.post(amend, changed, follow=True))
    assert "Agrees: 5 kg on the scale" in page.words
    newest = ContainerWeighing.objects.current().get()
    void = reverse("batches:container_void", args=[potash.code, newest.pk])
    why = {"submission": str(uuid.uuid4()), "reason": "another tin"}
    page = page_of(browser.post(void, why, follow=True))
    assert "Correction: another tin" in page.words
    assert not ContainerWeighing.objects.current().exists()


def test_the_batch_page_offers_a_titration_while_the_record_is_open(
    browser: Client, crew: make.Crew
) -> None:
    batch = make.open_batch(crew)
    address = reverse("batches:batch", args=[batch.number])
    assert "Titrate free alkali" not in page_of(browser.get(address)).words
    make.charge_all(crew, batch)
    assert "Titrate free alkali" in page_of(browser.get(address)).words
    cooked = make.complete(crew, batch)
    row = lab.free_alkali(crew, cooked)
    taken_back = reverse("batches:titration_void", args=[cooked.number, row.pk])
    assert taken_back in browser.get(address).text
    released = make.signed(crew.reviewer, cooked, "release")
    page = browser.get(address)
    words = page_of(page).words
    assert row.sentence in words
    assert "Titrate free alkali" not in words
    # Only by the page that says what it does to the signature.
    assert taken_back not in page.text
    review = reverse("quality:review", args=[released.number])
    assert row.sentence in page_of(browser.get(review)).words


def test_somebody_who_may_only_read_sees_it_without_buttons(
    crew: make.Crew, auditor: User, potash: RawLot
) -> None:
    row = lab.titration(crew, potash.stock)
    lab.container(crew, potash)
    reader = Client()
    reader.force_login(auditor)
    words = lot_page(reader, potash)
    assert row.sentence in words
    assert "Titrate hydroxide" not in words
    assert "Weigh the container" not in words
    assert "Take back" not in words


def test_more_titrations_ask_no_more_questions(
    browser: Client, crew: make.Crew, potash: RawLot
) -> None:
    address = reverse("producer:lot", args=[potash.code])

    def asked() -> int:
        with CaptureQueriesContext(
            connection,
        ) as queries:
            browser.get(address)
        return len(queries)

    for _ in range(2):
        lab.titration(crew, potash.stock)
        lab.container(crew, potash)
    few = asked()
    for _ in range(4):
        lab.titration(crew, potash.stock)
        lab.container(crew, potash)
    assert asked() == few


def test_the_certificate_takes_the_half_widths_and_shows_them(
    browser: Client, crew: make.Crew
) -> None:
    lot = make.held_lot(crew, make.potash(crew.maker))
    said = {
        "submission": str(uuid.uuid4()),
        "file": uploads.pdf(),
        "assay_percent": "90",
        "assay_basis": "hydroxide",
        "assay_half_width": "0,3",
    }
    address = reverse("quality:lot_certificate", args=[lot.code])
    page = page_of(browser.post(address, said, follow=True))
    assert "90 ± 0.3 %, hydroxide only" in page.words
    assert Certificate.objects.get().assay_half_width == Decimal("0.3")
    facts = intake.certificate_facts(Certificate.objects.get())
    assert facts["assay_half_width"] == "0.3"
    assert facts["saponification_half_width"] is None


def test_an_oils_certificate_has_its_own_half_width(
    browser: Client, crew: make.Crew
) -> None:
    lot = make.held_lot(crew, make.sunflower(crew.maker))
    address = reverse("quality:lot_certificate", args=[lot.code])
    said = {
        "submission": str(uuid.uuid4()),
        "file": uploads.pdf(),
        "saponification_half_width": "0.5",
    }
    page = page_of(browser.post(address, said))
    assert "A ± needs the value that it belongs to." in page.words
    said = {**said, "file": uploads.pdf(), "saponification_value": "190.5"}
    page = page_of(browser.post(address, said, follow=True))
    assert "190.5 ± 0.5 mg KOH/g" in page.words
