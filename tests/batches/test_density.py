"""The density to reckon with: measured at 20 °C, else as last filled, else usual."""

from __future__ import annotations

import uuid
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from batches.models import Batch, FillingLot
from batches.services import liquid_readings
from batches.services.density import density_of
from producer.errors import Refusal
from producer.models import JournalEntry, StockMovement
from quality.services import filling_checks
from tests import make

pytestmark = pytest.mark.django_db


def measured(crew: make.Crew, batch: Batch, value: str, temperature: str) -> None:
    liquid_readings.record(
        by=crew.maker,
        batch=batch,
        kind="density",
        value=Decimal(value),
        temperature=Decimal(temperature),
    )


def test_usual_until_something_was_filled_or_measured(crew: make.Crew) -> None:
    liquid = make.released_liquid(crew)
    value, origin = density_of(liquid)
    assert value == Decimal("1.02")
    assert "usual for a liquid soap" in origin
    lot = make.filled(crew, liquid, density=Decimal("1.031"))
    assert density_of(liquid) == (Decimal("1.031"), f"as in {lot.code}")


@pytest.mark.parametrize(
    ("temperature", "counts"),
    [("19", True), ("21", True), ("18.9", False), ("21.1", False)],
)
def test_what_was_measured_counts_at_20_degrees_give_or_take_one(
    crew: make.Crew,
    temperature: str,
    counts: bool,  # noqa: FBT001
) -> None:
    liquid = make.released_liquid(crew)
    measured(crew, liquid, "1.0345", temperature)
    value, origin = density_of(liquid)
    today = timezone.localtime()
    if counts:
        assert value == Decimal("1.0345")
        assert origin == f"measured on {today.day} {today:%b %Y} at {temperature} °C"
    else:
        assert value == Decimal("1.02")  # never carried over by a guess
        assert f"was at {temperature} °C and does not count" in origin
        assert "measure it at 20 °C" in origin


def test_the_newest_counts_and_the_pages_reckon_with_it(crew: make.Crew) -> None:
    liquid = make.released_liquid(crew)
    make.filled(crew, liquid, density=Decimal("1.031"))
    measured(crew, liquid, "1.034", "20")
    measured(crew, liquid, "1.036", "20.5")
    assert density_of(liquid).value == Decimal("1.036")
    assert filling_checks.density_of(liquid) == density_of(liquid)


def test_a_reading_taken_back_does_not_count(crew: make.Crew) -> None:
    liquid = make.released_liquid(crew)
    measured(crew, liquid, "1.034", "20")
    measured(crew, liquid, "1.3", "20")
    row = liquid_readings.newest(liquid, "density")
    assert row is not None
    liquid_readings.amend(by=crew.maker, reading=row, void=True, reason="air in it")
    assert density_of(liquid).value == Decimal("1.034")


# ------------------------------------------------------------ what is typed


def test_a_density_far_from_the_book_is_asked_about(crew: make.Crew) -> None:
    """0.85 for 1.016 makes bottles that are a sixth short look full."""
    liquid = make.released_liquid(crew)
    measured(crew, liquid, "1.016", "20")
    low: dict[str, Any] = {"density": Decimal("0.85"), "density_reason": " "}
    with pytest.raises(Refusal, match=r"By the book the density is 1\.016 g") as told:
        make.filled(crew, liquid, **low)
    assert told.value.field == "density_reason"
    assert "measured on" in told.value.message
    assert not FillingLot.objects.exists()
    lot = make.filled(crew, liquid, **{**low, "density_reason": "much foam in it"})
    assert "Density 0.85 g/ml where the book has 1.016 g/ml" in lot.balance.reason
    assert lot.balance.reason.endswith("at 20 °C): much foam in it")
    entry = JournalEntry.objects.get(act="bottles filled")
    assert entry.reason == lot.balance.reason


@pytest.mark.parametrize(
    ("typed", "is_asked"),
    [("1.0097", True), ("1.0098", False), ("1.0302", False), ("1.0303", True)],
)
def test_up_to_a_hundredth_nobody_is_asked(
    crew: make.Crew,
    typed: str,
    is_asked: bool,  # noqa: FBT001
) -> None:
    liquid = make.released_liquid(crew)
    measured(crew, liquid, "1.02", "20")  # a hundredth is 0.0102
    if is_asked:
        with pytest.raises(Refusal, match="By the book"):
            make.filled(crew, liquid, density=Decimal(typed), density_reason="")
    else:
        lot = make.filled(crew, liquid, density=Decimal(typed), density_reason="")
        assert lot.balance.reason == ""


@pytest.mark.parametrize("typed", ["0.79", "1.51", "10.2", "0"])
def test_what_no_soap_weighs_is_a_slip_also_with_a_reason(
    crew: make.Crew, typed: str
) -> None:
    with pytest.raises(Refusal, match=r"outside 0.8 to 1.5") as told:
        make.filled(crew, density=Decimal(typed), density_reason="weighed")
    assert told.value.field == "density"


def test_the_page_asks_how_one_knows(crew: make.Crew, client: Client) -> None:
    liquid = make.released_liquid(crew)
    measured(crew, liquid, "1.016", "20")
    client.force_login(crew.maker)
    address = reverse("batches:fill", args=[liquid.number])
    sent = {"count": "1", "nominal_ul": "500 ml", "density": "0.9"}
    sent["submission"] = str(uuid.uuid4())
    errors = client.post(address, sent).context["form"].errors
    assert "By the book the density is" in errors["density_reason"][0]
    client.post(address, {**sent, "density_reason": "weighed three times"})
    assert "weighed three times" in FillingLot.objects.get().balance.reason


def test_the_reason_of_a_density_is_not_that_of_a_loss(crew: make.Crew) -> None:
    liquid = make.released_liquid(crew)
    left = liquid.stock.on_hand_mg - 2 * 550_000
    lot = make.filled(
        crew,
        liquid,
        density=Decimal("1.1"),
        density_reason="weighed twice",
        rest_mg=left - 100_000,
        unexplained_reason="spilt",
    )
    assert lot.balance.reason.startswith("spilt Density 1.1 g/ml")
    adjusted = StockMovement.objects.get(kind="adjustment", purpose=lot.code)
    assert adjusted.reason == "spilt"
