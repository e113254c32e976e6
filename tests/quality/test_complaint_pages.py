"""The pages of complaints and of the audit, as people meet them."""

from __future__ import annotations

import pypdfium2
import pytest
from django.http import HttpResponseBase
from django.test import Client
from django.urls import reverse

from batches.models import Bottle
from producer.codes import grouped
from producer.models import JournalEntry, User
from quality.models import ComplaintAccount, SelfInspection
from quality.services import audit
from tests import bottling, make, told
from tests.doors.pages import field_value, page_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def bottle(crew: make.Crew) -> Bottle:
    return make.bottles_of(bottling.bottled(crew))[0]


def seen_by(user: User, name: str, *args: object) -> str:
    """Return the words of a page."""
    client = Client()
    client.force_login(user)
    response = client.get(reverse(f"quality:{name}", args=args))
    assert response.status_code == 200
    return page_of(response).words


def taken_down(user: User, **fields: str) -> tuple[int, str]:
    """Send the form of a new complaint; return the status and the words."""
    client = Client()
    client.force_login(user)
    address = reverse("quality:complaint_open")
    submission = field_value(page_of(client.get(address)), "submission")
    usual = {
        "nature": "smell",
        "words": "like old fat",
        "was_hurt": "no",
        "who": "a visitor",
        "means": "telephone",
    }
    response = client.post(
        address, {**usual, "submission": submission, **fields}, follow=True
    )
    return response.status_code, page_of(response).words


def test_a_complaint_about_a_scanned_bottle_leads_to_its_page(
    crew: make.Crew, bottle: Bottle
) -> None:
    _, words = taken_down(
        crew.maker, code=f"https://soap.example/b/{grouped(bottle.code)}"
    )
    row = ComplaintAccount.objects.get()
    assert row.bottle == bottle
    assert f"Complaint {row.complaint.code} is open" in words
    assert "What to do next" in words


def test_the_code_may_be_of_a_filling_lot_a_batch_or_unknown(
    crew: make.Crew, bottle: Bottle
) -> None:
    lot = bottle.filling_lot
    taken_down(crew.maker, code=lot.code.lower())
    taken_down(crew.maker, code=lot.batch.number)
    taken_down(crew.maker, said_of_it="half a litre from the market")
    first, second, third = ComplaintAccount.objects.order_by("pk")
    assert first.filling_lot == lot
    assert second.batch == lot.batch
    assert third.said_of_it == "half a litre from the market"


def test_a_code_that_nothing_has_is_refused_with_what_to_do(crew: make.Crew) -> None:
    _, words = taken_down(crew.maker, code="F26-9999-9")
    assert "No bottle, filling lot or batch has this code" in words
    assert not ComplaintAccount.objects.exists()


def test_nobody_is_hurt_by_default_and_nobody_is_unhurt_by_default(
    crew: make.Crew,
) -> None:
    _, words = taken_down(crew.maker, was_hurt="", said_of_it="a tin")
    assert "This is needed" in words
    assert not ComplaintAccount.objects.exists()


def test_the_caution_and_the_rules_stand_where_somebody_was_hurt(
    crew: make.Crew, bottle: Bottle
) -> None:
    hurt = told.about(crew, bottle, was_hurt=True)
    words = seen_by(crew.maker, "complaint", hurt.complaint.code)
    assert "FIRST AID" in words
    assert "Rules differ by place and change." in words
    other = told.about(crew, bottle)
    assert "FIRST AID" not in seen_by(crew.maker, "complaint", other.complaint.code)


def test_a_maker_sees_whose_the_reviewers_steps_are(
    crew: make.Crew, bottle: Bottle
) -> None:
    row = told.about(crew, bottle)
    words = seen_by(crew.maker, "complaint", row.complaint.code)
    assert "For a reviewer: Write it down." in words


def test_a_corrected_complaint_shows_what_was_written_first(crew: make.Crew) -> None:
    row = told.opened(crew, words="It smells of fish.")
    client = Client()
    client.force_login(crew.maker)
    address = reverse("quality:complaint_amend", args=[row.complaint.code])
    page = page_of(client.get(address))
    sent = {
        "submission": field_value(page, "submission"),
        "said_of_it": field_value(page, "said_of_it"),
        "who": field_value(page, "who"),
        "nature": "colour",
        "words": "It is brown.",
        "was_hurt": "no",
        "means": "email",
        "reason": "misheard",
    }
    words = page_of(client.post(address, sent, follow=True)).words
    assert "It is brown." in words
    assert "It smells of fish." in words
    assert "misheard" in words


