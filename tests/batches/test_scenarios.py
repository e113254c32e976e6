"""Acceptance scenarios from end to end, by what the pages and the dossier say."""

from __future__ import annotations

import datetime
import uuid
import zoneinfo

import pypdfium2
import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from batches.models import Batch, Charge, Input
from batches.services import cooking, transcribing
from batches.services.cooking.how import How
from producer.errors import Refusal
from producer.models import Premises, User
from producer.quantities import format_mass
from producer.services import registers
from quality.documents.dossier import dossier_pdf
from tests import make
from tests.doors.pages import page_of
from tests.quality import faulty

pytestmark = pytest.mark.django_db


@pytest.fixture
def browser(crew: make.Crew) -> Client:
    client = Client()
    client.force_login(crew.maker)
    return client


def words_at(browser: Client, name: str, batch: Batch) -> str:
    return page_of(browser.get(reverse(name, args=[batch.number]))).words


def dossier_of(batch: Batch) -> str:
    pdf = dossier_pdf(make.fresh(batch), printed_by="Aune Koski")
    pages = pypdfium2.PdfDocument(pdf)
    text = " ".join(page.get_textpage().get_text_bounded() for page in pages)
    return " ".join(text.split())


def test_scenario_05_comma_decimal_is_asked_about_on_the_charge_page(
    browser: Client, crew: make.Crew
) -> None:
    batch = make.open_batch(crew)
    make.go_through(crew, batch)
    lot = make.released_lot(crew, make.sunflower(crew.maker))
    line = make.line_of(batch, "sunflower oil")
    address = reverse("batches:charge", args=[batch.number, line.position])
    form = {
        "submission": str(uuid.uuid4()),
        "source": str(lot.pk),
        "scale": str(make.scale(crew.maker).pk),
        "gross_mg": "1,250",
        "tare_mg": "450 g",
    }
    asked = page_of(browser.post(address, form)).words
    assert "“1,250” can mean 1.25 g or 1250 g" in asked
    assert not Charge.objects.exists()
    answer = browser.post(address, {**form, "gross_mg": "1250 g"})
    assert answer.status_code == 302
    row = Charge.objects.get()
    assert (row.gross_mg, row.net_mg) == (1_250_000, 800_000)


def test_scenario_07_wrong_device_clock_is_flagged_on_the_page_and_in_the_dossier(
    browser: Client, crew: make.Crew
) -> None:
    batch = make.cooked_batch(crew)
    assert "later than entered" not in words_at(browser, "batches:batch", batch)
    make.read_ph(crew, batch, observed_at=timezone.now() + datetime.timedelta(hours=23))
    assert words_at(browser, "batches:batch", batch).count("(later than entered)") == 1
    printed = dossier_of(batch)
    assert printed.count("(later than entered)") == 1
    assert "was dated ahead of when it was entered" in printed


def test_scenario_15_partial_portion_what_is_left_keeps_its_status_and_date(
    browser: Client, crew: make.Crew
) -> None:
    paste = make.released_paste(crew)
    made = paste.stock.on_hand_mg
    dilution = make.open_batch(crew, make.liquid_version(crew), basis_mg=400_000)
    before = words_at(browser, "batches:batch", paste)
    make.charge(crew, dilution, paste.stock, 400_000)
    after = words_at(browser, "batches:batch", paste)
    assert f"On hand now {format_mass(made)}" in before
    assert f"On hand now {format_mass(made - 400_000)}" in after
    assert "released" in after
    weighed = paste.bulk_weighings.get().observed_at
    assert f"{timezone.localtime(weighed):%b %Y}" in after
    # All but what is on hand reads as it did: the yield is not distorted.
    theoretical = after.index("Theoretical")
    assert (
        before[before.index("Theoretical") : before.index("On hand now")]
        == after[theoretical : after.index("On hand now")]
    )


def test_scenario_16_blend_of_passed_and_failed_only_after_decision_and_investigation(
    crew: make.Crew,
) -> None:
    good, bad = make.released_paste(crew), make.failed_paste(crew)
    found = faulty.deviation(crew.maker, bad.stock, "ph")
    faulty.looked_into(crew.maker, found)
    faulty.close(crew.reviewer, found, "rejected")
    plain = make.open_batch(crew, make.blend_version(crew))
    make.charge(crew, plain, good.stock, 100_000)
    with pytest.raises(Refusal, match="rejected"):
        make.charge(crew, plain, bad.stock, 100_000)
    rework = make.open_batch(crew, make.blend_version(crew), is_rework=True)
    with pytest.raises(Refusal, match="rejected"):  # before the decision, not even here
        make.charge(crew, rework, bad.stock, 100_000, is_rework=True)
    make.sign(crew.reviewer, bad, "rework")
    with pytest.raises(Refusal, match="opened for rework"):
        make.charge(crew, plain, bad.stock, 100_000)
    make.charge(crew, rework, bad.stock, 100_000, is_rework=True)
    assert list(
        Input.objects.filter(source=bad.pk).values_list("batch", flat=True)
    ) == [rework.pk]
    printed = dossier_of(rework)
    assert "A rejected batch went into it for rework." in printed
    assert found.code in printed


def test_scenario_25_expired_at_midnight_the_cook_may_finish_and_nothing_is_weighed_in(
    crew: make.Crew, owner: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Entered after midnight: whatever time is typed, unless it stood on paper."""
    premises = Premises.objects.get()
    premises.time_zone = "Pacific/Auckland"
    registers.save(by=owner, entry=premises)
    zone = zoneinfo.ZoneInfo("Pacific/Auckland")

    def it_is(day: int, hour: int, minute: int) -> datetime.datetime:
        now = datetime.datetime(2026, 3, day, hour, minute, tzinfo=zone)
        monkeypatch.setattr(timezone, "now", lambda: now)
        return now

    evening = it_is(10, 23, 30)
    last_day = datetime.date(2026, 3, 10)
    lots = {
        material.__name__: make.released_lot(
            crew,
            material(crew.maker),
            received_on=datetime.date(2026, 1, 5),
            retest_on=last_day,
        )
        for material in (make.sunflower, make.coconut, make.water, make.potash)
    }
    batch = make.open_batch(crew, opened_at=evening)
    lot = lots["water"]
    for name, mass in (
        ("water", 400_000),
        ("sunflower", 800_000),
        ("coconut", 200_000),
        ("potash", 230_000),
    ):
        make.charge(crew, batch, lots[name].stock, mass)
    it_is(11, 0, 5)
    for observed_at in (None, evening):
        with pytest.raises(Refusal, match="was due for retest on 10 Mar 2026"):
            make.charge(crew, batch, lot.stock, 1000, observed_at=observed_at)
    sheet = transcribing.begin(by=crew.maker, batch=batch, note="sheet of the evening")
    make.charge(
        crew,
        batch,
        lot.stock,
        1000,
        how=How(transcription=sheet),
        observed_at=evening,
    )
    make.read_clarity(crew, batch)
    make.read_ph(crew, batch)
    make.weigh_bulk(crew, batch)
    cooking.finish(by=crew.maker, batch=batch)
    assert make.fresh(batch).status == "awaiting_review"
