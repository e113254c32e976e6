"""The page behind the square on a bottle, as a stranger opens it."""

from __future__ import annotations

import datetime
import re
from pathlib import Path
from typing import Any

import pytest
from django.contrib.staticfiles import finders
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from pytest_django import Settings

from batches.label_words import words_in
from batches.models import Bottle, BottleScan, FillingLot, ScanAlert
from batches.services import bottle_doubts, scans
from producer.codes import grouped, new_bottle_code
from producer.errors import Refusal
from producer.models import Premises, User
from quality.services import bottle_face, dose_table, recalling, supplying
from quality.views import bottle_public
from tests import hands, label_texts, labelled, leaving, make, scanned
from tests.doors.pages import Page, page_of, text_of
from tests.scanned import MISTYPED, seen, visit

pytestmark = pytest.mark.django_db

MOST_BYTES = 30 * 1024
LONG = "A line of plain words that somebody reads on a telephone. " * 14  # 800 signs


@pytest.fixture
def bottle(crew: make.Crew) -> Bottle:
    """Return a bottle of laundry liquid in stock that may leave."""
    return leaving.bottles(crew)[0]


def away(crew: make.Crew, lot: FillingLot) -> Bottle:
    """Return a bottle that left, whatever was asked of it before."""
    lot.bottles.update(status="dispatched", consignee=make.consignee(crew.maker))
    return make.bottles_of(lot)[0]


def recall(crew: make.Crew, bottle: Bottle, notice: str = "Bring it back.") -> Any:
    return recalling.open_recall(
        by=crew.reviewer,
        root=bottle.filling_lot.batch.stock,
        hazard_class="1",
        reason="glass in the tin",
        public_notice=notice,
    )


def move(by: User, bottle: Bottle, *states: str) -> None:
    for state in states:
        hands.moved(by, bottle, state, "looked at it")


def fetched_by(page: Page) -> list[str]:
    """Return every address that a browser asks for by itself when it opens a page."""
    own = [tag["href"] for tag in page.attributes("link") if "href" in tag]
    for tag in ("script", "img", "source", "iframe", "video", "audio", "embed"):
        own += [found.get("src", "") for found in page.attributes(tag)]
    own += [found.get("data", "") for found in page.attributes("object")]
    return own


def file_of(address: str) -> bytes:
    found = finders.find(address.removeprefix("/static/"))
    assert isinstance(found, str), address
    return Path(found).read_bytes()


def fullest(crew: make.Crew) -> Bottle:
    """Return a bottle about which there is as much to say as can be."""
    version = make.liquid_version(crew)
    for language, block in zip(
        ("en", "de"), label_texts.classified(crew, version.formula), strict=True
    ):
        label_texts.approved(
            crew,
            version.formula,
            language,
            directions=LONG,
            cautions=LONG,
            doses=True,
            classification=block,
        )
    lot = make.filled(crew)
    labelled.issued(crew, lot, doses=labelled.DOSES)
    return away(crew, lot)


# ------------------------------------------------------------------ few bytes


@pytest.mark.parametrize("language", ["en", "de"])
@pytest.mark.parametrize("is_recalled", [False, True])
def test_the_whole_first_view_is_thirty_kilobytes_at_most(
    crew: make.Crew, language: str, *, is_recalled: bool
) -> None:
    found = fullest(crew)
    if is_recalled:
        for _ in range(3):
            recall(crew, found, notice=LONG)
    response = visit(found.code, data={"lang": language})
    sizes = {"page": len(response.getvalue())}
    for address in fetched_by(page_of(response)):
        body = file_of(address)
        sizes[address] = len(body)
        # A style sheet could fetch more.
        assert b"url(" not in body or address.endswith(".svg"), address
        assert b"@import" not in body
    assert set(sizes) == {
        "page",
        "/static/producer/favicon.svg",
        "/static/producer/public.css",
    }
    assert sum(sizes.values()) <= MOST_BYTES, sizes