def test_the_pages_of_the_bottle_its_filling_and_its_batch_lead_to_the_complaint(
    crew: make.Crew, bottle: Bottle
) -> None:
    row = told.about(crew, bottle)
    client = Client()
    client.force_login(crew.maker)
    lot = bottle.filling_lot
    for address in (
        reverse("quality:bottle", args=[bottle.code]),
        reverse("batches:filling_lot", args=[lot.code]),
        reverse("batches:batch", args=[lot.batch.number]),
        reverse("quality:complaints"),
        reverse("quality:today"),
    ):
        assert row.complaint.code in page_of(client.get(address)).words, address


def test_the_public_page_of_a_bottle_says_nothing_of_a_complaint(
    crew: make.Crew, bottle: Bottle
) -> None:
    row = told.about(crew, bottle, words="It burns the skin")
    response = Client().get(reverse("quality:bottle", args=[bottle.code]))
    words = page_of(response).words
    assert row.complaint.code not in words
    assert "burns the skin" not in words


def test_a_complaint_and_an_audit_are_printed(crew: make.Crew, bottle: Bottle) -> None:
    row = told.about(crew, bottle, was_hurt=True)
    client = Client()
    client.force_login(crew.reviewer)
    for address in (
        reverse("quality:complaint_pdf", args=[row.complaint.code]),
        reverse("quality:audit_pdf", args=[audit.draw_anew().number]),
    ):
        response = client.get(address)
        assert response.headers["Content-Type"] == "application/pdf"
        assert response.getvalue().startswith(b"%PDF")


def draw_on_page(client: Client) -> HttpResponseBase:
    """Press the button that draws; return the page of what was drawn."""
    address = reverse("quality:audit_draw")
    submission = field_value(page_of(client.get(address)), "submission")
    return client.post(address, {"submission": submission}, follow=True)


def test_the_paper_of_an_audit_says_which_draw_it_was(
    crew: make.Crew, bottle: Bottle
) -> None:
    told.drawn(crew.reviewer)
    row = told.inspected(crew.reviewer)
    client = Client()
    client.force_login(crew.reviewer)
    address = reverse("quality:audit_pdf", args=[row.number])
    document = pypdfium2.PdfDocument(client.get(address).getvalue())
    words = " ".join(document[0].get_textpage().get_text_range().split())
    assert "This was draw 2 of 2; no audit was held before it." in words


def test_to_look_at_a_number_is_no_draw_and_it_cannot_be_held(
    crew: make.Crew, bottle: Bottle
) -> None:
    client = Client()
    client.force_login(crew.reviewer)
    number = audit.draw_anew().number
    before = JournalEntry.objects.count()
    client.get(reverse("quality:audit"), {"number": number})
    client.get(reverse("quality:audit_draw"))
    words = seen_by(crew.reviewer, "audit_drawn", number)
    assert "Draw first" in words
    assert "It was held" not in words
    address = reverse("quality:audit_held", args=[number])
    submission = field_value(page_of(client.get(address)), "submission")
    sent = {"submission": submission, "findings": "nothing"}
    assert "Draw first" in page_of(client.post(address, sent)).words
    assert JournalEntry.objects.count() == before
    draw_on_page(client)
    assert JournalEntry.objects.count() == before + 1


def test_an_auditor_sees_what_was_drawn_and_draws_nothing(
    crew: make.Crew, bottle: Bottle, auditor: User
) -> None:
    number = told.drawn(crew.reviewer)
    assert number in seen_by(auditor, "audit")
    assert "Draw a bottle" not in seen_by(auditor, "audit")
    assert "Draw again" not in seen_by(auditor, "audit_drawn", number)


def test_an_audit_is_drawn_walked_and_held_on_its_pages(
    crew: make.Crew, bottle: Bottle
) -> None:
    client = Client()
    client.force_login(crew.reviewer)
    drawn = page_of(draw_on_page(client)).words
    number = audit.draws_until_now().newest
    assert "What lacks" in drawn
    assert "This was draw 1 of 1; no audit was held before it." in drawn
    assert number in seen_by(crew.reviewer, "audit")
    assert bottle.filling_lot.code in drawn
    address = reverse("quality:audit_held", args=[number])
    submission = field_value(page_of(client.get(address)), "submission")
    sent = {"submission": submission, "findings": "The paper of the oil lacks."}
    words = page_of(client.post(address, sent, follow=True)).words
    assert "The paper of the oil lacks." in words
    assert "This was draw 1 of 1; no audit was held before it." in words
    row = SelfInspection.objects.get()
    assert number in seen_by(crew.reviewer, "audit")
    assert "Held:" in seen_by(crew.reviewer, "audit_drawn", number)
    for line in row.missing:
        assert " ".join(line.split()) in words


def test_a_number_that_was_never_drawn_is_refused_on_the_page(crew: make.Crew) -> None:
    client = Client()
    client.force_login(crew.reviewer)
    address = reverse("quality:audit")
    words = page_of(client.get(address, {"number": "000001-99-99"})).words
    assert "there never were so many" in words
    words = page_of(client.get(address, {"number": "000001-0-0"})).words
    assert "This number draws from what is on record here" in words
