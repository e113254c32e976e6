"""Observed and entered: the wall clock and ours."""

from __future__ import annotations

import datetime

import pytest
from django.utils import timezone

from batches.models import Reading
from batches.services.results import yield_of
from producer import journal
from producer.errors import Refusal
from producer.models import JournalEntry, Stock
from tests import make


@pytest.mark.django_db
def test_scenario_07_a_device_a_day_ahead_is_recorded_and_flagged(
    crew: make.Crew,
) -> None:
    batch = make.cooked_batch(crew)
    ahead = timezone.now() + datetime.timedelta(hours=23)
    make.read_ph(crew, batch, observed_at=ahead)
    row = Reading.objects.latest("pk")
    assert row.observed_at == ahead
    assert row.entered_at <= timezone.now()
    assert row.observed_later_than_entered
    assert not Reading.objects.earliest("pk").observed_later_than_entered  # control
    with pytest.raises(Refusal, match="in the future"):
        make.read_ph(crew, batch, observed_at=ahead + datetime.timedelta(days=365))


@pytest.mark.django_db
def test_scenario_32_a_backdated_entry_keeps_both_times_and_the_journals_order(
    crew: make.Crew,
) -> None:
    batch = make.cooked_batch(crew)
    last = JournalEntry.objects.latest("sequence")
    earlier = timezone.now() - datetime.timedelta(hours=3)
    make.read_ph(crew, batch, observed_at=earlier)
    row = Reading.objects.latest("pk")
    assert row.observed_at == earlier < row.entered_at
    entry = JournalEntry.objects.latest("sequence")
    assert entry.sequence == last.sequence + 1
    assert entry.at >= last.at
    assert list(journal.faults()) == []


@pytest.mark.django_db
def test_scenario_15_what_is_left_of_a_paste_stays_and_its_yield_does_too(
    crew: make.Crew,
) -> None:
    paste = make.released_paste(crew)
    made, before = Stock.objects.get(pk=paste.pk).on_hand_mg, yield_of(paste)
    dilution = make.open_batch(crew, make.liquid_version(crew), basis_mg=400_000)
    make.charge(crew, dilution, paste.stock, 400_000)
    assert Stock.objects.get(pk=paste.pk).on_hand_mg == made - 400_000
    assert make.fresh(paste).status == "released"
    assert yield_of(paste) == before
