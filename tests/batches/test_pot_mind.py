"""The pot screen where something is wrong: a lot on hold, a yield, a scale, a word."""

from __future__ import annotations

import uuid
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from batches.models import Batch, BulkWeighing, Charge
from batches.services import cooking, half_weighings, hold_points, planning
from batches.services.at_the_pot import pot_of
from producer.errors import Refusal
from producer.models import Instrument, RawLot, Vessel
from quality.services.today import making
from tests import kept, make
from tests.doors.pages import Page, page_of, text_of

pytestmark = [pytest.mark.django_db, pytest.mark.any_engine]


@pytest.fixture
def browser(crew: make.Crew) -> Client:
    client = Client()
    client.force_login(crew.maker)
    return client


@pytest.fixture
def batch(crew: make.Crew) -> Batch:
    """Return a planned cook with its lots chosen and its hold points passed."""
    batch = make.open_batch(crew)
    lines = batch.formula_version.lines.select_related("material", "source_formula")
    planning.choose_lots(
        by=crew.maker,
        batch=batch,
        choices={line.pk: make.stock_of(crew, line) for line in lines},
    )
    make.thermometer(crew.maker)
    make.meter(crew.maker)
    make.go_through(crew, batch)
    return make.fresh(batch)


def put_in(crew: make.Crew, batch: Batch, *names: str) -> Batch:
    """Weigh in what the plan says of these, or of every line."""
    for planned in planning.plan_of(batch).lines:
        if names and planned.name not in names:
            continue
        (line,) = [
            one
            for one in planning.plan_of(make.fresh(batch)).lines
            if one.line == planned.line
        ]
        assert line.source is not None
        make.charge(crew, make.fresh(batch), line.source, line.target_mg or 0)
    return make.fresh(batch)


def address(batch: Batch, step: str = "") -> str:
    page = reverse("batches:pot", args=[batch.number])
    return f"{page}?step={step}" if step else page


def step_of(browser: Client, batch: Batch, step: str) -> Page:
    """Return one step of the pot screen, parsed."""
    text = text_of(browser.get(address(batch)))
    text = text.partition(f'data-step="{step}"')[2].partition('class="pot-step"')[0]
    page = Page()
    page.feed(text.partition('<nav class="pot-else"')[0])
    return page


def told(browser: Client, where: str, **fields: Any) -> tuple[str, str]:
    """Send a form; return level and words of the message on the page that follows."""
    sent = {"submission": str(uuid.uuid4()), **fields}
    answer = browser.post(where, sent, follow=True)
    (message,) = list(answer.context["messages"])
    return message.level_tag, str(message)


# ------------------------------------------------------------------ potash and water


def test_potash_is_refused_until_the_water_is_in(crew: make.Crew, batch: Batch) -> None:
    put_in(crew, batch, "sunflower oil", "coconut oil")
    with pytest.raises(Refusal, match="Weigh the water first"):
        put_in(crew, batch, "potash flakes")
    line = make.line_of(batch, "potash flakes")
    with pytest.raises(Refusal, match="never water onto potash"):
        half_weighings.begin(
            by=crew.maker,
            batch=make.fresh(batch),
            line=line,
            source=make.stock_of(crew, line),
            scale=make.scale(crew.maker),
            first_mg=make.TARE_MG,
        )
    assert Charge.objects.count() == 2
    put_in(crew, batch, "distilled water")
    put_in(crew, batch, "potash flakes")
    assert Charge.objects.count() == 4


def test_with_potash_in_the_pot_the_water_step_says_never_onto_it(
    crew: make.Crew, browser: Client, batch: Batch
) -> None:
    position = make.line_of(batch, "distilled water").position
    words = "Potash is in: never pour water onto it."
    charge = reverse("batches:charge", args=[batch.number, position])
    for where in (address(batch), charge):
        assert words not in page_of(browser.get(where)).words
    put_in(crew, batch)
    water = Charge.objects.get(line__position=position)
    cooking.amend_charge(by=crew.maker, charge=water, void=True, reason="spilled")
    assert pot_of(make.fresh(batch)).next == f"charge-{position}"
    step = step_of(browser, batch, f"charge-{position}")
    assert words in step.words
    assert {"href": f"#caution-charge-{position}"} in step.attributes("a")
    assert {"id": f"caution-charge-{position}"} in step.attributes("div")
    assert "Never water onto potash." in step.words
    assert words in page_of(browser.get(charge)).words


