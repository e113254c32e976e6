"""Rules that were looked up: recorded, corrected, due again, and said in every hint."""

from __future__ import annotations

import datetime

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.template import Context, Template
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from producer.errors import Conflict, Refusal
from producer.models import JournalEntry, RulesCheck, User
from producer.services import rules
from quality.services.today import due
from tests import make
from tests.doors.pages import field_value, page_of
from tests.sprays import looked_up

pytestmark = pytest.mark.django_db
DAY = datetime.timedelta(days=1)


@pytest.fixture
def browser(maker: User) -> Client:
    client = Client()
    client.force_login(maker)
    return client


def shown(topic: str, **context: object) -> str:
    """Return what the tag says, with single blanks."""
    template = Template(f'{{% load rules %}}{{% rules_checked "{topic}" %}}')
    return " ".join(template.render(Context(context)).split())


def test_the_newest_look_of_a_topic_is_the_one_that_was_made_last(
    crew: make.Crew,
) -> None:
    now = timezone.now()
    newer = looked_up(crew, page="the newer leaflet", observed_at=now - DAY)
    looked_up(crew, page="the older leaflet", observed_at=now - 9 * DAY)
    looked_up(crew, topic="hazard", observed_at=now)
    assert rules.newest_of("spray") == newer
    assert rules.newest_of("detergent") is None
    assert [row.topic for row in rules.standing_checks()] == ["spray", "hazard"]
    assert [row.page for row in rules.earlier_checks()] == ["the older leaflet"]


def test_a_hint_says_when_and_where_or_that_it_never_was(crew: make.Crew) -> None:
    assert rules.hint("spray") == (
        "Rules differ by place and change. You have not recorded when you last checked."
    )
    looked_up(crew, observed_at=datetime.datetime(2026, 3, 7, 9, tzinfo=datetime.UTC))
    assert rules.hint("spray") == (
        "Rules differ by place and change. Last checked on 7 Mar 2026 for England:"
        " page of the regulator on home-made sprays."
    )


def test_the_tag_says_the_same_and_links_only_on_a_page(crew: make.Crew) -> None:
    assert "You have not recorded when you last checked." in shown("spray")
    looked_up(crew, observed_at=datetime.datetime(2026, 3, 7, 9, tzinfo=datetime.UTC))
    on_paper = shown("spray")
    assert "Rules differ by place and change." in on_paper
    assert "you last checked on 7 Mar 2026, for England: page of the" in on_paper
    assert "href" not in on_paper
    assert reverse("producer:rules") in shown("spray", user=crew.maker)
    assert "You have not recorded" in shown("detergent")
    with pytest.raises(ValueError, match="gossip"):
        shown("gossip")


def test_the_caution_asks_by_its_topic(crew: make.Crew) -> None:
    looked_up(crew, topic="hazard")
    caution = Template('{% include "_caution.html" with hazard="legal" topic=about %}')
    assert "for England" in caution.render(Context({"about": "hazard"}))
    assert "You have not recorded" in caution.render(Context({"about": "spray"}))
    assert "something else" in Template(
        '{% include "_caution.html" with hazard="legal" %}'
    ).render(Context({}))


def test_a_correction_is_a_new_row_at_the_same_time(crew: make.Crew) -> None:
    first = looked_up(crew, says="ask first", observed_at=timezone.now() - DAY)
    row = rules.amend_rules_check(
        by=crew.maker, check=first, country="Wales", says="ask first", reason="misread"
    )
    assert (row.country, row.page, row.observed_at) == (
        "Wales",
        first.page,
        first.observed_at,
    )
    assert rules.newest_of("spray") == row
    assert JournalEntry.objects.latest("sequence").reason == "misread"
    with pytest.raises(Conflict, match="corrected already"):
        rules.amend_rules_check(by=crew.maker, check=first, reason="again")


def test_taken_back_it_is_as_if_never_looked_and_stays_in_the_list(
    crew: make.Crew,
) -> None:
    first = looked_up(crew, says="ask", again_on=make.TODAY + DAY)
    row = rules.amend_rules_check(
        by=crew.maker, check=first, void=True, reason="another country"
    )
    assert (row.says, row.again_on) == ("ask", first.again_on)
    assert rules.newest_of("spray") is None
    assert len(rules.earlier_checks()) == 2
    with pytest.raises(Conflict, match="taken back"):
        rules.amend_rules_check(by=crew.maker, check=row, reason="again")


