"""What the first page says of filling lots to finish and samples to look at."""

from __future__ import annotations

import datetime

import pytest

from batches.models import Bottle
from batches.services import filling, samples
from quality.services.today import due
from quality.services.today.plain import Kind
from tests import bottling, make


def kind(slug: str, days: int = 0) -> Kind | None:
    """Return what the first page has of a kind, so many days from now."""
    day = make.TODAY + datetime.timedelta(days=days)
    return next((one for one in due(day) if one.slug == slug), None)


@pytest.mark.django_db
def test_a_lot_is_there_until_it_is_released(crew: make.Crew) -> None:
    lot = bottling.ready(crew)
    found = kind("fillings")
    assert found is not None
    assert [row.name for row in found.rows] == [lot.code]
    assert found.count == 1  # once, though it has two bottles
    bottling.released(crew, lot)
    assert kind("fillings") is None


@pytest.mark.django_db
def test_a_lot_of_which_no_bottle_is_here_needs_nothing(crew: make.Crew) -> None:
    lot = make.filled(crew)
    assert kind("fillings") is not None
    Bottle.objects.filter(filling_lot=lot).update(status="destroyed")
    assert kind("fillings") is None


@pytest.mark.django_db
def test_samples_come_on_their_day(crew: make.Crew) -> None:
    lot = bottling.ready(crew)  # with a jar, for in 90 days
    bottle = make.bottles_of(lot)[0]
    samples.retain(
        by=crew.maker,
        filling_lot=lot,
        bottle=bottle,
        place=bottling.shelf(crew),
        look_on=make.TODAY + datetime.timedelta(days=10),
    )
    assert kind("samples", 9) is None
    (row,) = kind("samples", 10).rows  # type: ignore[union-attr]
    assert "bottle" in row.words
    assert len(kind("samples", 90).rows) == 2  # type: ignore[union-attr]
    assert len(kind("samples", 121).rows) == 1  # type: ignore[union-attr]
    filling.move_bottle(
        by=crew.maker,
        bottle=Bottle.objects.listed().get(pk=bottle.pk),
        new="destroyed",
        reason="looked at",
    )
    assert kind("samples", 121) is None
