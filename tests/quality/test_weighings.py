"""Weighings of bottles: which are here, which weighing counts, what was opened."""

from __future__ import annotations

import datetime
import uuid
from typing import Any

import pytest
from django.db import transaction
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from batches.models import BottleEvent, FillingLot
from producer.errors import Refusal
from producer.models import JournalEntry
from producer.services import registers
from quality.models import FillCheck
from quality.services import filling_checks, filling_release, weighings
from quality.services.export_tables.goods import FILL_CHECKS
from quality.services.reading_order.bottles import filled_from
from tests import bottling, hands, lab, make
from tests.doors.pages import page_of

pytestmark = pytest.mark.django_db

GOOD_MG, SHORT_MG = 52_000, 47_900  # 51.0 and 47.0 ml at 1.02 g/ml, of 50


def small(crew: make.Crew, count: int = 5, **changes: Any) -> FillingLot:
    """Return a lot of bottles of 50 ml."""
    return make.filled(crew, count=count, **{"nominal_ul": 50_000, **changes})


def weigh(
    crew: make.Crew, lot: FillingLot, net_mg: list[int], **changes: Any
) -> FillCheck:
    """Weigh bottles on a scale that is fine enough; a refusal leaves no trace."""
    facts = {"scale": lab.fine_scale(crew), "tare_mg": 30_000, "net_mg": net_mg}
    with transaction.atomic():
        return filling_checks.record_fill_check(
            by=crew.maker, filling_lot=lot, **{**facts, **changes}
        )


# ------------------------------------------------------------ what is here


def test_a_broken_bottle_is_not_weighed(crew: make.Crew) -> None:
    lot = small(crew)
    hands.moved(crew.maker, make.bottles_of(lot)[4], "destroyed", "it broke")
    with pytest.raises(Refusal, match="of a lot of 4") as told:
        weigh(crew, lot, [GOOD_MG] * 5)
    assert "5 were filled; here are 4" in told.value.message
    assert told.value.field == "masses"
    with pytest.raises(Refusal, match="weighed as a whole: 4, not 3"):
        weigh(crew, lot, [GOOD_MG] * 3)
    row = weigh(crew, lot, [GOOD_MG] * 4)
    assert row.accepted
    assert row.facts == {"here": 4, "opened": [], "since": ""}
    assert "the mean of 4 bottles" in row.sentence


def test_what_is_out_or_came_back_is_not_weighed_and_what_is_held_is(
    crew: make.Crew,
) -> None:
    lot = bottling.may_leave(crew, make.filled(crew))
    first, second = make.bottles_of(lot)
    hands.dispatched(crew, [first], make.consignee(crew.maker))
    assert weighings.here_to_weigh(lot) == 1
    hands.moved(crew.maker, first, "returned", "not wanted")
    assert weighings.here_to_weigh(lot) == 1
    hands.moved(crew.reviewer, second, "on_hold", "it leaks")
    assert weighings.here_to_weigh(lot) == 1


def test_a_lot_of_which_none_is_here_is_not_weighed(crew: make.Crew) -> None:
    lot = small(crew, count=1)
    hands.moved(crew.maker, make.bottles_of(lot)[0], "destroyed", "it broke")
    with pytest.raises(Refusal, match=r"No bottle of .* is here to be weighed"):
        weigh(crew, lot, [GOOD_MG])


def test_the_page_says_how_many_are_here(crew: make.Crew, client: Client) -> None:
    lot = small(crew)
    hands.moved(crew.maker, make.bottles_of(lot)[4], "destroyed", "it broke")
    client.force_login(crew.maker)
    words = page_of(client.get(reverse("quality:fill_check", args=[lot.code]))).words
    assert "5 bottles of 50 ml each. 5 were filled; here are 4" in words
    assert "below 100, all that are here" in words


# ------------------------------------------------------------ which one counts


def held_short(crew: make.Crew, days: int = 40) -> FillingLot:
    """Return bottles filled so long ago that a weighing of today holds."""
    version = make.liquid_version(crew, name="Floor liquid")
    lab.limit(crew, version, "net_content", lower="100")
    then = timezone.now() - datetime.timedelta(days=days)
    lot = bottling.filled_of(crew, then, version, nominal_ul=50_000)
    weigh(crew, lot, [SHORT_MG] * 2)
    assert {bottle.status for bottle in make.bottles_of(lot)} == {"on_hold"}
    return lot


