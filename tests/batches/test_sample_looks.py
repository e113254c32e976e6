"""Kept samples looked at again: what was found, when next, and how it is put right."""

from __future__ import annotations

import datetime
import functools
import re
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from batches.models import FillingLot, RetainedSample, SampleLook
from batches.services import samples
from producer.errors import Conflict, Refusal
from producer.models import JournalEntry, User
from tests import bottling, hands, make

pytestmark = pytest.mark.django_db
DAY = datetime.timedelta(days=1)
Facts = dict[str, Any]


def in_days(days: int) -> datetime.date:
    return make.TODAY + days * DAY


@pytest.fixture
def lot(crew: make.Crew) -> FillingLot:
    """A filling lot with a jar."""
    found = make.filled(crew, sample_mg=5_000)
    bottling.jar(crew, found)
    return found


def next_look(lot: FillingLot) -> datetime.date | None:
    """Return the day to look at the only sample of a lot again."""
    (found,) = lot.samples.listed()
    day: datetime.date | None = vars(found)["next_look"]  # annotated
    return day


def test_a_look_is_one_row_and_one_of_the_journal_and_moves_nothing(
    crew: make.Crew, lot: FillingLot
) -> None:
    before = JournalEntry.objects.count()
    row = samples.look(
        by=crew.reviewer,
        sample=lot.samples.get(),
        state="changed",
        found="  cloudy, in two layers ",
        look_on=in_days(14),
    )
    entry = JournalEntry.objects.latest("sequence")
    assert JournalEntry.objects.count() == before + 1
    assert (entry.act, entry.subject_label) == ("sample looked at", lot.code)
    assert (row.found, row.entered_by) == ("cloudy, in two layers", crew.reviewer)
    assert next_look(lot) == in_days(14)
    assert {one.status for one in make.bottles_of(lot)} == {"filled"}
    assert make.fresh(lot.batch).status == "released"


