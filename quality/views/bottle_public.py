"""The page behind the square on a bottle: no account, no script, few bytes.

Wrong codes are slowed by address, see :mod:`producer.slowing`; an address that has to
wait waits for every code, or it could go on trying. On its page stands the telephone.

A page is put together once for all bottles of a filling lot that are in one state, by
all that stands on it; code and number are put in afterwards. So nothing on it can be
older than what it was made of.
"""

from __future__ import annotations

import datetime
import functools
from typing import NamedTuple

from axes.helpers import get_client_ip_address
from django.conf import settings
from django.core.cache import cache
from django.http import HttpRequest, HttpResponse
from django.shortcuts import resolve_url
from django.template.loader import render_to_string
from django.utils import timezone
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation.trans_real import parse_accept_lang_header

from batches.label_words import (
    LANGUAGES,
    Words,
    contents_in,
    day_in,
    volume_in,
    words_in,
)
from batches.models import Batch
from batches.services import scans
from producer.codes import grouped, is_bottle_code
from producer.models import Premises
from producer.slowing import Slowing
from quality.models import Recall
from quality.services import bottle_face, dose_table
from quality.services.bottle_face import Sheet, Text

DEFAULT_LANGUAGE = "en"
DOSES_KEPT = 60  # seconds: many people open one batch, and its doses are computed
PAGES_KEPT = 1000  # of a few kilobytes each
# Stand in a page that is kept for code and number; no keyboard writes them.
CODE, GROUPED, NUMBER = "\ue000", "\ue001", "\ue002"
slowing = Slowing(most=settings.WRONG_CODES_ALLOWED, window=settings.WRONG_CODES_WINDOW)


class Contact(NamedTuple):
    """What the page says of the premises."""

    name: str = ""
    address: str = ""
    phone: str = ""
    email: str = ""
    poison_centre: str = ""
    is_demo: bool = False


class Told(NamedTuple):
    """A recall as a visitor is told of it."""

    notice: str
    when: str
    is_over: bool


class Stop(NamedTuple):
    """What stands against using a bottle, above everything else."""

    title: str
    text: str
    recalls: tuple[Told, ...] = ()


def page(request: HttpRequest, code: str, contact: Contact) -> HttpResponse:
    """Answer a visitor who opened the address of a bottle; ``code`` is a bare one."""
    words = words_of(request)
    address = get_client_ip_address(request) or ""
    wait = slowing.wait(address)
    if wait:
        return _too_many(words, contact, wait)
    if not is_bottle_code(code):
        slowing.miss(address)
        return mistyped(words, contact)
    face = bottle_face.face_of(code)
    if face is None:
        slowing.miss(address)
        scans.count_unknown(code)  # by HEAD, too: guessing asks for no more
        return unknown(words, contact)
    sheet = face.sheet
    if request.method == "GET":
        scans.count(
            bottle_id=face.bottle_id,
            code=face.code,
            status=sheet.status,
            is_doubled=sheet.is_doubled,
        )
    text = bottle_face.text_of(sheet, words.language)
    kept = _page(
        words.language,
        contact,
        sheet,
        text,
        recalls=tuple(_told(one, words) for one in bottle_face.recalls_of(sheet)),
        doses=_doses(sheet) if text.has_doses else (),
        filled=timezone.localdate(sheet.filled_at),
        today=timezone.localdate(),
    )
    body = kept.replace(CODE, face.code).replace(GROUPED, grouped(face.code))
    return _answer(words, body.replace(NUMBER, str(face.number)))


def mistyped(words: Words, contact: Contact) -> HttpResponse:
    """Answer a code whose check character does not fit; the same for every one."""
    title, text = words.mistyped_title, words.mistyped_text
    return _answer(words, _said(words, contact, title, text, asks=True), status=404)


def unknown(words: Words, contact: Contact) -> HttpResponse:
    """Answer a well-formed code that was never issued; the same for every one."""
    title, text = words.unknown_title, words.unknown_text
    return _answer(words, _said(words, contact, title, text, asks=True), status=404)


def ask(request: HttpRequest) -> HttpResponse:
    """Ask a visitor for the code on the bottle."""
    words, contact = words_of(request), contact_of(getattr(request, "premises", None))
    return _answer(words, _said(words, contact, words.type_code, "", asks=True))


def contact_of(premises: Premises | None) -> Contact:
    """Return what the page says of the premises; nothing before there is one."""
    if premises is None:
        return Contact(is_demo=settings.IS_DEMO)
    return Contact(
        name=premises.name,
        address=premises.address,
        phone=premises.phone,
        email=premises.email,
        poison_centre=premises.poison_centre,
        is_demo=settings.IS_DEMO,
    )


def words_of(request: HttpRequest) -> Words:
    """Return the words of the language asked for: by the address, or by the browser.

    ``Accept-Language`` by RFC 9110, 12.5.4; the first that we have, else English.
    """
    asked = request.GET.get("lang", "")
    if asked in LANGUAGES:
        return words_in(asked)
    accepted = request.META.get("HTTP_ACCEPT_LANGUAGE", "")
    for tag, _ in parse_accept_lang_header(accepted):
        language = tag.split("-")[0]
        if language in LANGUAGES:
            return words_in(language)
    return words_in(DEFAULT_LANGUAGE)


