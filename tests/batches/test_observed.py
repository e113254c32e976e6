"""When something was done, and when it was written down: typing “yesterday”."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from batches.models import Batch, Charge
from batches.services import cooking, half_weighings, hold_points, losses, transcribing
from batches.services.cooking.how import How
from producer.errors import Refusal
from producer.models import RawLot
from producer.services.when_written import written, written_at
from tests import make
from tests.doors.pages import page_of

pytestmark = pytest.mark.django_db
DAY = datetime.timedelta(days=1)
MINUTE = datetime.timedelta(minutes=1)


def due_yesterday(crew: make.Crew) -> RawLot:
    """Return a lot that came ten days ago and was due for retest yesterday."""
    return make.released_lot(
        crew,
        make.water(crew.maker),
        received_on=make.TODAY - 10 * DAY,
        retest_on=make.TODAY - DAY,
    )


def begun(crew: make.Crew) -> Batch:
    """Return a batch that was opened a week ago and begun five days ago."""
    batch = make.open_batch(crew)
    oil = make.released_lot(
        crew, make.sunflower(crew.maker), received_on=make.TODAY - 10 * DAY
    )
    make.charge(crew, batch, oil.stock, 1000, observed_at=timezone.now() - 5 * DAY)
    return make.fresh(batch)


# -------------------------------------------------- what is used must be in date twice


def test_a_retest_date_is_not_got_round_by_typing_yesterday(crew: make.Crew) -> None:
    batch, lot = begun(crew), due_yesterday(crew)
    yesterday = timezone.now() - DAY
    for observed_at in (None, yesterday):
        with pytest.raises(Refusal, match="was due for retest"):
            make.charge(crew, batch, lot.stock, 1000, observed_at=observed_at)
        with pytest.raises(Refusal, match="was due for retest"):
            half_weighings.begin(
                by=crew.maker,
                batch=batch,
                line=make.line_of(batch, "distilled water"),
                source=lot.stock,
                scale=make.scale(crew.maker),
                first_mg=make.TARE_MG,
                observed_at=observed_at,
            )
    assert Charge.objects.filter(batch=batch, source=lot.stock).count() == 0


def test_from_paper_the_day_on_the_sheet_counts_and_the_reviewer_is_told(
    crew: make.Crew, client: Client
) -> None:
    batch, lot = begun(crew), due_yesterday(crew)
    sheet = transcribing.begin(by=crew.maker, batch=batch, note="power cut, sheet 3")
    make.charge(
        crew,
        batch,
        lot.stock,
        1000,
        how=How(transcription=sheet),
        observed_at=timezone.now() - DAY,
    )
    client.force_login(crew.reviewer)
    words = page_of(client.get(reverse("quality:review", args=[batch.number]))).words
    assert "1 entry is transcribed from paper sheet" in words
    with pytest.raises(Refusal, match="was due for retest"):
        make.charge(
            crew,
            batch,
            lot.stock,
            1000,
            how=How(transcription=sheet),
            observed_at=timezone.now(),
        )


def test_what_a_device_kept_goes_by_the_day_on_which_it_was_kept(
    crew: make.Crew,
) -> None:
    batch, lot = begun(crew), due_yesterday(crew)
    yesterday = timezone.now() - DAY
    with written(yesterday):
        make.charge(crew, batch, lot.stock, 1000, observed_at=yesterday)
    with written(timezone.now()), pytest.raises(Refusal, match="due for retest"):
        make.charge(crew, batch, lot.stock, 1000, observed_at=yesterday)


def test_a_clock_that_runs_ahead_makes_nothing_written_later_than_now() -> None:
    ahead = timezone.now() + DAY
    with written(ahead):
        assert written_at() < ahead
    assert written_at() <= timezone.now()


def test_strips_that_expired_are_not_good_again_by_typing_yesterday(
    crew: make.Crew,
) -> None:
    batch = begun(crew)
    strips = make.strips(crew.maker, expires_on=make.TODAY - DAY)
    with pytest.raises(Refusal, match="expired on"):
        make.read_ph(
            crew, batch, "9", instrument=strips, observed_at=timezone.now() - DAY
        )


# -------------------------------------------------- before there was a batch, or a lot


def entries(crew: make.Crew, batch: Batch) -> dict[str, Callable[..., Any]]:
    """Return every kind of entry at the pot, to be given the time."""
    line = make.line_of(batch, "sunflower oil")
    maker, scale = crew.maker, make.scale(crew.maker)
    source = make.stock_of(crew, line)

    return {
        "charge": lambda **at: make.charge(crew, batch, source, 1000, **at),
        "half weighing": lambda **at: half_weighings.begin(
            by=maker,
            batch=batch,
            line=line,
            source=source,
            scale=scale,
            first_mg=make.TARE_MG,
            **at,
        ),
        "hold points": lambda **at: hold_points.go_through(
            by=maker,
            batch=batch,
            looks=[hold_points.Look(point=hold_points.Point.PROTECTION)],
            **at,
        ),
        "reading": lambda **at: cooking.record_reading(
            by=maker,
            batch=batch,
            characteristic="temperature",
            value=Decimal(60),
            instrument=make.thermometer(maker),
            **at,
        ),
        "loss": lambda **at: losses.record_loss(
            by=maker, batch=batch, kind="spill", mass_mg=5, **at
        ),
        "yield": lambda **at: cooking.weigh_bulk(
            by=maker,
            batch=batch,
            scale=scale,
            gross_mg=make.TARE_MG + 900,
            tare_mg=make.TARE_MG,
            **at,
        ),
    }


@pytest.mark.parametrize(
    "kind", ["charge", "half weighing", "hold points", "reading", "loss", "yield"]
)
def test_nothing_is_done_to_a_batch_before_it_was_opened(
    crew: make.Crew, kind: str
) -> None:
    batch = begun(crew)
    enter = entries(crew, batch)[kind]
    opened = batch.opened_at
    with pytest.raises(Refusal, match=f"{batch.number} was opened at") as refused:
        enter(observed_at=opened - 16 * MINUTE)
    assert refused.value.field == "observed_at"


def test_clocks_a_quarter_of_an_hour_apart_are_no_reason_to_refuse(
    crew: make.Crew,
) -> None:
    batch = begun(crew)
    for ago in (15, 0):
        entries(crew, batch)["reading"](
            observed_at=batch.opened_at - ago * MINUTE + MINUTE / 60
        )


def test_a_charge_is_not_moved_to_before_the_batch_was_opened(crew: make.Crew) -> None:
    batch = begun(crew)
    row = batch.charges.get()
    with pytest.raises(Refusal, match="was opened at"):
        cooking.amend_charge(
            by=crew.maker,
            charge=row,
            reason="wrong day",
            gross_mg=row.gross_mg,
            tare_mg=row.tare_mg,
            observed_at=batch.opened_at - DAY,
        )


def test_a_lot_is_not_weighed_before_it_came(crew: make.Crew) -> None:
    batch = begun(crew)
    lot = make.released_lot(
        crew, make.water(crew.maker), received_on=make.TODAY - 2 * DAY
    )
    noon = timezone.now()
    with pytest.raises(Refusal, match="it cannot have been weighed") as refused:
        make.charge(crew, batch, lot.stock, 1000, observed_at=noon - 3 * DAY)
    assert refused.value.field == "observed_at"
    make.charge(crew, batch, lot.stock, 1000, observed_at=noon - 2 * DAY)


# -------------------------------------------------- entered late: told, not refused


@pytest.mark.parametrize(
    ("ago", "said"),
    [
        (14 * MINUTE, None),
        (17 * MINUTE, "was entered 17 min later"),
        (185 * MINUTE, "was entered 3 h 5 min later"),
        (3 * DAY, "was entered 3 days later"),
    ],
)
def test_an_entry_that_is_entered_late_is_an_exception_for_the_reviewer(
    crew: make.Crew, client: Client, ago: datetime.timedelta, said: str | None
) -> None:
    batch = make.cooked_batch(crew)
    make.read_ph(crew, batch, "9.2", observed_at=timezone.now() - ago)
    client.force_login(crew.reviewer)
    words = page_of(client.get(reverse("quality:review", args=[batch.number]))).words
    assert words.count("was entered") == (said is not None)
    assert said is None or said in words
