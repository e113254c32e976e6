"""The signing page: what is signed, what it does, and what will stand beside it."""

from __future__ import annotations

import json
import uuid
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from batches.models import Batch
from producer.errors import Conflict
from producer.models import Premises, User
from quality.documents.dossier import dossier_pdf
from quality.models import Signature
from quality.services import exporting, reviewing
from quality.services.consequences import SELF_REVIEWED, Choice, choices_of
from tests import make
from tests.doors.pages import Page, field_value, page_of
from tests.quality.test_batch_sheet import pages_of
from tests.quality.test_signing import hours_later, one_person

pytestmark = pytest.mark.django_db


def page(user: User, name: str, *arguments: Any) -> Page:
    client = Client()
    client.force_login(user)
    return page_of(client.get(reverse(name, args=arguments)))


def choices(batch: Batch, user: User) -> dict[str, Choice]:
    batch = make.fresh(batch)
    review = reviewing.review_of(batch, by=user)
    return {str(one.meaning): one for one in choices_of(batch, review)}


# ------------------------------------------------- what is signed


def test_it_says_whose_name_which_day_and_which_time_zone(crew: make.Crew) -> None:
    batch = make.cooked_batch(crew)
    said = page(crew.reviewer, "quality:sign", batch.number).words
    zone = Premises.objects.get().time_zone
    today = timezone.localtime()
    assert f"Name as it is printed {crew.reviewer.person.name}" in said
    assert f"it shows {today.day} {today:%b %Y}, " in said
    assert f"time zone {zone}" in said
    assert "by its SHA-256" in said


def test_each_decision_says_what_it_does_before_it_is_signed(crew: make.Crew) -> None:
    batch = make.cooked_batch(crew)
    waiting = choices(batch, crew.reviewer)
    assert list(waiting) == ["release", "reject"]
    assert "filled and sent" in waiting["release"].consequence
    assert "never released" in waiting["reject"].consequence
    assert (waiting["release"].refused, waiting["release"].stands_beside) == ("", "")
    said = page(crew.reviewer, "quality:sign", batch.number).words
    for one in waiting.values():
        assert f"{one.words} {one.consequence}" in said
    liquid = make.released_liquid(crew)
    make.filled(crew, liquid, count=3, nominal_ul=100_000)
    assert "here with it: 3." in choices(liquid, crew.reviewer)["hold"].consequence
    make.sign(crew.reviewer, liquid, "hold")
    held = choices(liquid, crew.reviewer)
    assert list(held) == ["unhold", "reject"]
    assert "may leave" in held["unhold"].consequence
    make.sign(crew.reviewer, liquid, "reject")
    rejected = choices(liquid, crew.reviewer)
    assert list(rejected) == ["rework", "dispose"]
    assert "cannot be undone" in rejected["dispose"].consequence
    make.sign(crew.reviewer, liquid, "dispose")
    assert choices(liquid, crew.reviewer) == {}
    said = page(crew.reviewer, "quality:sign", liquid.number).words
    assert "waits for no decision" in said
    assert "Name as it is printed" not in said


def test_a_release_that_is_not_possible_says_so_beside_it(crew: make.Crew) -> None:
    bad = make.cooked_batch(crew, ph="11")
    found = choices(bad, crew.reviewer)
    assert "something stands in the way" in found["release"].refused
    assert found["reject"].refused == ""


def test_its_links_to_the_record_lead_to_the_review_page(crew: make.Crew) -> None:
    batch = make.cooked_batch(crew)
    shown = page(crew.reviewer, "quality:sign", batch.number)
    review = reverse("quality:review", args=[batch.number])
    links = [one.get("href", "") for one in shown.attributes("a")]
    assert f"{review}#yield" in links
    own = {"#main", "#more", "#sign"}
    assert not [x for x in links if x.startswith("#") and x not in own]


def test_a_link_at_the_top_leads_past_everything_to_the_signature(
    crew: make.Crew,
) -> None:
    batch = make.cooked_batch(crew)
    shown = page(crew.reviewer, "quality:sign", batch.number)
    links = [one.get("href") for one in shown.attributes("a")]
    assert links.index("#sign") < links.index(
        reverse("quality:review", args=[batch.number])
    )
    assert "sign" in {one.get("id") for _, one in shown.elements}


