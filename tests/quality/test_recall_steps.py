"""The steps of a recall: each attempt on record, the count, and the closing."""

from __future__ import annotations

from typing import Any, NamedTuple

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from batches.models import Bottle, FillingLot
from producer.errors import Conflict, Refusal
from producer.models import Consignee, JournalEntry, Premises
from producer.models.journal import canonical
from quality.models import Recall, RecallContact, RecallEvent
from quality.services import (
    erasing,
    recall_closing,
    recall_contacts,
    recall_hazard,
    recall_levels,
    recalling,
)
from quality.services.recall_balance import balance_of
from quality.services.recall_holders import holders_of
from quality.services.recall_status import standing_of
from quality.services.verification import states
from tests import hands, leaving, make
from tests.database import run, without_triggers
from tests.doors.pages import page_of
from tests.once import once

pytestmark = pytest.mark.django_db


class Scene(NamedTuple):
    """A potash lot, six bottles of it, and who has four of them."""

    crew: make.Crew
    lot: FillingLot
    shop: Consignee
    friend: Consignee
    recall: Recall


@once
def scene_of(crew: make.Crew) -> Scene:
    """Three bottles at a shop, one with a friend, two here; and a recall."""
    potash = make.released_lot(crew, make.potash(crew.maker))
    paste = make.released_paste(crew, sources={"potash": potash.stock})
    liquid = make.released_liquid(crew, paste=paste)
    lot = make.filled(crew, liquid, count=6, nominal_ul=100_000)
    shop = make.consignee(crew.maker)
    friend = make.registered(
        crew.maker, Consignee(kind="private", name="Signe Holm", phone="555 0144")
    )
    bottles = make.bottles_of(lot)
    leaving.sent(crew, bottles[:3], consignee=shop)
    leaving.sent(crew, bottles[3:4], consignee=friend)
    return Scene(crew, lot, shop, friend, hands.recall(crew, potash.stock))


@pytest.fixture
def scene(crew: make.Crew) -> Scene:
    return scene_of(crew)


def tried(
    scene: Scene, to: Consignee | None, outcome: str = "reached", **more: Any
) -> RecallContact:
    said = "keeps them shut" if outcome == "reached" else ""
    facts: dict[str, Any] = {"means": "telephone", "said": said, "outcome": outcome}
    facts |= {"by": scene.crew.maker, **more}
    return recall_contacts.record_contact(recall=scene.recall, consignee=to, **facts)


def told(scene: Scene, **more: Any) -> Recall:
    recall_hazard.evaluate(by=scene.crew.reviewer, recall=scene.recall, **hands.HAZARD)
    return recalling.advance(
        by=scene.crew.reviewer, recall=scene.recall, note="told them", **more
    )


def closing(scene: Scene, **more: Any) -> Recall:
    facts: dict[str, Any] = {"note": "done", "password": make.PASSWORD, **more}
    return recall_closing.close(
        by=scene.crew.reviewer, recall=Recall.objects.get(pk=scene.recall.pk), **facts
    )


def names(scene: Scene) -> list[str]:
    return [one.name for one in holders_of(scene.recall)]


def test_who_was_not_reached_yet_is_telephoned_first(scene: Scene) -> None:
    assert names(scene) == [scene.shop.name, scene.friend.name]  # who has most first
    tried(scene, scene.shop, "not_reached")
    assert names(scene) == [scene.friend.name, scene.shop.name]  # not tried at all
    tried(scene, scene.friend)
    assert names(scene) == [scene.shop.name, scene.friend.name]
    tried(scene, None, who="visitors of the open day", means="notice")
    assert names(scene) == [
        scene.shop.name,
        scene.friend.name,
        "visitors of the open day",
    ]


def test_a_holder_once_reached_stays_reached_and_an_attempt_taken_back_is_none(
    scene: Scene,
) -> None:
    row = tried(scene, scene.shop)
    tried(scene, scene.shop, "not_reached")
    shop = next(one for one in holders_of(scene.recall) if one.name == scene.shop.name)
    assert shop.is_reached
    recall_contacts.amend_contact(
        by=scene.crew.reviewer, row=row, reason="it was another shop", void=True
    )
    shop = next(one for one in holders_of(scene.recall) if one.name == scene.shop.name)
    assert not shop.is_reached
    assert len(shop.attempts) == 1
    with pytest.raises(Conflict, match="corrected already"):
        recall_contacts.amend_contact(
            by=scene.crew.maker, row=row, reason="again", void=True
        )