# ------------------------------------------------------------------ a lot on hold


def test_a_lot_on_hold_takes_the_place_of_figure_and_form(
    crew: make.Crew, browser: Client, batch: Batch
) -> None:
    put_in(crew, batch, "sunflower oil", "coconut oil", "distilled water")
    line = make.line_of(batch, "potash flakes")
    lot = RawLot.objects.get(material__name="potash flakes")
    charge = reverse("batches:charge", args=[batch.number, line.position])
    assert step_of(browser, batch, "charge-4").attributes("form")
    assert "To weigh" in page_of(browser.get(charge)).words
    assert making.next_step(batch, make.TODAY) == "Weigh potash flakes"

    RawLot.objects.filter(pk=lot.pk).update(status="on_hold")
    batch = make.fresh(batch)
    step = step_of(browser, batch, "charge-4")
    assert f"{lot.code} is on hold, not released." in step.words
    assert not step.attributes("form")
    assert "pot-target" not in str(step.elements)
    assert "DANGER" not in step.words
    lots = reverse("batches:lots", args=[batch.number])
    assert f"{lots}?then={address(batch)}" in [
        one["href"] for one in step.attributes("a")
    ]
    page = page_of(browser.get(charge))
    assert f"{lot.code} is on hold, not released." in page.words
    assert "Record this charge" not in page.words
    assert "To weigh" not in page.words
    assert making.next_step(batch, make.TODAY) == (
        f"Choose another lot than {lot.code}, or have it released"
    )
    # What was done without network is entered all the same: its form is there.
    row = kept.discrepancy(crew, batch)
    assert (
        "Record this charge" in page_of(browser.get(f"{charge}?settles={row.pk}")).words
    )


def test_a_weighing_begun_from_a_lot_that_is_now_on_hold_is_not_finished(
    crew: make.Crew, browser: Client, batch: Batch
) -> None:
    start = begun(crew, batch)
    slug = f"start-{start.pk}"
    assert step_of(browser, batch, slug).attributes("form")
    RawLot.objects.filter(pk=start.source_id).update(status="on_hold")
    step = step_of(browser, batch, slug)
    assert "is on hold, not released." in step.words
    assert not step.attributes("form")


def begun(crew: make.Crew, batch: Batch) -> Any:
    line = make.line_of(batch, "sunflower oil")
    return half_weighings.begin(
        by=crew.maker,
        batch=batch,
        line=line,
        source=make.stock_of(crew, line),
        scale=make.scale(crew.maker),
        first_mg=make.TARE_MG,
    )


def test_finishing_what_was_begun_shows_how_much_to_weigh(
    crew: make.Crew, browser: Client, batch: Batch
) -> None:
    start = begun(crew, batch)
    step = step_of(browser, batch, f"start-{start.pk}")
    assert "To weigh: 800 g" in step.words


# ------------------------------------------------------------------ scale and tare


def test_the_scale_that_carries_pot_and_charge_is_proposed_else_it_is_said(
    crew: make.Crew, browser: Client, batch: Batch
) -> None:
    bench = make.scale(crew.maker)
    Vessel.objects.update(tare_mg=3 * make.KG)
    for name, capacity in (("Fine scale, 50 g", 50), ("kitchen scale", 2000)):
        make.registered(
            crew.maker,
            Instrument(
                kind="scale",
                name=name,
                resolution=Decimal(1),
                capacity=Decimal(capacity),
            ),
        )
    assert "No scale in use carries" not in step_of(browser, batch, "charge-1").words
    Instrument.objects.filter(pk=bench.pk).update(in_use=False)
    step = step_of(browser, batch, "charge-1")
    assert "No scale in use carries 3.8 kg with the steel pot" in step.words
    assert "kitchen scale carries 2 kg at most" in step.words
    (chosen,) = [
        one for one in step.attributes("option") if "selected" in one and scale_of(one)
    ]
    assert scale_of(chosen) == "kitchen scale"