def test_the_page_signs_what_was_read_on_it_and_nothing_else(crew: make.Crew) -> None:
    batch = make.cooked_batch(crew)
    client = Client()
    client.force_login(crew.reviewer)
    address = reverse("quality:sign", args=[batch.number])

    def send(seen: str) -> Page:
        sent = {
            "submission": str(uuid.uuid4()),
            "seen": seen,
            "meaning": "release",
            "password": make.PASSWORD,
        }
        return page_of(client.post(address, sent, follow=True))

    seen = field_value(page_of(client.get(address)), "seen")
    make.read_ph(crew, batch, "9.3")
    assert "changed since you read it" in send(seen).words
    assert not Signature.objects.exists()
    seen = field_value(page_of(client.get(address)), "seen")
    assert "Signed: reviewed and released." in send(seen).words


# ------------------------------------------------- one person


def test_who_works_alone_is_told_from_when_it_is_possible_and_what_will_stand(
    crew: make.Crew, owner: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    batch = make.cooked_batch(crew)
    alone = one_person(crew, owner)
    early = choices(batch, alone)
    assert "12 hours after its last entry" in early["release"].refused
    assert early["release"].stands_beside == SELF_REVIEWED
    assert (early["reject"].refused, early["reject"].stands_beside) == ("", "")
    for name in ("quality:sign", "quality:review"):
        said = page(alone, name, batch.number).words
        assert early["release"].refused in said, name
    hours_later(monkeypatch, 12.1)
    assert choices(batch, alone)["release"].refused == ""
    said = page(alone, "quality:sign", batch.number).words
    assert f"will stand for ever: {SELF_REVIEWED}" in said


def test_a_screen_from_before_the_end_of_the_pause_is_not_fresh(
    crew: make.Crew, owner: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    batch = make.cooked_batch(crew)
    alone = one_person(crew, owner)
    stale = reviewing.review_of(make.fresh(batch), by=alone).digest
    hours_later(monkeypatch, 12.1)
    with pytest.raises(Conflict, match="your pause ended meanwhile"):
        make.sign(alone, batch, seen=stale)
    fresh = reviewing.review_of(make.fresh(batch), by=alone).digest
    assert make.sign(alone, batch, seen=fresh).self_reviewed


def test_another_persons_screen_does_not_grow_stale_by_the_clock(
    crew: make.Crew, monkeypatch: pytest.MonkeyPatch
) -> None:
    batch = make.cooked_batch(crew)
    seen = reviewing.review_of(batch, by=crew.reviewer).digest
    hours_later(monkeypatch, 12.1)
    make.sign(crew.reviewer, batch, seen=seen)


def test_that_nobody_else_looked_stands_wherever_the_signature_is_shown(
    crew: make.Crew, owner: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    paste = make.released_paste(crew)
    batch = make.diluted_batch(crew, paste=paste)
    alone = one_person(crew, owner, hours=1)
    hours_later(monkeypatch, 1.1)
    assert SELF_REVIEWED not in page(alone, "batches:batch", batch.number).words
    make.sign(alone, batch)
    lot = make.filled(crew, make.fresh(batch))
    bottle = make.bottles_of(lot)[0]
    for name, argument in (
        ("batches:batch", batch.number),
        ("quality:review", batch.number),
        ("quality:bottle", bottle.code),
    ):
        said = page(alone, name, argument).words
        assert f"reviewed and released; {SELF_REVIEWED}" in said, name
    for name in ("batches:batch", "quality:review"):  # control: two people there
        assert SELF_REVIEWED not in page(alone, name, paste.number).words, name
    dossier = " ".join(pages_of(dossier_pdf(make.fresh(batch), printed_by="M")))
    assert SELF_REVIEWED in dossier
    signature = exporting.signatures_of(make.fresh(batch)).get()
    kept = json.loads(signature.record)
    assert kept["decision"]["self_reviewed"] is True
    public = page_of(Client().get(reverse("quality:bottle", args=[bottle.code])))
    assert "reviewed" not in public.words  # no signature is shown to the public