def test_it_works_without_script_and_has_none(bottle: Bottle) -> None:
    body = text_of(visit(bottle.code))
    assert "<script" not in body
    assert "<style" not in body
    assert not re.search(r"\s(?:style|on\w+)=", body)
    assert "app.css" not in body


def test_no_cookie_is_set_and_no_session_looked_for(bottle: Bottle) -> None:
    with CaptureQueriesContext(connection) as asked:
        response = visit(bottle.code)
    assert not response.cookies
    assert not [one for one in asked if "session" in one["sql"].lower()]


def questions(code: str) -> int:
    with CaptureQueriesContext(connection) as asked:
        visit(code)
    return len(asked)


def test_the_questions_to_the_database_are_few_however_much_there_is(
    crew: make.Crew, bottle: Bottle
) -> None:
    few = questions(bottle.code)
    assert few <= 7  # with nothing kept: the premises, the bottle, five for its text
    for name in ("A liquid", "Another liquid"):
        version = make.liquid_version(crew, name=name)
        label_texts.approved(crew, version.formula)
        make.filled(
            crew, make.released_liquid(crew, version), nominal_ul=50_000, count=20
        )
    assert questions(bottle.code) == few


def test_the_texts_of_a_product_are_not_asked_for_at_each_view(
    bottle: Bottle, settings: Settings
) -> None:
    backend = "django.core.cache.backends.locmem.LocMemCache"
    settings.CACHES = {"default": {"BACKEND": backend, "LOCATION": "bottle page"}}
    questions(bottle.code)
    assert questions(bottle.code) == 1  # for the bottle itself


# ------------------------------------------------------------------ languages


@pytest.mark.parametrize(
    ("browser", "language"),
    [
        ("de", "de"),
        ("de-AT,de;q=0.9,en;q=0.5", "de"),
        ("fr,de;q=0.4,en;q=0.8", "en"),
        ("fr-CH, fr;q=0.9", "en"),
        ("*", "en"),
        ("nonsense;;q=x", "en"),
        ("", "en"),
    ],
)
def test_the_browser_says_which_language(
    bottle: Bottle, browser: str, language: str
) -> None:
    response = visit(bottle.code, headers={"accept-language": browser})
    page = page_of(response)
    assert page.attributes("html") == [{"lang": language}]
    assert words_in(language).cautions[0] in page.words
    assert response.headers["Content-Language"] == language
    assert {"Accept-Language", "Cookie"} <= set(
        re.split(r",\s*", response.headers["Vary"])
    )


def test_a_link_says_it_too_and_wins(bottle: Bottle) -> None:
    german = {"accept-language": "de"}
    page = seen(bottle.code, data={"lang": "en"}, headers=german)
    assert page.attributes("html") == [{"lang": "en"}]
    others = [tag for tag in page.attributes("a") if "hreflang" in tag]
    assert [(tag["href"], tag["lang"]) for tag in others] == [("?lang=de", "de")]
    page = seen(bottle.code, data={"lang": "xx"}, headers=german)
    assert page.attributes("html") == [{"lang": "de"}]


def test_the_approved_text_of_that_language_is_shown(crew: make.Crew) -> None:
    version = make.liquid_version(crew)
    label_texts.approved(crew, version.formula, "en", directions="For floors.")
    label_texts.approved(
        crew, version.formula, "de", product_name="Waschmittel", directions="Für Böden."
    )
    code = away(crew, make.filled(crew)).code
    german = seen(code, data={"lang": "de"})
    assert "Waschmittel" in german.words
    assert "Für Böden." in german.words
    assert "For floors." not in german.words
    assert [tag.get("lang") for tag in german.attributes("h1")] == [None]
    assert "For floors." in seen(code, data={"lang": "en"}).words


def test_a_text_in_another_language_is_marked_as_such(crew: make.Crew) -> None:
    version = make.liquid_version(crew)
    label_texts.approved(crew, version.formula, "en", directions="For floors.")
    label_texts.written(crew, version.formula, "de", directions="Nicht freigegeben.")
    page = seen(away(crew, make.filled(crew)).code, data={"lang": "de"})
    assert page.attributes("h1") == [{"lang": "en"}]
    assert words_in("de").text_not_in_language in page.words
    assert "For floors." in page.words
    assert "Nicht freigegeben" not in page.words


