"""The page of the hold points, and the batch page around it."""

from __future__ import annotations

import uuid
from typing import Any

import pytest
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse

from batches.models import Batch, Charge
from batches.services import hold_points, planning
from quality.models import InstrumentCheck
from quality.services.before_the_cook import BEFORE, sentences_of
from tests import lab, make
from tests.database import row_counts
from tests.doors.pages import Page, page_of
from tests.quality.questions import questions

pytestmark = pytest.mark.django_db
Point = hold_points.Point


@pytest.fixture
def browser(crew: make.Crew) -> Client:
    client = Client()
    client.force_login(crew.maker)
    return client


@pytest.fixture
def batch(crew: make.Crew) -> Batch:
    """Return a planned batch with a lot for every line, and what its points need."""
    found = make.open_batch(crew)
    planning.choose_lots(
        by=crew.maker,
        batch=found,
        choices={
            line.pk: make.stock_of(crew, line)
            for line in found.formula_version.lines.all()
        },
    )
    make.scale(crew.maker)
    lab.check_weight(crew.maker)
    make.vessel(crew.maker)
    return found


def address_of(batch: Batch) -> str:
    return reverse("quality:hold_points", args=[batch.number])


def filled(crew: make.Crew, **changes: Any) -> dict[str, Any]:
    """Return the whole form as somebody fills it in who finds all in order."""
    facts = {
        "submission": str(uuid.uuid4()),
        "cleared": "on",
        "protected": "on",
        "scale": make.scale(crew.maker).pk,
        "weight": lab.check_weight(crew.maker).pk,
        "shown": "500",
        "lots": "on",
        "vessel": make.vessel(crew.maker).pk,
        "mass_mg": "350,0",
        **changes,
    }
    return {name: value for name, value in facts.items() if value is not None}


def send(browser: Client, batch: Batch, form: dict[str, Any]) -> HttpResponse:
    answer: Any = browser.post(address_of(batch), form)
    return answer  # type: ignore[no-any-return]


def test_one_form_and_one_act_and_the_first_charge_is_allowed(
    browser: Client, crew: make.Crew, batch: Batch
) -> None:
    line = make.line_of(batch, "sunflower oil")
    charge = reverse("batches:charge", args=[batch.number, line.position])
    first = {
        "submission": str(uuid.uuid4()),
        "source": make.stock_of(crew, line).pk,
        "scale": make.scale(crew.maker).pk,
        "gross_mg": "1150 g",
        "tare_mg": "350 g",
    }
    page = page_of(browser.post(charge, first))
    assert "Go through the hold points first" in page.words
    assert not Charge.objects.exists()

    answer = send(browser, batch, filled(crew))
    assert answer.status_code == 302
    assert answer["Location"] == reverse("batches:pot", args=[batch.number])
    assert InstrumentCheck.objects.get().passed

    assert browser.post(charge, first).status_code == 302
    assert Charge.objects.get().net_mg == 800_000


def test_no_result_is_filled_in_before_somebody_found_it(
    browser: Client, batch: Batch
) -> None:
    page = page_of(browser.get(address_of(batch)))
    inputs = {one.get("name"): one for one in page.attributes("input")}
    for tick in ("cleared", "protected", "lots"):
        assert inputs[tick]["type"] == "checkbox"
        assert "checked" not in inputs[tick]
    for field in ("shown", "mass_mg", "cleared_note", "scale_note"):
        assert not inputs[field].get("value")
    # Nor is what the vessel should weigh told before it was weighed.
    assert "350 g" not in page.words


def test_what_is_seldom_needed_is_folded_away_until_it_says_something(
    browser: Client, crew: make.Crew, batch: Batch
) -> None:
    def folded(page: Page) -> list[bool]:
        return [
            "open" in one
            for one in page.attributes("details")
            if "folded" in (one.get("class") or "")
        ]

    assert folded(page_of(browser.get(address_of(batch)))) == [False] * 3
    form = filled(crew, protected=None, protected_note="no gloves", mass_mg="0")
    assert folded(page_of(send(browser, batch, form))) == [False, True, False]
    form = filled(crew, scale_note="broken")
    assert folded(page_of(send(browser, batch, form))) == [False, False, True]


def test_every_sentence_of_the_paper_sheet_stands_behind_its_tick(
    browser: Client, batch: Batch
) -> None:
    words = page_of(browser.get(address_of(batch))).words
    for point in (Point.LINE_CLEARANCE, Point.PROTECTION, Point.SCALE):
        sentences = sentences_of("cook", point)
        assert sentences
        for sentence in sentences:
            assert sentence in words
            assert sentence in [text for text, _ in BEFORE["cook"]]


def test_what_is_not_in_order_is_told_and_the_page_comes_again(
    browser: Client, crew: make.Crew, batch: Batch
) -> None:
    form = filled(crew, protected=None, protected_note="no gloves left", mass_mg="362")
    answer = send(browser, batch, form)
    assert answer["Location"] == address_of(batch)
    page = page_of(browser.get(address_of(batch)))
    assert "no gloves left" in page.words
    assert "Does not agree. steel pot: 362 g empty, 350 g in the register" in page.words
    assert "Open: protective equipment, vessel and tare." in page.words
    # What is in order comes last and says so.
    assert page.words.index("Vessel and tare") < page.words.index(
        "Line clearance, again"
    )
    home = page_of(browser.get(reverse("batches:batch", args=[batch.number])))
    assert "Go through the hold points" in home.words
    assert "no gloves left" in home.words

    again = {
        "submission": str(uuid.uuid4()),
        "protected": "on",
        "vessel": make.vessel(crew.maker).pk,
        "mass_mg": "350 g",
    }
    assert send(browser, batch, again).status_code == 302
    assert hold_points.open_points(batch) == []
    # The tare went on the scale that was checked before.
    tare = hold_points.standing_points(batch)["tare"].tare
    assert tare is not None
    assert tare.scale == make.scale(crew.maker)