def scale_of(option: dict[str, str]) -> str:
    found = Instrument.objects.filter(kind="scale", pk=option["value"] or 0).first()
    return found.name if found else ""


def test_poured_on_top_the_last_gross_is_offered_as_the_tare_and_taken(
    crew: make.Crew, browser: Client, batch: Batch
) -> None:
    pot = make.vessel(crew.maker)
    first, second = (
        make.line_of(batch, f"{one} oil") for one in ("sunflower", "coconut")
    )
    assert "Poured on top?" not in page_of(browser.get(address(batch))).words
    scale = make.scale(crew.maker)
    common: dict[str, Any] = {
        "by": crew.maker,
        "scale": scale,
        "how": cooking.How(vessel=pot),
    }
    cooking.charge(
        batch=batch,
        line=first,
        source=make.stock_of(crew, first),
        gross_mg=1_150_000,
        tare_mg=make.TARE_MG,
        **common,
    )
    step = step_of(browser, batch, f"charge-{second.position}")
    (tare,) = [one for one in step.attributes("input") if one.get("name") == "tare_mg"]
    (button,) = [one for one in step.attributes("button") if "data-fill" in one]
    assert (tare["value"], button["data-fill"]) == ("350", "1150")
    assert button["type"] == "button"
    assert tare["id"] in [one.get("data-for") for one in step.attributes("p")]
    with pytest.raises(Refusal, match="is written down as 350 g empty"):
        cooking.charge(
            batch=make.fresh(batch),
            line=second,
            source=make.stock_of(crew, second),
            gross_mg=1_330_000,
            tare_mg=1_130_000,
            **common,
        )
    row = cooking.charge(
        batch=make.fresh(batch),
        line=second,
        source=make.stock_of(crew, second),
        gross_mg=1_350_000,
        tare_mg=1_150_000,
        **common,
    )
    assert row.net_mg == 200_000


# ------------------------------------------------------------------ what is said


def test_an_open_discrepancy_is_told_with_its_page(
    crew: make.Crew, browser: Client, batch: Batch
) -> None:
    assert "Open discrepancy" not in page_of(browser.get(address(batch))).words
    row = kept.discrepancy(crew, batch)
    page = page_of(browser.get(address(batch)))
    own = reverse("batches:discrepancy", args=[batch.number, row.pk])
    assert "Open discrepancy:" in page.words
    assert own in [one["href"] for one in page.attributes("a")]
    assert "a reviewer explains it" in page_of(browser.get(own)).words


@pytest.mark.parametrize(
    ("what", "fields", "level", "words"),
    [
        ("temperature", {"value": "70"}, "success", "The reading is recorded."),
        ("temperature", {"value": "70.5"}, "warning", "above the limit of 70 °C"),
        ("ph", {"value": "9.2"}, "success", "The reading is recorded."),
    ],
)
def test_a_reading_outside_is_to_be_minded(
    crew: make.Crew,
    browser: Client,
    batch: Batch,
    what: str,
    fields: dict[str, str],
    level: str,
    words: str,
) -> None:
    batch = put_in(crew, batch)
    by = make.meter if what == "ph" else make.thermometer
    given = {**fields, "instrument": by(crew.maker).pk}
    given["method"] = batch.formula_version.ph_method
    found = told(browser, reverse("batches:read", args=[batch.number, what]), **given)
    assert (found[0], words in found[1]) == (level, True)


