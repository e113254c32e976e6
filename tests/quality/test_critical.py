"""A critical deviation holds what is released, and all made from it, at once."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from batches.models import Bottle
from producer.models import JournalEntry, RawLot
from quality.services import deviating
from tests import make
from tests.doors.pages import Page, page_of
from tests.quality import faulty
from tests.quality.test_recalling import dispatched

pytestmark = pytest.mark.django_db


def states() -> list[str]:
    return list(Bottle.objects.order_by("number").values_list("status", flat=True))


def test_opened_on_a_batch_it_holds_batch_bottles_and_all_below(
    crew: make.Crew,
) -> None:
    _, bottles = dispatched(crew)
    liquid = bottles[0].filling_lot.batch
    paste = liquid.charges.get(source__kind="batch").source.batch
    before = JournalEntry.objects.count()
    found = faulty.deviation(crew.maker, paste.stock, classification="critical")

    assert JournalEntry.objects.count() == before + 1
    entry = JournalEntry.objects.get(act="deviation opened")
    assert entry.after_values["batches_held"] == sorted([paste.number, liquid.number])
    assert entry.after_values["bottles_held"] == 2
    assert entry.after_values["bottles_out"] == 2
    for batch in (paste, liquid):
        assert make.fresh(batch).status == "on_hold"
        reason = batch.status_changes.latest("pk").reason
        assert reason == f"Deviation {found.code} of batch {paste.number}: critical."
    assert states() == ["dispatched", "dispatched", "on_hold", "on_hold"]


def test_control_another_class_holds_nothing(crew: make.Crew) -> None:
    _, bottles = dispatched(crew)
    liquid = bottles[0].filling_lot.batch
    faulty.deviation(crew.maker, liquid.stock, classification="major")
    assert make.fresh(liquid).status == "released"
    assert states() == ["dispatched", "dispatched", "filled", "filled"]


def test_raised_to_critical_it_holds_them_then(crew: make.Crew) -> None:
    _, bottles = dispatched(crew)
    liquid = bottles[0].filling_lot.batch
    found = faulty.deviation(crew.maker, liquid.stock, classification="minor")
    facts = {"by": crew.maker, "deviation": found}
    deviating.add_step(kind="cause", text="nobody stirred it", **facts)  # type: ignore[arg-type]
    assert make.fresh(liquid).status == "released"
    deviating.add_step(
        kind="class",
        text="it can burn the skin",
        classification="critical",
        **facts,  # type: ignore[arg-type]
    )
    assert make.fresh(liquid).status == "on_hold"
    assert states() == ["dispatched", "dispatched", "on_hold", "on_hold"]
    entry = JournalEntry.objects.latest("sequence")
    assert entry.after_values["batches_held"] == [liquid.number]


def test_opened_on_a_raw_lot_it_holds_the_lot_and_what_was_made_with_it(
    crew: make.Crew,
) -> None:
    lot, bottles = dispatched(crew)
    faulty.deviation(crew.maker, lot.stock, classification="critical")
    assert RawLot.objects.get(pk=lot.pk).status == "on_hold"
    assert make.fresh(bottles[0].filling_lot.batch).status == "on_hold"
    assert states() == ["dispatched", "dispatched", "on_hold", "on_hold"]
    entry = JournalEntry.objects.get(act="deviation opened")
    assert entry.after_values["lots_held"] == [lot.code]
    assert len(entry.after_values["batches_held"]) == 2


def test_the_page_says_so_before_and_after(crew: make.Crew) -> None:
    paste = make.released_paste(crew)
    client = Client()
    client.force_login(crew.maker)
    address = reverse("quality:deviation_open", args=[paste.number])
    form: Page = page_of(client.get(address))
    assert "Where it is critical, what is released of them is put on hold" in form.words
    found = faulty.deviation(crew.maker, paste.stock, classification="critical")
    shown = page_of(client.get(reverse("quality:deviation", args=[found.code])))
    assert f"what was released of batch {paste.number} and of all made" in shown.words
