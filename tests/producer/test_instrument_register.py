"""The register of instruments by kind, and that of vessels in grams."""

from __future__ import annotations

import datetime
import uuid
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from batches.services.hold_points import EmptyVessel, Look, Point, go_through
from producer.errors import Refusal
from producer.models import Instrument, User, Vessel
from producer.services import registers
from tests import make
from tests.doors.pages import page_of

pytestmark = pytest.mark.django_db
DAY = datetime.timedelta(days=1)
USUAL: dict[str, dict[str, Any]] = {
    "scale": {"resolution": Decimal(1)},
    "thermometer": {"resolution": Decimal("0.1")},
    "ph_meter": {"resolution": Decimal("0.01")},
    "ph_strips": {"resolution": Decimal("0.5")},
    "check_weight": {"nominal": Decimal(500)},
    "buffer": {"nominal": Decimal("7.00")},
    "indicator": {},
}
VALUES: dict[str, Any] = {
    "resolution": Decimal(1),
    "capacity": Decimal(2000),
    "nominal": Decimal(7),
    "check_every_days": 30,
    "opened_on": make.TODAY,
    "days_after_opening": 30,
}
FITS = {
    "resolution": {"scale", "thermometer", "ph_meter", "ph_strips"},
    "capacity": {"scale"},
    "nominal": {"check_weight", "buffer"},
    "check_every_days": {"scale", "thermometer", "ph_meter"},
    "opened_on": {"ph_strips", "buffer", "indicator"},
    "days_after_opening": {"ph_strips", "buffer", "indicator"},
}


@pytest.fixture
def browser(crew: make.Crew) -> Client:
    client = Client()
    client.force_login(crew.maker)
    return client


def entry(kind: str, **changes: Any) -> Instrument:
    return Instrument(kind=kind, name=f"a {kind}", **{**USUAL[kind], **changes})


@pytest.mark.parametrize("kind", USUAL)
@pytest.mark.parametrize("field", FITS)
def test_each_field_is_for_its_kinds_and_refused_with_a_sentence_on_others(
    maker: User, kind: str, field: str
) -> None:
    made = entry(kind, **{field: VALUES[field]})
    if kind in FITS[field]:
        registers.save(by=maker, entry=made)
        assert getattr(Instrument.objects.get(), field) == VALUES[field]
        return
    with pytest.raises(Exception, match=r"Only|Nothing is read") as told:
        registers.save(by=maker, entry=made)
    assert getattr(told.value, "field", field) == field
    assert not Instrument.objects.exists()


@pytest.mark.parametrize(
    ("kind", "changes", "sentence"),
    [
        ("scale", {"check_every_days": 0}, "At least 1 day"),
        ("buffer", {"nominal": Decimal("70.0")}, "from 0 to 14"),
        ("indicator", {"opened_on": make.TODAY + 2 * DAY}, "still to come"),
    ],
)
def test_what_cannot_be_is_refused(
    maker: User, kind: str, changes: dict[str, Any], sentence: str
) -> None:
    with pytest.raises(Refusal, match=sentence):
        registers.save(by=maker, entry=entry(kind, **changes))


@pytest.mark.parametrize(
    ("opened", "days", "expires", "good_until"),
    [
        (None, None, None, None),
        (None, 30, None, None),  # not opened yet
        (make.TODAY, 30, None, make.TODAY + 30 * DAY),
        (make.TODAY, 30, make.TODAY + 9 * DAY, make.TODAY + 9 * DAY),
        (make.TODAY, 30, make.TODAY + 90 * DAY, make.TODAY + 30 * DAY),
    ],
)
def test_a_lot_is_good_until_the_sooner_of_both_days_and_that_day_still(
    opened: datetime.date | None,
    days: int | None,
    expires: datetime.date | None,
    good_until: datetime.date | None,
) -> None:
    lot = entry(
        "indicator", opened_on=opened, days_after_opening=days, expires_on=expires
    )
    assert lot.good_until == good_until
    if good_until is not None:
        assert not lot.is_expired(good_until)
        assert lot.is_expired(good_until + DAY)


