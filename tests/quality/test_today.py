"""The first page: what somebody should look at."""

from __future__ import annotations

from decimal import Decimal

import pytest
from django.test import Client
from django.urls import reverse

from quality.services import changing, deviating, today
from quality.services.checking import Known, record_check
from tests import make

pytestmark = pytest.mark.django_db


def rows_of(heading: str) -> list[object]:
    found = [one.rows for one in today.due(make.TODAY) if one.heading == heading]
    return found[0] if found else []


def test_a_batch_held_by_a_change_waits_for_its_review(
    crew: make.Crew, client: Client
) -> None:
    batch = make.released_paste(crew)
    assert rows_of("On hold: to review again") == []
    reading = batch.readings.filter(characteristic="ph").get()
    changing.change_reading(
        by=crew.maker,
        reading=reading,
        value=Decimal("9.1"),
        method=reading.method,
        instrument=reading.instrument,
        reason="two figures swapped",
    )
    assert rows_of("On hold: to review again") == [make.fresh(batch)]
    client.force_login(crew.reviewer)
    page = client.get(reverse("quality:today")).text
    assert f'href="{reverse("quality:review", args=[batch.number])}"' in page


def test_a_failed_instrument_with_an_open_deviation_is_shown_once(
    crew: make.Crew,
) -> None:
    scale = make.scale(crew.maker)
    record_check(
        by=crew.maker,
        instrument=scale,
        held=Known(against="5 kg", reference=Decimal(5000), shown=Decimal(5014)),
        tolerance=Decimal(3),
    )
    heading = "Failed instruments: what depends on them is not looked into"
    assert len(rows_of(heading)) == 1
    deviation = deviating.open_deviation(
        by=crew.maker, classification="major", what="14 g off", instrument=scale
    )
    assert rows_of(heading) == []
    assert rows_of("Open deviations") == [deviation]