def test_after_a_failed_weighing_another_one_needs_words(crew: make.Crew) -> None:
    lot = held_short(crew)
    with pytest.raises(Refusal, match="Write what was done since") as told:
        weigh(crew, lot, [GOOD_MG] * 2, since=" ")
    assert told.value.field == "since"
    assert FillCheck.objects.count() == 1
    row = weigh(crew, lot, [GOOD_MG] * 2, since="topped up to the line.")
    assert row.facts == {"here": 2, "opened": [], "since": "topped up to the line."}
    assert "Done since the weighing before: topped up to the line." in row.sentence
    entry = JournalEntry.objects.latest("sequence")
    assert entry.after_values["since"] == "topped up to the line."
    # after one that was accepted nobody asks
    assert weigh(crew, lot, [GOOD_MG] * 2).facts == {
        "here": 2,
        "opened": [],
        "since": "",
    }


def test_what_was_not_accepted_without_a_limit_needs_words_too(
    crew: make.Crew,
) -> None:
    lot = small(crew, count=2)
    assert not weigh(crew, lot, [SHORT_MG] * 2).accepted
    with pytest.raises(Refusal, match="Write what was done since"):
        weigh(crew, lot, [GOOD_MG] * 2)


def test_an_older_weighing_does_not_become_the_newest(crew: make.Crew) -> None:
    """Result shopping: at once a good one, told as a month ago."""
    lot = held_short(crew)
    month_ago = timezone.now() - datetime.timedelta(days=30)
    old = weigh(crew, lot, [GOOD_MG] * 2, since="found it", observed_at=month_ago)
    assert old.accepted
    newest = weighings.newest_check(lot)
    assert newest is not None
    assert newest.pk < old.pk
    assert filling_checks.newest_stops(lot)
    assert not filling_release.looked_at(lot).is_checked
    assert weighings.newest_of([lot.pk]) == {lot.pk: newest}
    (filled,) = filled_from(lot.batch)
    assert filled.check == newest
    with pytest.raises(Refusal, match="newest weighing"):
        filling_checks.free_bottles(
            by=crew.reviewer, filling_lot=lot, reason="as weighed"
        )
    # and it still needs words: the newest is the one that failed
    with pytest.raises(Refusal, match="Write what was done since"):
        weigh(crew, lot, [GOOD_MG] * 2)


def test_a_clock_that_runs_ahead_does_not_outlast_a_later_weighing(
    crew: make.Crew,
) -> None:
    lot = small(crew, count=2)
    ahead = timezone.now() + datetime.timedelta(hours=20)
    weigh(crew, lot, [GOOD_MG] * 2, observed_at=ahead)
    later = weigh(crew, lot, [SHORT_MG] * 2)
    assert weighings.newest_check(lot) == later


def test_no_bottle_was_weighed_before_it_was_filled(crew: make.Crew) -> None:
    lot = small(crew, count=2)
    early = lot.observed_at - datetime.timedelta(minutes=2)
    with pytest.raises(Refusal, match=r"filled on .* weighing of them cannot") as told:
        weigh(crew, lot, [GOOD_MG] * 2, observed_at=early)
    assert told.value.field == "observed_at"
    assert weigh(crew, lot, [GOOD_MG] * 2, observed_at=lot.observed_at)


def test_the_page_asks_what_was_done_since_and_says_what_is_older(
    crew: make.Crew, client: Client
) -> None:
    lot = held_short(crew)
    client.force_login(crew.maker)
    address = reverse("quality:fill_check", args=[lot.code])
    sent = {
        "scale": str(lab.fine_scale(crew).pk),
        "tare_mg": "30",
        "masses": "52\n52",
        "are_gross": "net",
    }
    page = page_of(client.post(address, {"submission": uuid.uuid4(), **sent}))
    assert "What was done since the last weighing" in page.words
    assert "This is needed." in page.words
    month_ago = timezone.localtime() - datetime.timedelta(days=30)
    sent |= {"since": "found the sheet", "observed_at": f"{month_ago:%Y-%m-%dT%H:%M}"}
    done = client.post(address, {"submission": uuid.uuid4(), **sent}, follow=True)
    assert "It is older than the weighing of" in page_of(done).words
    free = make.filled(crew, count=1, nominal_ul=100_000)
    page = page_of(client.get(reverse("quality:fill_check", args=[free.code])))
    assert "What was done since" not in page.words


# ------------------------------------------------------------ opened