def test_a_check_weight_is_registered_on_its_page_with_comma_and_listed(
    browser: Client,
) -> None:
    form = {
        "submission": str(uuid.uuid4()),
        "kind": "check_weight",
        "name": "half a kilo",
        "resolution": "0",
        "bias_half_width": "0,025",
        "nominal": "500,00",
        "in_use": "on",
    }
    address = reverse("producer:register_new", args=["instruments"])
    wrong = {**form, "capacity": "15"}
    assert (
        "Only a scale has a largest load" in page_of(browser.post(address, wrong)).words
    )
    assert browser.post(address, form).status_code == 302
    weight = Instrument.objects.get()
    assert (weight.nominal, weight.bias_half_width) == (Decimal(500), Decimal("0.025"))
    listed = page_of(browser.get(reverse("producer:register", args=["instruments"])))
    assert "half a kilo check weight" in listed.words
    page = page_of(browser.get(reverse("quality:instrument", args=[weight.pk])))
    assert "Stands for 500 g" in page.words
    assert "Scales are held against it." in page.words


def test_good_until_stands_in_the_list(browser: Client, maker: User) -> None:
    registers.save(
        by=maker,
        entry=entry(
            "indicator", opened_on=datetime.date(2026, 1, 1), days_after_opening=30
        ),
    )
    listed = page_of(browser.get(reverse("producer:register", args=["instruments"])))
    assert "31 Jan 2026" in listed.words


# ------------------------------------------------------------------ vessels


@pytest.mark.parametrize(
    ("typed", "mg", "shown"),
    [
        ("2,94 kg", 2_940_000, "2940"),
        ("412.5", 412_500, "412.5"),
        ("64,3 g", 64_300, "64.3"),
        ("64305 mg", 64_305, "64305 mg"),  # “64.305” could mean 64305 g
    ],
)
def test_the_tare_of_a_vessel_is_typed_and_shown_in_grams(
    browser: Client, typed: str, mg: int, shown: str
) -> None:
    form = {
        "submission": str(uuid.uuid4()),
        "name": "pot",
        "tare_mg": typed,
        "in_use": "on",
    }
    browser.post(reverse("producer:register_new", args=["vessels"]), form)
    vessel = Vessel.objects.get()
    assert vessel.tare_mg == mg
    address = reverse("producer:register_entry", args=["vessels", vessel.pk])
    page = page_of(browser.get(address))
    (field,) = (one for one in page.attributes("input") if one.get("name") == "tare_mg")
    assert field["value"] == shown
    assert "(mg)" not in page.words
    # What the page shows can be sent back as it is.
    seen = page.attributes("input")
    again = {one["name"]: one.get("value", "") for one in seen if "name" in one}
    assert browser.post(address, {**form, **again, "tare_mg": shown}).status_code == 302
    assert Vessel.objects.get().tare_mg == mg


def test_the_list_of_vessels_shows_grams(browser: Client, crew: make.Crew) -> None:
    make.vessel(crew.maker)
    page = page_of(browser.get(reverse("producer:register", args=["vessels"])))
    assert "350 g" in page.words
    assert "350000" not in page.words


def test_what_a_vessel_weighed_empty_stands_on_its_page_newest_first(
    browser: Client, crew: make.Crew
) -> None:
    vessel = make.vessel(crew.maker)
    address = reverse("producer:register_entry", args=["vessels", vessel.pk])
    assert "Not weighed empty yet" in page_of(browser.get(address)).words
    batch = make.open_batch(crew)
    for mass_mg in (make.TARE_MG, make.TARE_MG + 4_000):
        pot = EmptyVessel(vessel=vessel, scale=make.scale(crew.maker), mass_mg=mass_mg)
        go_through(by=crew.maker, batch=batch, looks=[Look(point=Point.TARE, tare=pot)])
    words = page_of(browser.get(address)).words
    assert words.index("354 g") < words.index("350 g 350 g")
    assert "does not agree" in words
