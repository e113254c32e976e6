"""A correction keeps the place of what it corrects: the last result stays the last."""

from __future__ import annotations

import datetime
from decimal import Decimal

import pytest
from django.utils import timezone

from batches.models import Batch, Reading
from batches.services import cooking, titrating
from batches.services.entries import Entries
from producer.errors import Refusal
from quality.services.alkali.titrated import last_titration
from quality.services.charting import Chartable, series_of
from quality.services.judging import findings, outdated
from tests import lab, make

pytestmark = pytest.mark.django_db


def ph_of(batch: Batch) -> Decimal | None:
    return next(one for one in findings(batch) if one.characteristic == "ph").value


def amended(crew: make.Crew, batch: Batch, was: str, value: str) -> Reading:
    row = Reading.objects.current().get(batch=batch, value=Decimal(was))
    return cooking.amend_reading(
        by=crew.maker,
        reading=row,
        value=Decimal(value),
        method=row.method,
        reason="copied wrongly",
    )


def test_correcting_an_old_reading_does_not_make_it_the_last_one(
    crew: make.Crew,
) -> None:
    batch = make.cooked_batch(crew, ph="9.74")
    make.read_ph(crew, batch, "11.6")
    amended(crew, batch, "9.74", "9.75")
    amended(crew, batch, "9.75", "9.76")
    assert ph_of(batch) == Decimal("11.6")
    with pytest.raises(Refusal, match=r"11\.6"):
        make.sign(crew.reviewer, batch)
    (point,) = series_of(batch.formula_version.formula, Chartable.PH).points
    assert point.value == Decimal("11.6")


def test_correcting_the_last_reading_leaves_it_the_last_one(crew: make.Crew) -> None:
    batch = make.cooked_batch(crew, ph="9.74")
    make.read_ph(crew, batch, "9.5")
    amended(crew, batch, "9.5", "11.6")
    assert ph_of(batch) == Decimal("11.6")
    assert "Before it: 9.74." in findings(batch)[0].sentence


def test_what_was_read_before_a_charge_is_not_made_fresh_by_correcting_it(
    crew: make.Crew,
) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    ahead = timezone.now() + datetime.timedelta(minutes=1)
    make.read_ph(crew, batch, "9.2", observed_at=ahead)
    make.charge(crew, batch, batch.charges.order_by("-pk")[0].source, 10_000)
    row = amended(crew, batch, "9.2", "9.3")
    assert outdated(Entries(batch), row)


def test_taking_the_last_titration_back_leaves_the_one_before_it_as_the_last(
    crew: make.Crew,
) -> None:
    batch = make.cooked_batch(crew)
    first = lab.free_alkali(crew, batch, "1.2")
    second = lab.free_alkali(crew, batch, "3.0")
    assert last_titration(Entries(batch)) == (second, "")
    titrating.take_back_titration(by=crew.maker, titration=second, reason="no blank")
    assert last_titration(Entries(batch)) == (first, "")