def test_without_an_approved_text_the_formula_speaks(crew: make.Crew) -> None:
    make.liquid_version(crew, directions="Shake it.", cautions="Gloves.")
    page = seen(away(crew, make.filled(crew)).code)
    assert "Laundry liquid" in page.words
    assert "Shake it." in page.words
    assert "Gloves." in page.words
    # Nobody said in which language; a screen reader must not guess.
    assert page.attributes("h1") == [{"lang": ""}]


def test_the_hazard_block_is_the_recorded_one(crew: make.Crew) -> None:
    code = fullest(crew).code
    english, german = seen(code).words, seen(code, data={"lang": "de"}).words
    assert "Danger" in english
    assert label_texts.EYE_DAMAGE in english
    assert "Gefahr" in german
    assert label_texts.AUGEN in german
    other = make.liquid_version(crew, name="Floor liquid")
    plain = make.bottles_of(make.filled(crew, make.released_liquid(crew, other)))[0]
    assert "Danger" not in seen(plain.code).words


def test_the_doses_of_the_label_are_those_of_the_batch(
    crew: make.Crew, monkeypatch: pytest.MonkeyPatch
) -> None:
    found = fullest(crew)
    rows = dose_table.dose_table(found.filling_lot.batch)
    words = seen(found.code).words
    for name, row in zip(("soft", "medium", "hard"), rows, strict=True):
        assert f"{name} {row.ml}" in words
    assert "weich" in seen(found.code, data={"lang": "de"}).words

    def unknown(_: object) -> Any:
        raise dose_table.NotKnownError("no soap content")

    monkeypatch.setattr(dose_table, "dose_table", unknown)
    assert "Dose for one load" not in seen(found.code).words


# ------------------------------------------------------------------ what comes first


def warnings_of(page: Page) -> list[str]:
    """Return the headings above the name of the product, in order."""
    found: list[str] = []
    for tag, text in page.texts:
        if tag == "h1":
            break
        if tag == "h2":
            found.append(text)
    return found


def test_nothing_stands_above_the_name_of_a_good_bottle(bottle: Bottle) -> None:
    assert warnings_of(seen(bottle.code)) == []


def test_a_recall_comes_first_with_the_telephone(
    crew: make.Crew, bottle: Bottle
) -> None:
    bottle_doubts.report(by=crew.maker, bottle=bottle, kind="duplicate", found="fair")
    made = recall(crew, bottle)
    page = seen(bottle.code)
    words = words_in("en")
    assert warnings_of(page) == [words.recall_title, words.duplicate_title]
    first = page.words.split(words.duplicate_title)[0]
    assert "Bring it back." in first
    assert made.code in first
    assert "555 0100" in first
    assert "How to use it" not in page.words
    assert "tel:5550100" in [tag.get("href") for tag in page.attributes("a")]


def test_two_recalls_are_both_told_and_an_open_one_is_open(
    crew: make.Crew, bottle: Bottle
) -> None:
    first = recall(crew, bottle, "The first.")
    first = hands.closed(crew, first)
    words = words_in("de")
    german = {"lang": "de"}
    # Closed, and still nobody has decided that it may be used.
    over = [words.recall_over_title, words.on_hold_title]
    assert warnings_of(seen(bottle.code, data=german)) == over
    recall(crew, bottle, "The second.")
    page = seen(bottle.code, data=german)
    assert warnings_of(page) == [words.recall_title]
    assert "The first." in page.words
    assert "The second." in page.words