def test_an_attempt_is_corrected_by_a_new_row_and_keeps_its_time(scene: Scene) -> None:
    row = tried(scene, scene.shop, held=3)
    new = recall_contacts.amend_contact(
        by=scene.crew.maker,
        row=row,
        reason="misheard",
        means="telephone",
        outcome="reached",
        consignee=scene.shop,
        said="has two, one is empty",
        held=2,
        used_up=1,
    )
    assert new.observed_at == row.observed_at
    assert (row.held, new.held, new.used_up) == (3, 2, 1)
    entry = JournalEntry.objects.get(act="recall: attempt corrected")
    assert entry.subject_label == scene.recall.code
    assert (entry.before_values["held"], entry.after_values["held"]) == (3, 2)


def test_the_log_keeps_a_reference_and_no_name(scene: Scene) -> None:
    tried(scene, scene.shop)
    entry = JournalEntry.objects.get(act="recall: attempt recorded")
    assert entry.after_values["consignee"] == scene.shop.reference
    kept = entry.after + str(
        list(RecallContact.objects.values("who", "said", "consignee"))
    )
    for personal in (scene.shop.name, scene.shop.phone):
        assert personal
        assert personal not in kept


@pytest.mark.parametrize(
    ("facts", "words"),
    [
        ({"outcome": "reached", "said": " "}, "Write what they said"),
        ({"outcome": "not_reached", "held": 2}, "said nothing of bottles"),
        ({"outcome": "none_left", "said": "gone", "held": 2}, "holds 0 bottles"),
        ({"who": "a neighbour", "said": "ok"}, "not both"),
        ({"outcome": "shouted", "said": "ok"}, "not a valid choice"),
        ({"held": -1, "said": "ok"}, "greater than or equal to 0"),
    ],
)
def test_an_attempt_that_contradicts_itself_is_refused(
    scene: Scene, facts: dict[str, Any], words: str
) -> None:
    with pytest.raises((Refusal, ValidationError), match=words):
        tried(scene, scene.shop, **facts)
    with pytest.raises(ValidationError, match="Choose who it was"):
        tried(scene, None)
    assert not RecallContact.objects.exists()


def test_makers_and_reviewers_work_the_telephone_and_nobody_else(
    scene: Scene, owner: Any, auditor: Any
) -> None:
    tried(scene, scene.shop)
    tried(scene, scene.shop, by=scene.crew.reviewer)
    for other in (owner, auditor):
        with pytest.raises(PermissionDenied):
            tried(scene, scene.shop, by=other)


def test_every_bottle_has_a_place_and_the_places_add_up(scene: Scene) -> None:
    first, second, third, fourth, *_ = make.bottles_of(scene.lot)
    hands.moved(scene.crew.maker, first, "recovered", "fetched")
    hands.moved(scene.crew.maker, second, "destroyed", "poured away there")
    tried(scene, scene.shop, held=0, used_up=1)
    now = standing_of(scene.recall)
    count = now.balance.bottles
    assert (count.here, count.recovered, count.destroyed, count.out) == (2, 1, 1, 2)
    assert count.filled == count.placed == 6
    assert (count.said_used, count.said_held, count.unsaid) == (1, 0, 1)
    assert (count.distributed, count.back, count.destroyed_there) == (4, 1, 1)
    assert now.effect.back_percent == 25
    assert now.effect.accounted == 5  # all but the friend's
    assert now.effect.traced_percent == 100
    assert now.open_ends == []
    assert (third.number, fourth.number) == (3, 4)


def test_what_a_holder_says_beside_the_records_is_told(scene: Scene) -> None:
    tried(scene, scene.shop, held=1)
    tried(scene, scene.friend, held=4)
    ends = balance_of(scene.recall).open_ends()
    assert len(ends) == 2
    assert ends[0].startswith(f"{scene.shop.name}: 2 of 3 bottles still out are not")
    assert ends[1].startswith(f"{scene.friend.name} spoke of 4 bottles, and by the")
    assert "they had 1 then." in ends[1]
    kept = balance_of(scene.recall).open_ends(by_name=False)
    assert not any(scene.shop.name in line for line in kept)
    assert kept[0].startswith(scene.shop.reference)


def test_what_came_back_since_they_spoke_is_not_counted_twice(scene: Scene) -> None:
    tried(scene, scene.shop, held=2)  # of three
    for bottle in make.bottles_of(scene.lot)[:2]:
        hands.moved(scene.crew.maker, bottle, "recovered", "fetched")
    count = balance_of(scene.recall).bottles
    assert (count.out, count.said_held, count.unsaid) == (2, 0, 2)
    (line,) = balance_of(scene.recall).open_ends()
    assert line.startswith(f"{scene.shop.name}: 1 of 1 bottles still out are not")
    tried(scene, scene.shop, held=1)  # it turned up
    assert balance_of(scene.recall).open_ends() == []


