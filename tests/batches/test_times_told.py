"""Nothing was filled, kept or counted before it was there."""

from __future__ import annotations

import datetime
import uuid
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from batches.models import FillingLot, LabelIssue
from batches.services import label_counts, samples
from producer.errors import Refusal
from producer.services.checks import not_before, said_moment
from tests import bottling, make

pytestmark = pytest.mark.django_db

TWO_MINUTES = datetime.timedelta(minutes=2)


def test_nothing_is_filled_before_it_was_weighed_out(crew: make.Crew) -> None:
    liquid = make.released_liquid(crew)
    weighed = liquid.bulk_weighings.current().get().observed_at
    with pytest.raises(Refusal, match=r"was weighed out on .* its filling") as told:
        make.filled(crew, liquid, observed_at=weighed - TWO_MINUTES)
    assert told.value.field == "observed_at"
    assert said_moment(weighed) in told.value.message
    assert not FillingLot.objects.exists()
    assert make.filled(crew, liquid, observed_at=weighed)


def test_the_page_says_so_beside_the_time(crew: make.Crew, client: Client) -> None:
    liquid = make.released_liquid(crew)
    client.force_login(crew.maker)
    yesterday = timezone.localtime() - datetime.timedelta(days=1)
    response = client.post(
        reverse("batches:fill", args=[liquid.number]),
        {
            "submission": str(uuid.uuid4()),
            "count": "1",
            "nominal_ul": "500 ml",
            "density": "1.02",
            "observed_at": f"{yesterday:%Y-%m-%dT%H:%M}",
        },
    )
    assert "was weighed out on" in response.context["form"].errors["observed_at"][0]
    assert not FillingLot.objects.exists()


@pytest.mark.parametrize("is_jar", [True, False])
def test_no_sample_is_kept_before_it_was_filled(
    crew: make.Crew,
    is_jar: bool,  # noqa: FBT001
) -> None:
    lot = make.filled(crew, sample_mg=30_000)
    what: dict[str, Any] = (
        {"mass_mg": 20_000} if is_jar else {"bottle": make.bottles_of(lot)[0]}
    )
    facts: dict[str, Any] = {"filling_lot": lot, "place": bottling.shelf(crew), **what}
    with pytest.raises(Refusal, match="a sample of them cannot be before") as told:
        samples.retain(
            by=crew.maker, observed_at=lot.observed_at - TWO_MINUTES, **facts
        )
    assert told.value.field == "observed_at"
    assert samples.retain(by=crew.maker, observed_at=lot.observed_at, **facts)


def test_no_label_is_counted_before_one_was_issued(crew: make.Crew) -> None:
    then = timezone.now() - datetime.timedelta(days=3)
    lot = bottling.filled_of(crew, then)
    facts: dict[str, Any] = {"filling_lot": lot, "kind": "specimen", "count": 1}
    with pytest.raises(Refusal, match="These bottles were filled on") as told:
        label_counts.count_labels(
            by=crew.maker, observed_at=then - TWO_MINUTES, **facts
        )
    assert told.value.field == "observed_at"
    bottling.labels_issued(crew, lot)
    with pytest.raises(Refusal, match="The first of these labels were issued on"):
        label_counts.count_labels(
            by=crew.maker, observed_at=then + TWO_MINUTES, **facts
        )
    issued = LabelIssue.objects.get().observed_at
    assert label_counts.count_labels(by=crew.maker, observed_at=issued, **facts)


def test_a_time_is_compared_by_the_minute() -> None:
    start = datetime.datetime(2026, 3, 5, 14, 5, 59, tzinfo=datetime.UTC)
    typed = start.replace(second=0)
    assert not_before(typed, start, was="It was", what="that") == typed
    with pytest.raises(Refusal, match="It was on 5 Mar 2026, 14:05; that cannot be"):
        not_before(
            typed - datetime.timedelta(seconds=1), start, was="It was", what="that"
        )