def test_the_quick_way_to_the_recalls_finds_what_the_long_way_finds(
    crew: make.Crew, bottle: Bottle
) -> None:
    face = bottle_face.face_of(bottle.code)
    assert face is not None
    assert bottle_face.recalls_of(face.sheet) == []
    potash = bottle.filling_lot.batch.inputs.exclude(source__batch=None).get()
    recalling.open_recall(  # two steps up: of the paste it was thinned from
        by=crew.reviewer,
        root=potash.source,
        hazard_class="2",
        reason="glass",
        public_notice="Wait.",
    )
    face = bottle_face.face_of(bottle.code)
    assert face is not None
    assert (
        bottle_face.recalls_of(face.sheet) == recalling.recalls_of_bottle(bottle) != []
    )


@pytest.mark.parametrize(
    ("states", "title"),
    [
        (["on_hold"], "on_hold_title"),
        (["destroyed"], "destroyed_title"),
        (["on_hold", "destroyed"], "destroyed_title"),
    ],
)
def test_a_bottle_that_may_not_be_used_says_so(
    crew: make.Crew, bottle: Bottle, states: list[str], title: str
) -> None:
    for state in states:
        by = crew.maker if states == ["destroyed"] else crew.reviewer
        move(by, bottle, state)
        bottle.refresh_from_db()
    for language in ("en", "de"):
        page = seen(bottle.code, data={"lang": language})
        assert warnings_of(page) == [getattr(words_in(language), title)]
        assert words_in(language).directions not in page.words


def test_a_bottle_that_was_not_released_says_so_and_not_how_to_use_it(
    crew: make.Crew,
) -> None:
    (bottle, *_) = make.bottles_of(make.filled(crew))
    for language in ("en", "de"):
        page = seen(bottle.code, data={"lang": language})
        assert warnings_of(page) == [words_in(language).not_released_title]
        assert words_in(language).directions not in page.words


def test_control_once_released_it_shows_how_to_use_it(bottle: Bottle) -> None:
    assert warnings_of(seen(bottle.code)) == []


@pytest.mark.parametrize("state", ["returned", "recovered"])
def test_a_bottle_that_came_back_should_be_in_nobodys_hand(
    bottle: Bottle, state: str
) -> None:
    Bottle.objects.filter(pk=bottle.pk).update(status=state)
    assert warnings_of(seen(bottle.code)) == [words_in("en").returned_title]


@pytest.mark.parametrize("language", ["en", "de"])
def test_a_bottle_that_is_kept_as_a_sample_is_nobody_elses(
    bottle: Bottle, language: str
) -> None:
    Bottle.objects.filter(pk=bottle.pk).update(status="retained")
    page = seen(bottle.code, data={"lang": language})
    assert warnings_of(page) == [words_in(language).kept_title]
    assert words_in(language).directions not in page.words


def test_past_its_use_by_date_is_said_plainly_and_the_day_itself_is_good(
    bottle: Bottle,
) -> None:
    face = bottle_face.face_of(bottle.code)
    assert face is not None
    words, last = words_in("en"), face.sheet.use_by
    for days, expected in ((0, []), (1, [words.past_use_by_title])):
        today = last + datetime.timedelta(days=days)
        told = bottle_public.stops_of(face.sheet, (), words, today)
        assert [one.title for one in told] == expected


def test_scenario_10_both_holders_of_a_doubled_code_are_warned(
    crew: make.Crew, bottle: Bottle
) -> None:
    doubt = bottle_doubts.report(
        by=crew.maker, bottle=bottle, kind="duplicate", found="two at the fair"
    )
    page = seen(bottle.code)
    assert words_in("en").duplicate_title in warnings_of(page)
    assert "fair" not in page.words
    sister = make.bottles_of(bottle.filling_lot)[1]
    assert words_in("en").duplicate_title not in warnings_of(seen(sister.code))
    bottle_doubts.settle(by=crew.reviewer, doubt=doubt, reason="a copied label")
    assert words_in("en").duplicate_title not in warnings_of(seen(bottle.code))