def test_a_check_of_today_is_offered_and_counts_with_one_tap(
    browser: Client, crew: make.Crew, batch: Batch
) -> None:
    assert (
        "It passed today already" not in page_of(browser.get(address_of(batch))).words
    )
    send(browser, make.open_batch(crew), filled(crew))
    page = page_of(browser.get(address_of(batch)))
    assert "It passed today already" in page.words
    check = InstrumentCheck.objects.get()
    form = filled(crew, weight=None, shown=None, counted=check.pk)
    assert send(browser, batch, form).status_code == 302
    assert hold_points.open_points(batch) == []
    assert InstrumentCheck.objects.count() == 1


def test_a_conditional_pass_is_told_and_counts_with_a_reason(
    browser: Client, crew: make.Crew, batch: Batch
) -> None:
    answer = send(browser, batch, filled(crew, shown="502"))
    page = page_of(browser.get(answer["Location"]))
    assert "A conditional pass is in order only with a reason" in page.words
    assert "conditional pass, counts only with a reason below" in page.words
    again = {
        "submission": str(uuid.uuid4()),
        "counted": InstrumentCheck.objects.get().pk,
        "scale_note": "2 g is nothing here",
    }
    assert send(browser, batch, again).status_code == 302
    assert hold_points.open_points(batch) == []


def test_a_scale_that_fails_is_told_and_must_be_looked_at_again(
    browser: Client, crew: make.Crew, batch: Batch
) -> None:
    answer = send(browser, batch, filled(crew, shown="505"))
    page = page_of(browser.get(answer["Location"]))
    assert "It is out of use until it passes." in page.words
    assert "out of use until it passes" in page.words
    send(
        browser,
        batch,
        {
            "submission": str(uuid.uuid4()),
            "scale": make.scale(crew.maker).pk,
            "weight": lab.check_weight(crew.maker).pk,
            "shown": "500,5",
            "vessel": make.vessel(crew.maker).pk,
            "mass_mg": "350",
        },
    )
    assert hold_points.open_points(batch) == []


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"cleared_note": "labels left"}, "In order, or not and why"),
        ({"mass_mg": "0"}, "This is a mass above zero. Weigh again."),
        ({"shown": "fifty"}, "Not recorded yet"),
        ({"scale_note": "broken"}, "Take this note away"),
        ({"vessel": "99"}, "Choose the vessel that stands on the scale."),
    ],
)
def test_what_contradicts_itself_is_asked_again_and_nothing_is_recorded(
    browser: Client,
    crew: make.Crew,
    batch: Batch,
    changes: dict[str, Any],
    sentence: str,
) -> None:
    form, before = filled(crew, **changes), row_counts()
    page = page_of(send(browser, batch, form))
    assert "Not recorded yet" in page.words
    assert sentence in page.words
    assert row_counts() == before


def test_a_form_without_anything_found_is_refused(
    browser: Client, batch: Batch
) -> None:
    page = page_of(send(browser, batch, {"submission": str(uuid.uuid4())}))
    assert "Say of at least one point whether it is in order." in page.words


def test_without_a_check_weight_or_a_vessel_the_way_to_the_register_is_shown(
    browser: Client, crew: make.Crew
) -> None:
    batch = make.open_batch(crew)
    page = page_of(browser.get(address_of(batch)))
    links = {one.get("href") for one in page.attributes("a")}
    assert reverse("producer:register_new", args=["instruments"]) in links
    assert reverse("producer:register_new", args=["vessels"]) in links
    assert "No lot is chosen for potash flakes." in page.words


def test_the_batch_page_leads_there_after_the_lots_and_before_the_weighing(
    browser: Client, crew: make.Crew, batch: Batch
) -> None:
    home = reverse("batches:batch", args=[batch.number])
    page = page_of(browser.get(home))
    assert address_of(batch) in {one.get("href") for one in page.attributes("a")}
    assert page.words.index("Lots chosen") < page.words.index("Hold points")
    send(browser, batch, filled(crew))
    page = page_of(browser.get(home))
    assert "Go through the hold points" not in page.words
    assert "500 g weight" in page.words
    assert crew.maker.person.name in page.words


def test_a_paper_sheet_is_named_by_what_was_copied_from_it(
    browser: Client, crew: make.Crew, batch: Batch
) -> None:
    from batches.services import transcribing  # noqa: PLC0415

    sheet = transcribing.begin(by=crew.maker, batch=batch, note="sheet 1, no power")
    address = f"{address_of(batch)}?paper={sheet.pk}"
    form = filled(crew)
    page = page_of(browser.post(address, form))
    assert "Write the time that stands on the sheet" in page.words
    form["submission"] = str(uuid.uuid4())
    opened = batch.opened_at.strftime("%Y-%m-%dT%H:%M")
    form["observed_at"] = opened
    assert browser.post(address, form).status_code == 302
    rows = hold_points.standing_points(batch).values()
    assert {row.transcription for row in rows} == {sheet}


def test_the_page_asks_the_same_number_of_questions_however_often_it_was_filled_in(
    browser: Client, crew: make.Crew, batch: Batch
) -> None:
    send(browser, batch, filled(crew))
    home = reverse("batches:batch", args=[batch.number])
    few = questions(browser, address_of(batch)), questions(browser, home)
    for _ in range(6):
        send(browser, batch, filled(crew))
    assert (questions(browser, address_of(batch)), questions(browser, home)) == few