def test_a_bottle_lost_behind_the_program_does_not_close(scene: Scene) -> None:
    assert balance_of(scene.recall).open_ends() == []  # control
    here = make.bottles_of(scene.lot)[5]
    with without_triggers():
        run("DELETE FROM batches_bottleevent WHERE bottle_id = %s", here.pk)
        run("DELETE FROM batches_labelcopy WHERE bottle_id = %s", here.pk)
        run("DELETE FROM batches_bottle WHERE id = %s", here.pk)
    (line,) = balance_of(scene.recall).open_ends()
    assert line.startswith("6 bottles were filled and 5 are on record: 1 are missing.")


def test_every_milligram_of_lot_and_batches_has_its_place(scene: Scene) -> None:
    bottled = scene.lot
    now = balance_of(scene.recall)
    assert [one.missing for one in now.masses] == [0, 0, 0]
    lot, paste, liquid = now.masses
    assert lot.is_lot
    assert lot.into_batches > 0
    assert lot.came_in == lot.into_batches + lot.in_stock
    assert paste.into_batches > 0
    assert liquid.in_bottles == bottled.filled_mg
    assert liquid.came_in - liquid.in_bottles == liquid.in_stock + liquid.lost
    assert now.total["in_bottles"] == bottled.filled_mg
    assert paste.weighed_in - paste.lost_making - paste.not_weighed_out == paste.came_in


def test_a_milligram_taken_behind_the_program_is_missed(scene: Scene) -> None:
    run(
        "UPDATE producer_stock SET on_hand_mg = on_hand_mg - 1 WHERE id = %s",
        scene.lot.batch_id,
    )
    (line,) = balance_of(scene.recall).open_ends()
    assert line.startswith(f"{scene.lot.batch.number}: 1 mg missing")


def test_the_page_asks_as_often_for_two_holders_as_for_eight(
    scene: Scene, client: Client
) -> None:
    client.force_login(scene.crew.reviewer)
    address = reverse("quality:recall", args=[scene.recall.code])

    def asked() -> int:
        client.get(address)
        with CaptureQueriesContext(connection) as queries:
            assert client.get(address).status_code == 200
        return len(queries)

    before = asked()
    for number, bottle in enumerate(make.bottles_of(scene.lot)[:4]):
        other = make.registered(
            scene.crew.maker, Consignee(kind="private", name=f"Holder {number}")
        )
        Bottle.objects.filter(pk=bottle.pk).update(consignee=other)
        tried(scene, other, held=1)
    tried(scene, scene.shop)
    assert len(holders_of(scene.recall)) == 5
    assert asked() == before


def test_a_level_below_every_holder_needs_a_hundred_of_them(scene: Scene) -> None:
    with pytest.raises(Refusal, match="choose A") as refused:
        told(scene, level="C")
    assert refused.value.field == "level"
    told(scene)
    facts = hands.kept("notified")
    assert facts == {"level": "A", "percent": 100, "holders": 2}
    assert standing_of(scene.recall).effect.to_reach == 2


@pytest.mark.parametrize(
    ("level", "percent", "field"),
    [
        ("B", None, "percent"),
        ("B", 10, "percent"),
        ("D", 5, "percent"),
        ("F", 1, "level"),
    ],
)
def test_level_b_says_how_many_and_no_other_does(
    level: str, percent: int | None, field: str
) -> None:
    with pytest.raises(Refusal) as refused:
        recall_levels.chosen(level, percent, holders=400)
    assert refused.value.field == field
    assert recall_levels.chosen("B", 11, holders=400)["percent"] == 11  # control


def test_a_recall_is_not_closed_while_a_holder_was_not_tried(scene: Scene) -> None:
    told(scene)
    tried(scene, scene.shop)
    with pytest.raises(
        Refusal, match="Not tried: 1 of the holders, who are 2"
    ) as refused:
        closing(scene)
    assert refused.value.field == "why_not"
    tried(scene, scene.friend, "not_reached")
    for _ in range(2):  # tried once, then twice: not enough
        with pytest.raises(Refusal, match="tried 3 times"):
            closing(scene)
        tried(scene, scene.friend, "not_reached")
    assert closing(scene).status == "closed"


def test_with_a_reason_it_closes_and_the_reason_is_kept(scene: Scene) -> None:
    told(scene)
    closing(scene, why_not="the friend has moved abroad")
    facts = hands.kept("closed")
    assert facts["why_not"] == "the friend has moved abroad"