def test_a_spray_says_whose_it_is_unless_an_authority_has_given_a_number(
    crew: make.Crew,
) -> None:
    spray = make.bottles_of(
        make.filled(crew, make.released_liquid(crew, make.spray_version(crew)))
    )[0]
    words = words_in("en")
    assert words.spray_own_use in seen(spray.code).words

    numbered = make.liquid_version(
        crew,
        name="Registered spray",
        purpose="spray",
        authority_reference="PPP 12345",
        authority_checked_on=make.TODAY,
    )
    other = make.bottles_of(make.filled(crew, make.released_liquid(crew, numbered)))[0]
    page = seen(other.code)
    assert words.spray_own_use not in page.words
    assert "PPP 12345" in page.words
    assert words.spray_cautions[0] in page.words


# ------------------------------------------------------------------ codes amiss


def test_scenario_11_an_unknown_code_says_the_same_whatever_it_is(
    bottle: Bottle,
) -> None:
    answers = [visit(new_bottle_code(), status=404) for _ in range(2)]
    assert answers[0].getvalue() == answers[1].getvalue()
    words = page_of(answers[0]).words
    assert words_in("en").unknown_title in words
    assert "555 0100" in words
    for kept in (bottle.code, grouped(bottle.code), "Laundry", "L26", "B26"):
        assert kept not in words
    scans.flush()
    assert ScanAlert.objects.filter(kind="unknown").count() == 2
    assert not BottleScan.objects.exists()


def test_a_mistyped_code_says_the_same_whatever_it_is_and_is_no_alert(
    bottle: Bottle,
) -> None:
    answers = [visit(code, status=404) for code in (MISTYPED, "nothing", "x" * 60)]
    assert len({one.getvalue() for one in answers}) == 1
    assert words_in("en").mistyped_title in page_of(answers[0]).words
    scans.flush()
    assert not ScanAlert.objects.exists()


def test_scenario_12_a_destroyed_bottle_scanned_is_told_inside_with_its_history(
    crew: make.Crew, bottle: Bottle, client: Client
) -> None:
    move(crew.maker, bottle, "destroyed")
    seen(bottle.code)
    scans.flush()
    client.force_login(crew.maker)
    page = page_of(client.get("/alerts/"))
    assert grouped(bottle.code) in page.words
    assert "recorded as destroyed" in page.words
    assert f"destroyed since {make.TODAY.day} " in page.words
    alert = ScanAlert.objects.get()
    asked = page_of(client.get(f"/alerts/{alert.pk}/"))
    assert bottle.filling_lot.code in asked.words
    assert "filled" in asked.words.split("Its history")[1]
    assert "Scanned and amiss" in page_of(client.get("/")).words
    inside = page_of(client.get(f"/b/{bottle.code}/"))
    assert "It is destroyed; nothing to do." in inside.words
    assert "looked at it" in inside.words


def test_views_are_counted_but_not_our_own_nor_those_that_only_ask_for_the_head(
    crew: make.Crew, bottle: Bottle, client: Client
) -> None:
    client.force_login(crew.maker)
    client.get(f"/b/{bottle.code}/")
    Client().head(f"/b/{bottle.code}/")
    scans.flush()
    assert not BottleScan.objects.exists()
    assert not ScanAlert.objects.exists()
    seen(bottle.code)
    seen(bottle.code.lower())
    scans.flush()
    assert BottleScan.objects.get().count == 2
    client.force_login(crew.maker)
    assert "2 times, last on" in page_of(client.get(f"/b/{bottle.code}/")).words


def test_whoever_guesses_by_the_head_alone_is_told_of_inside(bottle: Bottle) -> None:
    code = new_bottle_code()
    Client().head(f"/b/{code}/")
    scans.flush()
    assert ScanAlert.objects.get().code == code


@pytest.mark.parametrize(
    "typed", ["{code}", " {grouped} ", "http://x.example/b/{code}"]
)
def test_a_code_typed_in_leads_to_its_page(bottle: Bottle, typed: str) -> None:
    code = typed.format(code=bottle.code.lower(), grouped=grouped(bottle.code))
    answer = Client().get("/b/", {"code": code, "lang": "de"})
    assert answer.headers["Location"] == f"/b/{bottle.code}/?lang=de"
    form = seen(MISTYPED, status=404).attributes("form")
    assert [(tag["action"], tag["method"]) for tag in form] == [("/b/", "get")]


