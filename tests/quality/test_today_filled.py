"""What the first page says of filling lots to finish and samples to look at."""

from __future__ import annotations

import datetime

import pytest
from django.urls import reverse

from batches.models import Bottle
from batches.services import samples
from quality.services.today import due
from quality.services.today.plain import Kind
from tests import bottling, hands, make
from tests.quality import faulty


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
    assert len(kind("samples", 121).rows) == 2  # type: ignore[union-attr]
    hands.moved(
        crew.maker, Bottle.objects.listed().get(pk=bottle.pk), "destroyed", "looked at"
    )
    (jar,) = kind("samples", 121).rows  # type: ignore[union-attr]
    assert "jar" in jar.words


@pytest.mark.django_db
def test_a_sample_is_called_for_by_the_newest_look_and_by_none_without_a_day(
    crew: make.Crew,
) -> None:
    lot = bottling.ready(crew)  # with a jar, for in 90 days
    (row,) = kind("samples", 90).rows  # type: ignore[union-attr]
    jar = lot.samples.get()
    assert row.do_at == reverse("batches:sample_look", args=[lot.code, jar.pk])
    assert row.whose == "a maker or a reviewer"
    first = bottling.looked_at(
        crew, lot, look_on=make.TODAY + datetime.timedelta(days=20)
    )
    assert kind("samples", 19) is None
    assert kind("samples", 20).rows[0].when == "due today"  # type: ignore[union-attr]
    bottling.looked_at(crew, lot)
    assert kind("samples", 400) is None
    samples.amend_look(  # what is corrected is not the newest look for that
        by=crew.maker,
        row=first,
        state="as_filled",
        found="clear",
        look_on=make.TODAY + datetime.timedelta(days=30),
        reason="the wrong month",
    )
    assert kind("samples", 400) is None


@pytest.mark.django_db
def test_a_look_that_was_taken_back_calls_for_the_sample_as_before(
    crew: make.Crew,
) -> None:
    lot = bottling.ready(crew)
    row = bottling.looked_at(crew, lot)
    assert kind("samples", 90) is None
    samples.amend_look(by=crew.maker, row=row, void=True, reason="another jar")
    assert kind("samples", 89) is None
    assert kind("samples", 90) is not None


@pytest.mark.django_db
def test_a_change_is_told_until_a_deviation_takes_it_up(crew: make.Crew) -> None:
    lot = bottling.ready(crew)
    bottling.looked_at(crew, lot)
    assert kind("changed") is None  # control
    faulty.closed(crew, lot.batch, "ph", "no_effect")
    bottling.looked_at(crew, lot, "changed", found="cloudy, in two layers")
    bottling.looked_at(crew, lot)  # undoes nothing
    found = kind("changed")
    assert found is not None
    (row,) = found.rows
    assert "cloudy, in two layers" in row.words
    assert row.do_at == reverse("quality:deviation_open", args=[lot.batch.number])
    late = faulty.deviation(crew.maker, lot.batch.stock, "ph")
    assert kind("changed") is None
    faulty.close(crew.reviewer, faulty.looked_into(crew.maker, late), "no_effect")
    assert kind("changed") is None