def test_a_look_needs_a_reader_a_place_and_a_day_that_comes(
    crew: make.Crew,
) -> None:
    with pytest.raises(Refusal, match="comes after"):
        looked_up(crew, again_on=make.TODAY)
    with pytest.raises(Refusal, match="future"):
        looked_up(crew, observed_at=timezone.now() + 3 * DAY)
    with pytest.raises(ValidationError, match="country"):
        looked_up(crew, country=" ")
    with pytest.raises(ValidationError, match="topic"):
        looked_up(crew, topic="gossip")
    with pytest.raises(PermissionDenied):
        looked_up(make.Crew(crew.reviewer, crew.reviewer))
    first = looked_up(crew)
    with pytest.raises(Refusal, match="Say why"):
        rules.amend_rules_check(by=crew.maker, check=first, reason=" ")
    assert RulesCheck.objects.count() == 1


def test_it_is_due_from_the_day_on_and_the_first_page_says_so(
    crew: make.Crew,
) -> None:
    past = timezone.now() - 9 * DAY
    looked_up(crew, again_on=make.TODAY, observed_at=past)
    looked_up(crew, topic="hazard", again_on=make.TODAY + DAY, observed_at=past)
    assert [row.topic for row in rules.due_checks(make.TODAY)] == ["spray"]
    assert rules.due_checks(make.TODAY - DAY) == []
    found = [kind for kind in due(make.TODAY) if kind.slug == "rules"]
    assert [row.when for kind in found for row in kind.rows] == ["due today"]
    assert found[0].rows[0].do_at.endswith("?about=spray")
    looked_up(crew)
    assert rules.due_checks(make.TODAY) == []


def test_the_page_begins_empty_and_takes_a_look(browser: Client) -> None:
    page = page_of(browser.get(reverse("producer:rules")))
    assert "Nothing is recorded yet." in page.words
    assert "sprays against pests: use and supply" in page.words
    form = page_of(browser.get(reverse("producer:rules_new"), {"about": "spray"}))
    answer = browser.post(
        reverse("producer:rules_new"),
        {
            "submission": field_value(form, "submission"),
            "topic": "spray",
            "country": "Estonia",
            "page": "leaflet of the Agriculture and Food Board",
            "says": "ask before you sell",
        },
    )
    assert answer.status_code == 302
    page = page_of(browser.get(reverse("producer:rules")))
    assert "leaflet of the Agriculture and Food Board" in page.words
    again = page_of(browser.get(reverse("producer:rules_new"), {"about": "spray"}))
    assert field_value(again, "country") == "Estonia"


def test_the_page_shows_what_was_corrected_and_taken_back(
    browser: Client, crew: make.Crew
) -> None:
    first = looked_up(crew, page="first leaflet")
    form = page_of(browser.get(reverse("producer:rules_amend", args=[first.pk])))
    fields = {
        name: field_value(form, name) for name in ("submission", "country", "again_on")
    }
    browser.post(
        reverse("producer:rules_amend", args=[first.pk]),
        {**fields, "topic": "spray", "page": "right leaflet", "reason": "mixed up"},
    )
    words = page_of(browser.get(reverse("producer:rules"))).words
    assert "right leaflet" in words
    assert "corrected: mixed up" in words
    newest = rules.newest_of("spray")
    assert newest is not None
    form = page_of(browser.get(reverse("producer:rules_void", args=[newest.pk])))
    browser.post(
        reverse("producer:rules_void", args=[newest.pk]),
        {"submission": field_value(form, "submission"), "reason": "not ours"},
    )
    words = page_of(browser.get(reverse("producer:rules"))).words
    assert "taken back: not ours" in words
    assert "Nothing is recorded yet." in words


def test_the_registers_and_the_page_of_training_lead_there(browser: Client) -> None:
    for name in ("producer:registers", "producer:safety"):
        links = page_of(browser.get(reverse(name))).attributes("a")
        assert reverse("producer:rules") in {one.get("href") for one in links}