@pytest.mark.parametrize("junk", ["", "../..", "?&#", "//elsewhere.example", "\u2028"])
def test_junk_typed_in_leads_nowhere_else(db: None, junk: str) -> None:
    answer = Client().get("/b/", {"code": junk})
    assert answer.status_code == 200 or answer.headers["Location"].startswith("/b/")
    assert not answer.headers.get("Location", "/b/").startswith("//")


def test_the_address_in_the_square_needs_no_second_request(bottle: Bottle) -> None:
    assert Client().get(f"/b/{grouped(bottle.code)}").status_code == 200


def test_a_recall_shows_at_once_whatever_a_browser_kept(bottle: Bottle) -> None:
    assert visit(bottle.code).headers["Cache-Control"] == "no-cache"


def test_a_page_that_was_kept_is_not_shown_once_something_changed(
    crew: make.Crew, bottle: Bottle
) -> None:
    """Kept pages are found by all that is on them: nothing old is ever shown."""
    assert warnings_of(seen(bottle.code)) == []
    made = recall(crew, bottle)
    assert warnings_of(seen(bottle.code)) == [words_in("en").recall_title]
    made = hands.closed(crew, made)
    assert warnings_of(seen(bottle.code))[0] == words_in("en").recall_over_title
    Premises.objects.update(phone="555 0777")
    assert "555 0777" in seen(bottle.code).words
    sister = make.bottles_of(bottle.filling_lot)[1]
    page = seen(sister.code)
    assert grouped(sister.code) in page.words
    assert bottle.code not in text_of(visit(sister.code))


def test_the_short_way_answers_as_the_usual_way(bottle: Bottle) -> None:
    """With a cookie of a session that is over, all the middleware is gone through."""
    for code, status in ((bottle.code, 200), (MISTYPED, 404), (scanned.UNKNOWN, 404)):
        short = visit(code, status=status)
        client = Client()
        client.cookies["sessionid"] = "over"
        usual = client.get(f"/b/{code}/")
        assert usual.status_code == status
        assert usual.content == short.getvalue()
        for name in (
            "Content-Security-Policy",
            "Permissions-Policy",
            "X-Frame-Options",
            "X-Content-Type-Options",
            "Referrer-Policy",
            "Content-Length",
            "Cache-Control",
            "Content-Language",
        ):
            assert short.headers[name] == usual.headers[name], name


def test_only_looking_is_answered_and_only_for_a_host_of_ours(bottle: Bottle) -> None:
    assert Client().post(f"/b/{bottle.code}/").status_code == 405
    answer = Client().get(f"/b/{bottle.code}/", headers={"host": "elsewhere.example"})
    assert answer.status_code == 400


def test_all_bottles_of_a_lot_open_by_their_own_code(lot_of_nine: FillingLot) -> None:
    for one in lot_of_nine.bottles.all():
        assert f"no. {one.number}" in seen(one.code).words


@pytest.fixture
def lot_of_nine(crew: make.Crew) -> FillingLot:
    """Return a filling lot of nine bottles."""
    return make.filled(crew, nominal_ul=50_000, count=9)


def test_a_hazard_class_recorded_after_printing_reaches_door_and_page(
    crew: make.Crew, client: Client
) -> None:
    lot = leaving.filled(crew, count=2, nominal_ul=250_000)
    label_texts.classified(crew, lot.batch.formula_version.formula)
    bottles = make.bottles_of(lot)
    with pytest.raises(Refusal, match="hazard class is another one"):
        supplying.dispatch(
            by=crew.maker, bottles=bottles, consignee=make.consignee(crew.maker)
        )
    page = client.get(f"/b/{bottles[0].code}/").content.decode()
    assert label_texts.EYE_DAMAGE in page
    assert "Danger" in page