def test_a_ph_outside_its_limit_is_to_be_minded_and_marked(
    crew: make.Crew, browser: Client, batch: Batch
) -> None:
    make.set_limits(crew.reviewer, batch.formula_version)
    batch = put_in(crew, batch)
    make.read_ph(crew, batch)
    assert "outside its limit" not in strip(browser, batch)
    level, words = told(
        browser,
        reverse("batches:read", args=[batch.number, "ph"]),
        value="12.4",
        method=batch.formula_version.ph_method,
        instrument=make.meter(crew.maker).pk,
    )
    assert level == "warning"
    assert words.startswith("The reading is recorded.")
    assert "pH 12.4 outside its limit" in strip(browser, batch)
    assert strip(browser, batch).count("outside its limit") == 1


def strip(browser: Client, batch: Batch) -> str:
    """Return the words of the strip of entries."""
    text = text_of(browser.get(address(batch)))
    page = Page()
    page.feed(text.partition('class="pot-strip"')[2].partition("</ol>")[0])
    return page.words


def test_the_strip_marks_what_is_not_as_it_should_be(
    crew: make.Crew, browser: Client, batch: Batch
) -> None:
    batch = put_in(crew, batch)
    for celsius in ("70", "74"):
        cooking.record_reading(
            by=crew.maker,
            batch=batch,
            characteristic="temperature",
            value=Decimal(celsius),
            instrument=make.thermometer(crew.maker),
        )
    make.read_clarity(crew, batch, "cloudy")
    words = strip(browser, batch)
    assert "74 °C above the limit" in words
    assert words.count("above the limit") == 1
    assert words.count("not clear") == 1
    assert "not in order" not in words
    hold_points.go_through(
        by=crew.maker,
        batch=batch,
        looks=[
            hold_points.Look(
                point=hold_points.Point.LINE_CLEARANCE,
                in_order=False,
                note="a jug of acid",
            )
        ],
    )
    assert "hold points not in order" in strip(browser, batch)


def test_undo_says_what_it_took_back_and_so_does_the_strip(
    crew: make.Crew, browser: Client, batch: Batch
) -> None:
    batch = put_in(crew, batch, "sunflower oil")
    row = Charge.objects.get()
    level, words = told(browser, reverse("batches:undo", args=[batch.number]))
    assert level == "success"
    assert words.startswith(f"Undone: charge of {row.source.code}, 800 g.")
    assert "sunflower oil 800 g , taken back: does not count" in strip(browser, batch)


# ------------------------------------------------------------------ a wrong yield


def test_a_yield_that_cannot_be_is_to_be_minded_and_corrected_from_the_pot(
    crew: make.Crew, browser: Client, batch: Batch
) -> None:
    batch = put_in(crew, batch)
    make.read_clarity(crew, batch)
    make.read_ph(crew, batch)
    level, words = told(
        browser,
        reverse("batches:weigh", args=[batch.number]),
        scale=make.scale(crew.maker).pk,
        gross_mg="2000",
        tare_mg="300",
    )
    assert level == "warning"
    assert "more came out than went in" in words
    batch = make.fresh(batch)
    assert pot_of(batch).next == "came_out"
    step = step_of(browser, batch, "came_out")
    row = BulkWeighing.objects.get()
    amend = reverse("batches:weigh_amend", args=[batch.number, row.pk])
    links = [one["href"] for one in step.attributes("a")]
    then = f"?then={address(batch)}"
    points = reverse("quality:hold_points", args=[batch.number])
    assert links == [f"{amend}{then}", f"{points}{then}"]
    (finish,) = step_of(browser, batch, "finish").attributes("button")
    assert finish["class"] == "quiet"
    fields = page_of(browser.get(amend)).attributes("input")
    (tare,) = [one for one in fields if one.get("name") == "tare_mg"]
    assert tare["value"] == "300"

    level, _ = told(
        browser,
        f"{amend}{then}",
        gross_mg="2000",
        tare_mg="500",
        reason="another pot",
    )
    assert level == "success"
    assert pot_of(make.fresh(batch)).next == "finish"
    assert "What came out: correct it" in page_of(browser.get(address(batch))).words
    (finish,) = step_of(browser, batch, "finish").attributes("button")
    assert finish.get("class", "") == ""
