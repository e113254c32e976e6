"""What became of one bottle, and a doubt about it: what is offered, what is said."""

from __future__ import annotations

import uuid

import pytest
from django.test import Client
from django.urls import reverse

from batches.models import Bottle
from batches.services import bottle_moves
from producer.errors import Refusal
from producer.models import User
from quality.services import collected, recalling
from quality.services.under_recall import recalled
from tests import hands, leaving, make
from tests.doors.pages import Page, page_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def bottle(crew: make.Crew) -> Bottle:
    return make.bottles_of(leaving.filled(crew))[0]


@pytest.fixture
def out(crew: make.Crew, bottle: Bottle) -> Bottle:
    """Return a bottle that is with a shop."""
    hands.dispatched(crew, [bottle], make.consignee(crew.maker))
    return Bottle.objects.listed().get(pk=bottle.pk)


def page(name: str, by: User, bottle: Bottle) -> Page:
    browser = Client()
    browser.force_login(by)
    return page_of(browser.get(reverse(f"quality:{name}", args=[bottle.code])))


def offered(by: User, bottle: Bottle) -> set[str]:
    """Return what the page lets somebody choose."""
    found = page("bottle_move", by, bottle).attributes("input")
    return {str(tag["value"]) for tag in found if tag.get("name") == "new"}


def recover(by: User, bottle: Bottle) -> int:
    return bottle_moves.move_bottles(
        by=by, bottles=[bottle], new="recovered", reason="back", recalled=recalled
    )


def recall(crew: make.Crew, bottle: Bottle, *, is_mock: bool = False) -> None:
    recalling.open_recall(
        by=crew.reviewer,
        root=bottle.filling_lot.batch.stock,
        hazard_class="2",
        reason="too much alkali",
        public_notice="Do not use it; call us.",
        is_mock=is_mock,
    )


def test_a_bottle_under_no_recall_is_not_recovered_in_one(
    crew: make.Crew, out: Bottle
) -> None:
    assert offered(crew.maker, out) == {"returned", "destroyed"}
    with pytest.raises(Refusal, match=r"no recall of it\. Choose “returned by"):
        recover(crew.maker, out)
    out.refresh_from_db()
    assert out.status == "dispatched"
    [line] = collected.to_move(out.code, "recovered")
    assert line.stops == [bottle_moves.NOT_RECALLED]


def test_who_knows_of_no_recall_recovers_nothing(crew: make.Crew, out: Bottle) -> None:
    with pytest.raises(Refusal, match="There is no recall of it"):
        bottle_moves.move_bottles(
            by=crew.maker, bottles=[out], new="recovered", reason="back"
        )


def test_a_mock_recall_fetches_nothing(crew: make.Crew, out: Bottle) -> None:
    recall(crew, out, is_mock=True)
    assert "recovered" not in offered(crew.maker, out)
    with pytest.raises(Refusal, match="There is no recall of it"):
        recover(crew.maker, out)


def test_under_a_recall_it_is_offered_and_recorded(
    crew: make.Crew, out: Bottle
) -> None:
    recall(crew, out)
    assert offered(crew.maker, out) == {"returned", "recovered", "destroyed"}
    [line] = collected.to_move(out.code, "recovered")
    assert line.may
    assert recover(crew.maker, out) == 1


def test_of_a_destroyed_bottle_no_form_is_shown_but_what_can_be_done(
    crew: make.Crew, bottle: Bottle
) -> None:
    gone = hands.moved(crew.maker, bottle, "destroyed", "it broke")
    found = page("bottle_move", crew.maker, gone)
    assert "If you hold it in your hand, say where it was found" in found.words
    links = [tag.get("href") for tag in found.attributes("a")]
    assert reverse("quality:bottle_doubt_report", args=[gone.code]) in links
    assert "Why" not in found.words
    assert not [
        tag for tag in found.attributes("textarea") if tag.get("name") == "reason"
    ]


def test_what_only_others_may_record_is_said_and_no_form_shown(
    crew: make.Crew, out: Bottle
) -> None:
    found = page("bottle_move", crew.reviewer, out)
    assert "there is nothing for you to record" in found.words
    assert "A maker records it as “returned by who had it”." in found.words
    assert offered(crew.reviewer, out) == set()


def test_of_a_returned_bottle_a_maker_reads_who_puts_it_back(
    crew: make.Crew, out: Bottle
) -> None:
    back = hands.moved(crew.maker, out, "returned", "wrong size")
    assert offered(crew.maker, back) == {"destroyed", "on_hold"}
    words = "A reviewer puts it back to stock."
    assert words in page("bottle_move", crew.maker, back).words
    assert words not in page("bottle_move", crew.reviewer, back).words
    assert "a reviewer puts it back to stock" in page("bottle", crew.maker, back).words


def test_right_after_it_is_destroyed_its_page_asks_for_nothing(
    crew: make.Crew, bottle: Bottle
) -> None:
    gone = hands.moved(crew.maker, bottle, "destroyed", "it broke")
    words = page("bottle", crew.maker, gone).words
    assert "It is destroyed; nothing to do. If you hold it in your hand" in words
    assert "should not exist" not in words


def reported(by: User, bottle: Bottle, kind: str) -> str:
    """Return what a person is told who reports a doubt."""
    browser = Client()
    browser.force_login(by)
    address = reverse("quality:bottle_doubt_report", args=[bottle.code])
    sent = {"submission": uuid.uuid4(), "kind": kind, "found": "at the fair"}
    answer = browser.post(address, sent, follow=True)
    return page_of(answer).words


def test_what_is_said_of_a_doubt_is_what_a_stranger_is_told(
    crew: make.Crew, bottle: Bottle, out: Bottle
) -> None:
    page_outside = f"/b/{out.code}/"
    words = reported(crew.maker, out, "elsewhere")
    assert "whoever scans it is not warned" in words
    assert "no bottle with this code may be used" not in words
    assert "do not use" not in page_of(Client().get(page_outside)).words.lower()
    words = reported(crew.maker, out, "duplicate")
    assert "Whoever scans the code is warned" in words
    assert "do not use" in page_of(Client().get(page_outside)).words.lower()


def test_a_bottle_here_and_elsewhere_is_held_and_so_its_page_says(
    crew: make.Crew, bottle: Bottle
) -> None:
    words = reported(crew.maker, bottle, "elsewhere")
    assert "It does not leave before a reviewer has settled this." in words
    assert "is not warned" not in words
    outside = page_of(Client().get(f"/b/{bottle.code}/")).words
    assert "On hold: do not use this bottle" in outside


def test_of_a_destroyed_one_that_was_found_a_stranger_is_told_not_to_use_it(
    crew: make.Crew, bottle: Bottle
) -> None:
    gone = hands.moved(crew.maker, bottle, "destroyed", "it broke")
    words = reported(crew.maker, gone, "should_not_exist")
    assert "Whoever scans it is told not to use it." in words
    outside = page_of(Client().get(f"/b/{bottle.code}/")).words
    assert "Do not use what is in it" in outside