def test_the_closing_is_signed_and_keeps_the_count_as_it_stood(scene: Scene) -> None:
    told(scene)
    for to in (scene.shop, scene.friend):
        tried(scene, to)
    with pytest.raises(Refusal, match="Write what was done"):
        closing(scene, note=" ")
    with pytest.raises(Refusal, match="not your password"):
        closing(scene, password="a guess")
    closing(scene)
    bottle = make.bottles_of(scene.lot)[0]
    hands.moved(scene.crew.maker, bottle, "recovered", "late")
    facts = hands.kept("closed")
    assert facts["signature"]["name"] == scene.crew.reviewer.person.name
    assert facts["signature"]["meaning"] == recall_closing.MEANING
    assert facts["bottles"]["out"] == 4
    assert balance_of(scene.recall).bottles.out == 3  # control: it goes on
    assert [one["consignee"] for one in facts["holders"]] == [
        scene.shop.pk,
        scene.friend.pk,
    ]
    assert scene.shop.name not in str(facts)
    entry = JournalEntry.objects.get(act="recall closed")
    assert entry.after_values["facts_sha256"] == recall_closing.sha256_of(facts)


def test_nobody_signs_what_has_changed_since(scene: Scene) -> None:
    told(scene)
    for to in (scene.shop, scene.friend):
        tried(scene, to)
    seen = recall_closing.digest_of(standing_of(Recall.objects.get()))
    tried(scene, scene.shop, held=2)
    with pytest.raises(Conflict, match="Something changed since"):
        closing(scene, seen=seen)
    seen = recall_closing.digest_of(standing_of(Recall.objects.get()))
    closing(scene, seen=seen)
    with pytest.raises(Conflict, match="is closed"):
        closing(scene)


def test_a_recall_whose_holders_were_not_told_is_not_closed(scene: Scene) -> None:
    with pytest.raises(Conflict, match="does not become closed"):
        closing(scene, why_not="in a hurry")


def test_verify_finds_a_count_that_was_changed_or_a_closing_taken_out(
    scene: Scene,
) -> None:
    told(scene)
    closing(scene, why_not="nobody answers")
    assert list(recall_closing.faults()) == []
    event = RecallEvent.objects.get(new="closed")
    changed = canonical({**hands.kept("closed"), "reached": 2})
    with without_triggers():
        run(
            "UPDATE quality_recallevent SET facts = %s WHERE id = %s", changed, event.pk
        )
    (fault,) = recall_closing.faults()
    assert "is not the one signed" in fault
    with without_triggers():
        run("DELETE FROM quality_recallevent WHERE id = %s", event.pk)
    (fault,) = recall_closing.faults()
    assert "was signed and is not there" in fault
    assert list(states.recall_faults())  # and its state has no last step


def test_after_the_closing_data_are_erased_and_the_page_says_so(
    scene: Scene, client: Client
) -> None:
    told(scene)
    for to in (scene.shop, scene.friend):
        tried(scene, to)
    with pytest.raises(Refusal):  # while it is open it could not be carried out
        erasing.erase(by=scene.crew.maker, consignee=scene.friend, reason="asked")
    closing(scene)
    erasing.erase(by=scene.crew.maker, consignee=scene.friend, reason="asked")
    client.force_login(scene.crew.reviewer)
    page = page_of(client.get(reverse("quality:recall", args=[scene.recall.code])))
    assert "contact data were erased on" in page.words
    assert "Signe Holm" not in page.words
    (line,) = balance_of(scene.recall).open_ends()
    assert "Nobody can be called; post a notice" in line
    assert standing_of(scene.recall).effect.traced == 5


def test_the_page_says_who_is_not_in_the_register_and_leads_to_the_next_attempt(
    scene: Scene, client: Client
) -> None:
    tried(scene, None, who="visitors of the open day", means="notice")
    client.force_login(scene.crew.maker)
    page = page_of(client.get(reverse("quality:recall", args=[scene.recall.code])))
    assert "not in the register" in page.words
    assert "not tried yet" in page.words
    new = reverse("quality:recall_contact_new", args=[scene.recall.code])
    links = [one.get("href", "") for one in page.attributes("a")]
    assert f"{new}?to={scene.shop.pk}" in links
    form = client.get(f"{new}?to={scene.shop.pk}").context["form"]
    assert form["consignee"].value() == str(scene.shop.pk)


def test_the_report_says_what_was_reached_recovered_and_is_still_out(
    scene: Scene, client: Client
) -> None:
    hands.moved(scene.crew.maker, make.bottles_of(scene.lot)[0], "recovered", "fetched")
    tried(scene, scene.shop)
    client.force_login(scene.crew.reviewer)
    code = scene.recall.code
    words = page_of(client.get(reverse("quality:recall_report", args=[code]))).words
    assert "1 of 2 (50 %)" in words
    assert "1 of 4 that were out" in words
    assert "Not tried yet: 1 of 2 holders. Call them." in words
    assert "Still out: 3 bottles." in words
    assert Premises.objects.count() == 1
    pdf = client.get(reverse("quality:recall_report_pdf", args=[code]))
    assert pdf.getvalue().startswith(b"%PDF")
    assert "MOCK" not in pdf["Content-Disposition"]