def test_the_next_day_is_that_of_the_newest_look_and_not_the_one_entered_last(
    crew: make.Crew, lot: FillingLot, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert next_look(lot) == in_days(90)
    later = timezone.now() + 3 * DAY
    monkeypatch.setattr(timezone, "now", lambda: later)
    hour_ago = later - datetime.timedelta(hours=1)
    first = bottling.looked_at(crew, lot, look_on=in_days(30), observed_at=hour_ago)
    assert next_look(lot) == in_days(30)
    bottling.looked_at(crew, lot, look_on=in_days(40), observed_at=later - 2 * DAY)
    assert next_look(lot) == in_days(30)
    bottling.looked_at(crew, lot)
    assert next_look(lot) is None
    samples.amend_look(
        by=crew.maker,
        row=first,
        state="as_filled",
        found="clear",
        look_on=in_days(50),
        reason="the wrong month",
    )
    assert next_look(lot) is None  # it kept its place


def test_what_cannot_be_is_refused_beside_its_field(
    crew: make.Crew, lot: FillingLot
) -> None:
    too_late = lot.use_by + samples.LATEST + DAY
    for facts, field in (
        ({"found": " "}, "found"),
        ({"look_on": make.TODAY}, "look_on"),
        ({"look_on": too_late}, "look_on"),
        ({"observed_at": timezone.now() - 2 * DAY}, "observed_at"),
        ({"observed_at": timezone.now() + 2 * DAY}, "observed_at"),
    ):
        with pytest.raises(Refusal) as caught:
            bottling.looked_at(crew, lot, **facts)
        assert caught.value.field == field, facts
    for state, changes in (("fine", {}), ("gone", {"look_on": in_days(9)})):
        with pytest.raises(ValidationError):
            bottling.looked_at(crew, lot, state, **changes)
    assert not SampleLook.objects.exists()
    bottling.looked_at(crew, lot, look_on=too_late - DAY)


def test_a_first_day_to_look_in_another_century_is_a_slip(
    crew: make.Crew, lot: FillingLot
) -> None:
    with pytest.raises(Refusal, match="Check the year") as caught:
        samples.retain(
            by=crew.maker,
            filling_lot=lot,
            bottle=make.bottles_of(lot)[0],
            place=bottling.shelf(crew),
            look_on=lot.use_by + samples.LATEST + DAY,
        )
    assert caught.value.field == "look_on"


def test_what_is_entered_late_is_followed_by_a_day_after_today(
    crew: make.Crew, lot: FillingLot, monkeypatch: pytest.MonkeyPatch
) -> None:
    now = timezone.now() + 10 * DAY
    monkeypatch.setattr(timezone, "now", lambda: now)
    late: Facts = {"observed_at": now - 8 * DAY}
    with pytest.raises(Refusal, match="must be after today"):
        bottling.looked_at(crew, lot, look_on=in_days(10), **late)
    bottling.looked_at(crew, lot, look_on=in_days(11), **late)


def test_a_clock_that_runs_ahead_is_recorded_and_said(
    crew: make.Crew, lot: FillingLot, client: Client
) -> None:
    ahead = timezone.now() + datetime.timedelta(hours=3)
    row = bottling.looked_at(crew, lot, observed_at=ahead)
    assert row.observed_later_than_entered
    client.force_login(crew.maker)
    page = client.get(reverse("batches:filling_lot", args=[lot.code]))
    assert "dated ahead of when it was entered" in page.content.decode()


def test_a_jar_can_be_gone_and_a_bottle_is_accounted_for_on_its_page(
    crew: make.Crew, lot: FillingLot
) -> None:
    bottling.looked_at(crew, lot, "gone", found="fell off the shelf")
    assert next_look(lot) is None
    bottle = make.bottles_of(lot)[0]
    kept = samples.retain(
        by=crew.maker, filling_lot=lot, bottle=bottle, place=bottling.shelf(crew)
    )
    with pytest.raises(Refusal, match="Each bottle is accounted for"):
        samples.look(by=crew.maker, sample=kept, state="gone", found="not there")
    hands.moved(crew.maker, make.bottles_of(lot)[0], "destroyed", "opened")
    facts: Facts = {"state": "as_filled", "found": "clear when it was opened"}
    with pytest.raises(Refusal, match="is kept no longer"):
        samples.look(by=crew.maker, sample=kept, look_on=in_days(5), **facts)
    samples.look(by=crew.maker, sample=kept, **facts, observed_at=kept.observed_at)


def test_what_is_not_there_is_looked_at_no_more_until_that_is_taken_back(
    crew: make.Crew, lot: FillingLot
) -> None:
    hours = [timezone.now() + datetime.timedelta(hours=one) for one in range(5)]
    bottling.looked_at(crew, lot, observed_at=hours[1])
    gone = bottling.looked_at(crew, lot, "gone", observed_at=hours[2])
    for state in ("as_filled", "changed", "gone"):
        with pytest.raises(Refusal, match="is not there any more") as caught:
            bottling.looked_at(crew, lot, state, observed_at=hours[3])
        assert caught.value.field == "state"
    reworded = samples.amend_look(
        by=crew.maker, row=gone, state="gone", found="fell off", reason="words"
    )
    # What was seen before may still be written down.
    bottling.looked_at(crew, lot, "changed", observed_at=hours[0])
    samples.amend_look(by=crew.maker, row=reworded, void=True, reason="another jar")
    late = bottling.looked_at(crew, lot, observed_at=hours[3])
    with pytest.raises(Refusal, match="looked at after that"):
        bottling.looked_at(crew, lot, "gone", observed_at=hours[2])
    bottling.looked_at(crew, lot, "gone", observed_at=hours[4])
    with pytest.raises(Refusal, match="looked at after that"):
        samples.amend_look(
            by=crew.maker,
            row=SampleLook.objects.get(observed_at=hours[1]),
            state="gone",
            found="not there",
            reason="the wrong jar",
        )
    samples.amend_look(
        by=crew.maker, row=late, state="changed", found="cloudy", reason="in daylight"
    )


def test_a_bottle_is_not_as_filled_after_it_was_destroyed(
    crew: make.Crew, lot: FillingLot
) -> None:
    bottle = make.bottles_of(lot)[0]
    kept = samples.retain(
        by=crew.maker, filling_lot=lot, bottle=bottle, place=bottling.shelf(crew)
    )
    before = timezone.now()
    hands.moved(crew.maker, make.bottles_of(lot)[0], "destroyed", "opened")
    look = functools.partial(samples.look, by=crew.maker, sample=kept)
    with pytest.raises(Refusal, match=r"was destroyed on .* write when") as caught:
        look(state="as_filled", found="clear")
    assert caught.value.field == "state"
    changed = look(state="changed", found="cloudy when it was emptied")
    with pytest.raises(Refusal, match="was destroyed on"):
        samples.amend_look(
            by=crew.reviewer,
            row=changed,
            state="as_filled",
            found="clear",
            reason="a slip",
        )
    look(state="as_filled", found="clear", observed_at=before)


def test_a_look_is_corrected_by_a_new_row_with_a_reason(
    crew: make.Crew, lot: FillingLot
) -> None:
    row = bottling.looked_at(crew, lot)
    facts: Facts = {"state": "changed", "found": "cloudy"}
    with pytest.raises(Refusal) as caught:
        samples.amend_look(by=crew.maker, row=row, reason=" ", **facts)
    assert caught.value.field == "reason"
    new = samples.amend_look(by=crew.maker, row=row, reason="in daylight", **facts)
    assert (new.supersedes, new.observed_at) == (row, row.observed_at)
    assert list(samples.changed()) == [new]
    entry = JournalEntry.objects.latest("sequence")
    assert entry.act == "look at a sample corrected"
    with pytest.raises(Conflict):
        samples.amend_look(by=crew.maker, row=row, reason="again", **facts)


def test_only_a_reviewer_takes_back_that_a_sample_changed(
    crew: make.Crew, lot: FillingLot
) -> None:
    row = bottling.looked_at(crew, lot, "changed")
    as_filled: Facts = {"state": "as_filled", "found": "clear"}
    for facts in (as_filled, {"void": True}):
        with pytest.raises(Refusal, match="Only a reviewer takes back"):
            samples.amend_look(by=crew.maker, row=row, reason="a slip", **facts)
    reworded = samples.amend_look(
        by=crew.maker, row=row, reason="words", state="changed", found="in layers"
    )
    gone = samples.amend_look(
        by=crew.reviewer, row=reworded, reason="another jar", void=True
    )
    assert (gone.found, gone.look_on, gone.is_void) == ("", None, True)
    assert not samples.changed().exists()
    assert next_look(lot) == in_days(90)


def test_a_later_look_does_not_undo_a_change(crew: make.Crew, lot: FillingLot) -> None:
    changed = bottling.looked_at(crew, lot, "changed")
    bottling.looked_at(crew, lot)
    assert list(samples.changed()) == [changed]


def test_who_only_reads_does_not_look(
    crew: make.Crew, lot: FillingLot, auditor: User
) -> None:
    row = bottling.looked_at(crew, lot)
    with pytest.raises(PermissionDenied):
        samples.look(
            by=auditor, sample=lot.samples.get(), state="as_filled", found="clear"
        )
    with pytest.raises(PermissionDenied):
        samples.amend_look(by=auditor, row=row, reason="a slip", void=True)


def test_the_database_takes_no_look_without_words_or_with_a_day_after_the_end(
    crew: make.Crew, lot: FillingLot
) -> None:
    sample: RetainedSample = lot.samples.get()
    for wrong in (
        {"state": "fine", "found": "clear"},
        {"state": "as_filled", "found": ""},
        {"state": "gone", "found": "broken", "look_on": in_days(3)},
    ):
        row = SampleLook(
            sample=sample, entered_by=crew.maker, observed_at=timezone.now(), **wrong
        )
        with pytest.raises(IntegrityError), transaction.atomic():
            row.save(force_insert=True)


def test_the_page_records_a_look_corrects_it_and_takes_it_back(
    crew: make.Crew, lot: FillingLot, client: Client
) -> None:
    home = reverse("batches:filling_lot", args=[lot.code])
    sample = lot.samples.get()
    client.force_login(crew.reviewer)

    def sent(address: str, **fields: str) -> str:
        assert address in client.get(home).content.decode()
        page = client.get(address)
        form = page.context["form"]
        given = {"submission": form["submission"].value(), **fields}
        done = client.post(address, given, follow=True)
        assert done.redirect_chain == [(home, 302)]
        return re.sub(r"\s+", " ", done.content.decode())

    look = reverse("batches:sample_look", args=[lot.code, sample.pk])
    on = in_days(60)
    text = sent(look, state="as_filled", found="as clear as ever", look_on=f"{on}")
    assert f"reminds of it on {on.day} {on:%b %Y}." in text
    assert "as clear as ever" in text
    (row,) = SampleLook.objects.all()
    amend = reverse("batches:sample_look_amend", args=[lot.code, row.pk])
    given = client.get(amend).context["form"]
    assert given["found"].value() == "as clear as ever"
    assert "observed_at" not in given.fields
    text = sent(amend, state="changed", found="cloudy", reason="seen in daylight")
    assert "open a deviation, and put those that are here on hold" in text
    assert "corrected from “as filled: as clear as ever”: seen in daylight" in text
    void = reverse(
        "batches:sample_look_void", args=[lot.code, SampleLook.objects.latest("pk").pk]
    )
    text = sent(void, reason="it was another jar")
    assert "It is taken back." in text
    assert "not yet" in text
    text = sent(look, state="gone", found="broken")
    assert "Nobody is reminded of this sample any more." in text


def test_a_look_is_found_under_its_own_lot_only(
    crew: make.Crew, lot: FillingLot, client: Client
) -> None:
    row = bottling.looked_at(crew, lot)
    other = make.filled(crew, count=1)
    client.force_login(crew.maker)
    for name, pk in (
        ("batches:sample_look", row.sample_id),
        ("batches:sample_look_amend", row.pk),
        ("batches:sample_look_void", row.pk),
    ):
        assert client.get(reverse(name, args=[lot.code, pk])).status_code == 200
        assert client.get(reverse(name, args=[other.code, pk])).status_code == 404


def test_the_journal_leads_to_the_lot_and_the_lot_to_its_looks(
    crew: make.Crew, lot: FillingLot, client: Client
) -> None:
    bottling.looked_at(crew, lot)
    entry = JournalEntry.objects.latest("sequence")
    client.force_login(crew.maker)
    for on in (lot.code, lot.batch.number):
        page = client.get(reverse("producer:journal"), {"on": on})
        shown = [row.record.sequence for row in page.context["table"].rows]
        assert entry.sequence in shown, on
    page = client.get(reverse("producer:act", args=[entry.sequence]))
    assert reverse("batches:filling_lot", args=[lot.code]) in page.content.decode()