def _too_many(words: Words, contact: Contact, wait: int) -> HttpResponse:
    body = _said(words, contact, words.too_many_title, words.too_many_text)
    response = _answer(words, body, status=429)
    response["Retry-After"] = str(wait)
    return response


def _answer(words: Words, body: str, *, status: int = 200) -> HttpResponse:
    return HttpResponse(
        body,
        status=status,
        headers={
            "Content-Language": words.language,
            # Kept by a browser, but asked for anew each time: a recall shows at once.
            "Cache-Control": "no-cache",
            "Vary": "Accept-Language, Cookie",
        },
    )


def _said(
    words: Words, contact: Contact, title: str, text: str, *, asks: bool = False
) -> str:
    facts = {"title": title, "text": text, "asks": asks}
    return _rendered("said", words.language, contact, **facts)


@functools.lru_cache(maxsize=PAGES_KEPT)
def _page(
    language: str,
    contact: Contact,
    sheet: Sheet,
    text: Text,
    *,
    recalls: tuple[Told, ...],
    doses: tuple[int, ...],
    filled: datetime.date,
    today: datetime.date,
) -> str:
    """Return the page of a bottle, but for its code and number.

    Plain values only: of a row, which is the same by its id, an older page was shown.
    """
    words = words_in(language)
    stops = stops_of(sheet, recalls, words, today)
    waters = (words.water_soft, words.water_medium, words.water_hard)
    return _rendered(
        "bottle",
        language,
        contact,
        title=text.product_name,
        sheet=sheet,
        text=text,
        lang=_lang(text, words),
        stops=stops,
        is_recalled=bool(recalls),
        quantity=volume_in(sheet.nominal_ul, language),
        contents=contents_in(sheet.band, language) if sheet.band else "",
        filled=day_in(filled, language),
        use_by=day_in(sheet.use_by, language),
        doses=() if stops else tuple(zip(waters, doses, strict=False)),
        sign_in=resolve_url(settings.LOGIN_URL),
        code=CODE,
        grouped=GROUPED,
        number=NUMBER,
    )


def _rendered(name: str, language: str, contact: Contact, **facts: object) -> str:
    # Without a request: no context processor looks for an account or a message.
    return render_to_string(
        f"quality/public/{name}.html",
        {
            "words": words_in(language),
            "languages": LANGUAGES.items(),
            "premises": contact,
            **facts,
        },
    )


def _lang(text: Text, words: Words) -> SafeString:
    """Return the attribute that says in which language a text is, if in another."""
    if text.language == words.language:
        return SafeString("")
    return format_html(' lang="{}"', text.language)


def stops_of(
    sheet: Sheet, recalls: tuple[Told, ...], words: Words, today: datetime.date
) -> tuple[Stop, ...]:
    """Return what stands against using a bottle, a recall first.

    Its use-by day itself is still good.
    """
    found = []
    if recalls:
        is_over = all(recall.is_over for recall in recalls)
        title = words.recall_over_title if is_over else words.recall_title
        text = words.recall_over_text if is_over else words.recall_text
        found.append(Stop(title, text, recalls))
    if (where := _where_it_should_be(sheet, words)) is not None:
        found.append(where)
    elif sheet.is_held and all(recall.is_over for recall in recalls):
        found.append(Stop(words.on_hold_title, words.on_hold_text))
    elif sheet.never_left:
        found.append(Stop(words.not_released_title, words.not_released_text))
    if sheet.is_doubled:
        found.append(Stop(words.duplicate_title, words.duplicate_text))
    if sheet.use_by < today:
        found.append(Stop(words.past_use_by_title, words.past_use_by_text))
    return tuple(found)


def _where_it_should_be(sheet: Sheet, words: Words) -> Stop | None:
    """Return that by our records nobody outside should have it; None if not so."""
    if sheet.is_destroyed:
        return Stop(words.destroyed_title, words.destroyed_text)
    if sheet.came_back:
        return Stop(words.returned_title, words.returned_text)
    if sheet.is_kept:
        return Stop(words.kept_title, words.kept_text)
    return None


def _told(recall: Recall, words: Words) -> Told:
    opened = day_in(timezone.localdate(recall.opened_at), words.language)
    when = f"{words.recall} {recall.code}, {words.recall_opened} {opened}"
    if recall.closed_at:
        closed = day_in(timezone.localdate(recall.closed_at), words.language)
        when += f", {words.recall_closed} {closed}"
    is_over = recall.status == Recall.Status.CLOSED
    return Told(recall.public_notice, f"{when}.", is_over)


def _doses(sheet: Sheet) -> tuple[int, ...]:
    """Return the doses for soft, medium and hard water in ml; none if not known."""
    known: tuple[int, ...] | None = cache.get_or_set(
        f"doses.{sheet.batch_id}",
        lambda: _computed_doses(sheet.batch_id),
        DOSES_KEPT,
    )
    return known or ()


def _computed_doses(batch_id: int) -> tuple[int, ...]:
    batch = Batch.objects.listed().get(pk=batch_id)
    try:
        return tuple(row.ml for row in dose_table.dose_table(batch))
    except dose_table.NotKnownError:
        return ()
