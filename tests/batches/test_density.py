"""The density to reckon with: measured at 20 °C, else as last filled, else usual."""

from __future__ import annotations

from decimal import Decimal

import pytest
from django.utils import timezone

from batches.models import Batch
from batches.services import liquid_readings
from batches.services.density import density_of
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
