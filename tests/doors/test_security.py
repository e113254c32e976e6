"""What every page sends along, and what no page may contain."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from django.db.models import CharField, F, TextField, Value
from django.db.models.functions import Concat
from django.http import HttpResponse, HttpResponseBase
from django.test import Client
from django.test.utils import override_settings
from pytest_django import DjangoDbBlocker

from batches.models import FormulaVersion
from producer import journal
from producer.codes import new_bottle_code
from producer.models import Material, User
from tests import make, papers
from tests.database import our_models, rolled_back, without_triggers
from tests.doors import world as worlds
from tests.doors.pages import Page, page_of, text_of
from tests.doors.world import Standing, World

pytestmark = [
    pytest.mark.django_db,
    pytest.mark.any_engine,
    pytest.mark.usefixtures("standing_world", "papers_are_blank"),
]

POLICY = {
    "default-src 'none'",
    "script-src 'self'",
    "style-src 'self'",
    "img-src 'self'",
    "font-src 'self'",
    "connect-src 'self'",
    "manifest-src 'self'",
    "form-action 'self'",
    "base-uri 'none'",
    "frame-ancestors 'none'",
}
HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Permissions-Policy": "camera=(self), microphone=(), geolocation=()",
}

Answers = Iterator[tuple[str, HttpResponse]]


def crawl(world: World, browser: Client) -> Answers:
    """Ask for every address, as one with every right and as a visitor."""
    for address, response in asked(world, browser):
        whole = HttpResponse(response.getvalue(), status=response.status_code)
        whole.headers = response.headers
        yield address, whole


def asked(world: World, browser: Client) -> Iterator[tuple[str, HttpResponseBase]]:
    """Yield what the crawl asks for; what streams was not read yet."""
    for tries in worlds.addresses(world).values():
        for address in tries:
            yield address, browser.get(address)
    yield from outside(world)
    yield "an act that is refused", browser.post("/lots/receive/", {"quantity_mg": "x"})
    yield "not found", browser.get("/lots/L26-9999-9/")
    account = world.account("auditor")
    assert account is not None
    reader = Client()
    reader.force_login(account)
    yield "not allowed", reader.get("/lots/receive/")


def outside(world: World) -> Iterator[tuple[str, HttpResponseBase]]:
    """Ask for what a visitor can come to."""
    visitor = Client()
    for address in (
        "/sign-in/",
        f"/b/{world.bottle.code}/",
        f"/b/{new_bottle_code()}/",
        "/b/nonsense/",
        "/no/such/page/",
        "/lots/",
    ):
        yield address, visitor.get(address)
    checked = Client(enforce_csrf_checks=True)
    yield "forgery", checked.post("/sign-in/", {"username": "a", "password": "b"})


@pytest.fixture(scope="module")
def answers(
    standing_world: Standing, django_db_blocker: DjangoDbBlocker
) -> list[tuple[str, HttpResponse]]:
    """Return what came of one crawl, for all tests that only look at it."""
    world, browser = standing_world.world(), Client()
    with (
        pytest.MonkeyPatch.context() as patched,
        override_settings(MEDIA_ROOT=standing_world.files),
        django_db_blocker.unblock(),
        rolled_back(),
    ):
        papers.draw_blank(patched)
        browser.force_login(worlds.all_rights(world))
        return list(crawl(world, browser))


def is_page(response: HttpResponse) -> bool:
    """Say whether an answer is HTML with something in it."""
    return response.headers.get("Content-Type", "").startswith("text/html")


def test_every_answer_carries_the_strict_policy_and_the_other_headers(
    answers: list[tuple[str, HttpResponse]],
) -> None:
    for address, response in answers:
        policy = response.headers["Content-Security-Policy"]
        assert {rule.strip() for rule in policy.split(";")} == POLICY, address
        sent = {name: response.headers.get(name) for name in HEADERS}
        assert sent == HEADERS, address
    assert len(answers) > len(worlds.url_names())


def test_no_page_holds_a_script_a_style_or_a_handler_of_its_own(
    answers: list[tuple[str, HttpResponse]],
) -> None:
    pages = 0
    for address, response in answers:
        if is_page(response):
            page = page_of(response)
            pages += bool(page.elements)
            assert list(inline_code(page)) == [], address
            assert list(addresses_elsewhere(page)) == [], address
    assert pages > 70


def inline_code(page: Page) -> Iterator[str]:
    """Yield what the policy would stop, or ought to."""
    for tag, text in page.texts:
        if tag in {"script", "style"}:
            yield f"<{tag}>{text}"
    for tag, attributes in page.elements:
        if tag == "style" or (tag == "script" and not attributes.get("src")):
            yield f"<{tag}>"
        for name, value in attributes.items():
            if name == "style" or name.startswith("on"):
                yield f"{tag} {name}={value}"
            if value.strip().lower().startswith(("javascript:", "data:")):
                yield f"{tag} {name}={value}"


def addresses_elsewhere(page: Page) -> Iterator[str]:
    """Yield addresses of other sites: a premises works without a network."""
    for tag, attributes in page.elements:
        for name in ("href", "src", "action", "formaction", "data", "poster"):
            value = attributes.get(name, "")
            if value.startswith(("http:", "https:", "//")):
                yield f"{tag} {name}={value}"


@pytest.mark.parametrize(
    "html",
    [
        "<p style='color:red'>",
        "<script>x()</script>",
        "<script></script>",
        "<style>p{}</style>",
        "<a href=' javascript:x()'>",
        "<p onclick='x()'>",
    ],
)
def test_the_check_finds_what_it_looks_for(html: str) -> None:
    page = Page()
    page.feed(html)
    assert list(inline_code(page))


def test_every_form_that_is_sent_by_post_carries_a_token(
    answers: list[tuple[str, HttpResponse]],
) -> None:
    forms = 0
    for address, response in answers:
        if not is_page(response):
            continue
        page = page_of(response)
        posts = [one for one in page.attributes("form") if one.get("method") == "post"]
        tokens = [
            one
            for one in page.attributes("input")
            if one.get("name") == "csrfmiddlewaretoken"
        ]
        forms += len(posts)
        assert len(tokens) == len(posts), address
        assert {one.get("method") for one in page.attributes("form")} <= {"get", "post"}
    assert forms > 100  # each page has the one that signs out


def test_every_link_on_every_page_leads_somewhere(
    answers: list[tuple[str, HttpResponse]], browser: Client
) -> None:
    links: dict[str, str] = {}
    for address, response in answers:
        if is_page(response):
            for attributes in page_of(response).attributes("a"):
                links.setdefault(attributes.get("href", ""), address)
    inside = {href for href in links if href.startswith("/")}
    assert len(inside) > 60
    came = {address: response.status_code for address, response in answers}
    dead = {}
    for href in inside:
        status = came.get(href) or answer_to(browser, href)
        if status not in {200, 302}:
            dead[href] = (status, links[href])
    assert dead == {}


def answer_to(browser: Client, address: str) -> int:
    """Ask for an address and read to its end what comes; return the status."""
    response = browser.get(address)
    response.getvalue()
    return response.status_code


# ------------------------------------------------------------------ hostile words

MARK = "\"'><i id=evil>&"
# Words that the program itself chooses or checks: nobody can put such into them.
CHOSEN_BY_US = {
    "producer.Premises": {"time_zone", "decimal_mark"},
    "producer.User": {"username", "password"},
    "producer.JournalEntry": {"before", "after", "act", "subject_kind", "subject_id"},
    "producer.Attachment": {"content_type", "original_name"},
    "batches.LabelIssue": {"band"},
    "quality.Signature": {"record"},
    "quality.DeviationStep": {"record"},
    "quality.SelfInspection": {"number"},
}
# Empty on every step but the one that is signed; the database sees to that.
EMPTY_UNLESS = {
    ("quality.DeviationStep", "printed_name"),
    ("quality.RecallContact", "who"),  # or where a consignee is named
    ("quality.AllClear", "who"),
    ("quality.ComplaintAccount", "who"),
    ("quality.ComplaintAccount", "said_of_it"),  # or where a code is known
    ("quality.ComplaintStep", "reference"),  # but of an authority
}
CHOSEN_EVERYWHERE = {"code", "sha256", "record_sha256", "hash", "previous_hash", "seal"}


def poison() -> int:
    """Put markup into every free text of every table; return how many columns."""
    columns = 0
    with without_triggers():
        FormulaVersion.objects.update(  # a number comes with the day it was read
            authority_reference="A 1", authority_checked_on=make.TODAY
        )
        for model in our_models():
            for field in model._meta.concrete_fields:
                if is_free_text(model._meta.label, field):
                    poisoned = Concat(F(field.name), Value(MARK))
                    rows = model._base_manager.all()
                    if (model._meta.label, field.name) in EMPTY_UNLESS:
                        rows = rows.exclude(**{field.name: ""})
                    rows.update(**{field.name: poisoned})
                    columns += 1
    return columns


def is_free_text(label: str, field: object) -> bool:
    """Say whether people can write what they like into a field."""
    return (
        isinstance(field, CharField | TextField)
        and not field.choices
        and (field.max_length is None or field.max_length >= 60)
        and field.name not in CHOSEN_BY_US.get(label, set()) | CHOSEN_EVERYWHERE
        and "hash" not in field.name
        and not field.name.startswith("status")
        and field.name not in {"old", "new", "frozen_by"}
    )


def test_markup_in_names_reasons_and_notes_is_shown_and_not_obeyed(
    world: World, browser: Client, everything: User
) -> None:
    journal.write(
        by=everything,
        act="tried" + MARK,
        subject=Material.objects.all()[0],
        label=MARK,
        before={MARK: MARK},
        after={MARK: "other" + MARK},
        reason=MARK,
    )
    assert poison() > 40
    shown = 0
    for address, response in crawl(world, browser):
        if not is_page(response):
            continue
        text = text_of(response)
        shown += "&lt;i id=evil&gt;" in text
        assert "<i id=evil>" not in text, address
        page = Page()
        page.feed(text)
        assert not [one for _, one in page.elements if one.get("id") == "evil"], address
    assert shown > 60


@pytest.mark.parametrize("path", ["/find/", "/journal/", "/lots/", "/batches/"])
def test_markup_in_the_address_is_shown_and_not_obeyed(
    browser: Client, path: str
) -> None:
    asked = dict.fromkeys(("q", "on", "who", "day", "status", "sort", "page"), MARK)
    text = text_of(browser.get(path, asked))
    assert "<i id=evil>" not in text


@pytest.mark.parametrize(
    "path", ["/batches/open/", "/dispatches/new/", "/limits/{}/set/"]
)
def test_markup_in_what_an_address_fills_in_is_not_obeyed(
    world: World, browser: Client, path: str
) -> None:
    address = path.format(world.cooking.formula_version_id)
    names = ("formula", "basis_mg", "filling_lot", "codes", "note", "reason", "lower")
    text = text_of(browser.get(address, dict.fromkeys(names, MARK)))
    assert "<i id=evil>" not in text
    # Only the dispatch page takes more than a choice from its address.
    assert ("&lt;i id=evil&gt;" in text) == (path == "/dispatches/new/")