def test_opened_bottles_are_destroyed_in_the_same_act(crew: make.Crew) -> None:
    lot = small(crew, count=3)
    lab.fine_scale(crew)
    before = JournalEntry.objects.count()
    row = weigh(crew, lot, [GOOD_MG] * 3, opened=True, numbers=[1, 2, 3])
    assert JournalEntry.objects.count() == before + 1
    assert row.facts == {"here": 3, "opened": [1, 2, 3], "since": ""}
    assert "and so destroyed: bottle 1, 2, 3." in row.sentence
    bottles = make.bottles_of(lot)
    assert {bottle.status for bottle in bottles} == {"destroyed"}
    event = BottleEvent.objects.latest("pk")
    assert event.reason == f"opened and emptied to weigh bottles of {lot.code}"
    entry = JournalEntry.objects.latest("sequence")
    assert entry.after_values["opened"] == [1, 2, 3]
    assert entry.after_values["bottles_destroyed"] == [one.code for one in bottles]
    assert weighings.here_to_weigh(lot) == 0
    (line,) = FILL_CHECKS.rows(lot.batch)
    assert dict(zip(FILL_CHECKS.head, line, strict=True))["bottles_opened"] == "1 2 3"


def test_of_a_large_lot_twenty_are_opened_and_the_others_stay(crew: make.Crew) -> None:
    lot = small(crew, count=100, nominal_ul=10_000)
    row = weigh(crew, lot, [10_300] * 20, opened=True, numbers=range(1, 21))
    assert row.accepted
    assert weighings.here_to_weigh(lot) == 80


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"opened": True}, "Write the numbers of the bottles that were opened"),
        ({"opened": True, "numbers": [1]}, "1 bottles were opened and 2 masses"),
        ({"opened": True, "numbers": [1, 1]}, "1 bottles were opened and 2 masses"),
        ({"opened": True, "numbers": [1, 3]}, "Bottle 3 of .* does not exist"),
        ({"numbers": [1, 2]}, "Say that these bottles were opened"),
    ],
)
def test_which_bottles_were_opened_has_to_be_right(
    crew: make.Crew, changes: dict[str, Any], says: str
) -> None:
    lot = small(crew, count=2)
    with pytest.raises(Refusal, match=says) as told:
        weigh(crew, lot, [GOOD_MG] * 2, **changes)
    assert told.value.field == "numbers"
    assert not FillCheck.objects.exists()
    assert {bottle.status for bottle in make.bottles_of(lot)} == {"filled"}


def test_what_is_gone_or_on_hold_is_not_opened_by_a_maker(crew: make.Crew) -> None:
    lot = small(crew, count=3)
    gone, held, _ = make.bottles_of(lot)
    hands.moved(crew.maker, gone, "destroyed", "it broke")
    hands.moved(crew.reviewer, held, "on_hold", "it leaks")
    with pytest.raises(Refusal, match="is destroyed, so it was not opened here"):
        weigh(crew, lot, [GOOD_MG] * 2, opened=True, numbers=[1, 3])
    with pytest.raises(Refusal, match="is on hold, and only a reviewer"):
        weigh(crew, lot, [GOOD_MG] * 2, opened=True, numbers=[2, 3])


def test_the_page_takes_the_numbers_of_what_was_opened(
    crew: make.Crew, client: Client
) -> None:
    lot = small(crew, count=2)
    client.force_login(crew.maker)
    sent = {
        "submission": uuid.uuid4(),
        "scale": str(lab.fine_scale(crew).pk),
        "tare_mg": "30",
        "masses": "52\n52",
        "are_gross": "net",
        "opened": "on",
    }
    address = reverse("quality:fill_check", args=[lot.code])
    assert "Write the numbers of" in page_of(client.post(address, sent)).words
    done = client.post(address, {**sent, "numbers": "1-2"}, follow=True)
    assert "and so destroyed: bottle 1, 2." in page_of(done).words


# ------------------------------------------------------------ the scale


def test_a_scale_out_of_use_weighs_no_bottles(crew: make.Crew) -> None:
    lot, scale = small(crew, count=2), lab.fine_scale(crew)
    scale.in_use = False
    registers.save(by=crew.maker, entry=scale)
    with pytest.raises(Refusal, match="is out of use") as told:
        weigh(crew, lot, [GOOD_MG] * 2, scale=scale)
    assert told.value.field == "scale"
    assert not FillCheck.objects.exists()
