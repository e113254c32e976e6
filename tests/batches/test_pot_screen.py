"""The pot screen: the next step, what is chosen already, what is said above all."""

from __future__ import annotations

import datetime
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from batches.models import Batch, BulkWeighing, Charge, Reading
from batches.services import (
    cooking,
    half_weighings,
    hold_points,
    losses,
    planning,
)
from batches.services.at_the_pot import pot_of
from producer.models import Instrument, Material, Vessel
from producer.services import containers
from tests import lab, make
from tests.doors.pages import Page, page_of

pytestmark = [pytest.mark.django_db, pytest.mark.any_engine]
MINUTE = datetime.timedelta(minutes=1)


@pytest.fixture
def browser(crew: make.Crew) -> Client:
    client = Client()
    client.force_login(crew.maker)
    return client


@pytest.fixture
def batch(crew: make.Crew) -> Batch:
    """Return a planned cook with its lots chosen."""
    batch = make.open_batch(crew)
    lines = batch.formula_version.lines.select_related("material", "source_formula")
    planning.choose_lots(
        by=crew.maker,
        batch=batch,
        choices={line.pk: make.stock_of(crew, line) for line in lines},
    )
    make.thermometer(crew.maker)
    make.meter(crew.maker)
    return batch


def address(batch: Batch, step: str = "") -> str:
    page = reverse("batches:pot", args=[batch.number])
    return f"{page}?step={step}" if step else page


def following(batch: Batch) -> str:
    return pot_of(make.fresh(batch)).next


def in_the_pot(crew: make.Crew, batch: Batch) -> Batch:
    """Weigh in what the plan says."""
    make.go_through(crew, batch)
    for planned in planning.plan_of(batch).lines:
        line = next(
            one
            for one in planning.plan_of(make.fresh(batch)).lines
            if one.line == planned.line
        )
        assert line.source is not None
        assert line.target_mg is not None
        make.charge(crew, make.fresh(batch), line.source, line.target_mg)
    return make.fresh(batch)


def read(
    crew: make.Crew, batch: Batch, celsius: str, ago: datetime.timedelta = 0 * MINUTE
) -> Reading:
    return cooking.record_reading(
        by=crew.maker,
        batch=batch,
        characteristic="temperature",
        value=Decimal(celsius),
        instrument=make.thermometer(crew.maker),
        observed_at=timezone.now() - ago,
    )


def shown(page: Page) -> list[str]:
    """Return the steps that are to be seen, in their order."""
    return [
        one["data-step"]
        for one in page.attributes("section")
        if one.get("data-step") and "hidden" not in one
    ]


# ------------------------------------------------------------------ what comes next


def test_the_steps_follow_each_other_from_the_lots_to_the_end(
    crew: make.Crew, browser: Client
) -> None:
    batch = make.open_batch(crew)
    assert following(batch) == "lots"
    lines = batch.formula_version.lines.select_related("material", "source_formula")
    choices = {line.pk: make.stock_of(crew, line) for line in lines}
    planning.choose_lots(by=crew.maker, batch=batch, choices=choices)
    assert following(batch) == "hold_points"
    make.go_through(crew, batch)
    seen = []
    while following(batch).startswith("charge"):
        seen.append(following(batch))
        target = next(
            one
            for one in planning.plan_of(make.fresh(batch)).lines
            if f"charge-{one.line.position}" == seen[-1]
        )
        assert target.source is not None
        assert target.target_mg is not None
        make.charge(crew, make.fresh(batch), target.source, target.target_mg)
    assert seen == ["charge-1", "charge-2", "charge-3", "charge-4"]
    assert following(batch) == "temperature"
    read(crew, batch, "66")
    assert following(batch) == "temperature"  # until a portion is clear
    make.read_clarity(crew, batch, "cloudy")
    make.read_ph(crew, batch)
    assert following(batch) == "temperature"
    make.read_clarity(crew, batch, "clear")
    assert following(batch) == "yield"
    make.weigh_bulk(crew, batch)
    assert following(batch) == "finish"
    cooking.finish(by=crew.maker, batch=batch)
    assert following(batch) == ""
    page = page_of(browser.get(address(batch)))
    assert "Nothing is left to do at the pot." in page.words


def test_a_ph_from_before_it_was_cooked_on_is_taken_again(
    crew: make.Crew, batch: Batch
) -> None:
    cook = in_the_pot(crew, batch)
    make.read_ph(crew, cook)
    assert following(cook) == "clarity"
    make.read_clarity(crew, cook, "oil_drops")
    make.read_clarity(crew, cook, "clear")
    assert following(cook) == "ph"


def test_the_potash_comes_last_wherever_it_stands_in_the_formula(
    crew: make.Crew, batch: Batch
) -> None:
    plan = planning.plan_of(batch)
    assert plan.lines[-1].kind == Material.Kind.POTASH
    make.go_through(crew, batch)
    for line in plan.lines[:-1]:
        assert line.source is not None
        assert following(batch) != f"charge-{plan.lines[-1].line.position}"
        make.charge(crew, make.fresh(batch), line.source, line.target_mg or 0)
    assert following(batch) == f"charge-{plan.lines[-1].line.position}"


# ------------------------------------------------------------------ what is seen


def test_one_step_is_seen_and_every_other_is_on_the_page_with_its_form(
    crew: make.Crew, browser: Client, batch: Batch
) -> None:
    cook = in_the_pot(crew, batch)
    page = page_of(browser.get(address(cook)))
    assert shown(page) == ["temperature", "clarity"]
    actions = {one.get("action") for one in page.attributes("form")}
    wanted = {
        reverse("batches:charge", args=[cook.number, position])
        for position in (1, 2, 3, 4)
    }
    wanted |= {
        reverse("batches:read", args=[cook.number, one])
        for one in ("temperature", "ph", "clarity")
    }
    wanted |= {
        reverse(f"batches:{one}", args=[cook.number]) for one in ("loss", "weigh")
    }
    assert wanted <= actions
    kept = [one for one in page.attributes("form") if "data-keep" in one]
    assert wanted == {one["action"] for one in kept}


def test_each_step_has_an_address_of_its_own_without_script(
    crew: make.Crew, browser: Client, batch: Batch
) -> None:
    cook = in_the_pot(crew, batch)
    for step in ("charge-2", "ph", "clarity", "loss", "yield"):
        assert shown(page_of(browser.get(address(cook, step)))) == [step]
    assert shown(page_of(browser.get(address(cook, "nonsense")))) == [
        "temperature",
        "clarity",
    ]


def test_no_two_inputs_share_an_id(
    crew: make.Crew, browser: Client, batch: Batch
) -> None:
    page = page_of(browser.get(address(in_the_pot(crew, batch))))
    ids = [given["id"] for _, given in page.elements if given.get("id")]
    assert len(ids) == len(set(ids))


def test_an_entry_comes_back_to_the_pot_and_stands_on_top(
    crew: make.Crew, browser: Client, batch: Batch
) -> None:
    cook = in_the_pot(crew, batch)
    answer = browser.post(*sent(browser, cook, "temperature", value="66,5"))
    assert answer.headers["Location"] == address(cook)
    page = page_of(browser.get(address(cook)))
    assert "The reading is recorded." in page.words
    assert "66.5 °C" in page.words
    assert Reading.objects.get().value == Decimal("66.5")


def test_what_is_refused_is_shown_and_leads_back_to_the_pot_all_the_same(
    crew: make.Crew, browser: Client, batch: Batch
) -> None:
    cook = in_the_pot(crew, batch)
    page = page_of(browser.post(*sent(browser, cook, "temperature", value="660")))
    assert "Not recorded yet" in page.words
    (then,) = [one for one in page.attributes("input") if one.get("name") == "then"]
    assert then["value"] == address(cook)


def test_nobody_is_sent_to_another_site(
    crew: make.Crew, browser: Client, batch: Batch
) -> None:
    cook = in_the_pot(crew, batch)
    own = reverse("batches:batch", args=[cook.number])
    for elsewhere in ("https://evil.example/", "//evil.example/", "javascript:1", "x"):
        where, form = sent(browser, cook, "temperature", value="66")
        answer = browser.post(where, {**form, "then": elsewhere})
        assert answer.headers["Location"] == own


def sent(
    browser: Client, batch: Batch, step: str, **typed: str
) -> tuple[str, dict[str, str]]:
    """Return address and fields of a step's form, as a browser would send them."""
    text = browser.get(address(batch)).content.decode()
    text = text.partition(f'data-step="{step}"')[2].partition("</section>")[0]
    page = Page()
    page.feed(text)
    form = page.attributes("form")[0]
    fields = {
        one["name"]: one.get("value", "")
        for one in page.attributes("input")
        if one.get("name") and one.get("type") not in {"checkbox", "radio"}
    }
    names = [one["name"] for one in page.attributes("select")]
    options = iter(page.elements)
    for name in names:
        for tag, given in options:
            if tag == "select" and given["name"] == name:
                break
        values = []
        for tag, given in options:
            if tag != "option":
                break
            values.append(given)
        chosen = [one for one in values if "selected" in one] or values[:1]
        fields[name] = chosen[0]["value"] if chosen else ""
    return form["action"], {**fields, **typed}


# ------------------------------------------------------------------ chosen already


def test_the_first_charge_needs_nothing_but_the_gross(
    crew: make.Crew, browser: Client, batch: Batch
) -> None:
    make.go_through(crew, batch)
    where, form = sent(browser, make.fresh(batch), "charge-1", gross_mg="1150")
    assert form["tare_mg"] == "350"  # of the pot that stood on the scale empty
    assert browser.post(where, form).status_code == 302
    row = Charge.objects.get()
    line = planning.plan_of(batch).lines[0]
    assert (row.net_mg, row.source) == (800_000, line.source)


def test_a_scale_that_does_not_carry_the_load_is_not_proposed(
    crew: make.Crew, browser: Client, batch: Batch
) -> None:
    make.go_through(crew, batch)
    bench = make.scale(crew.maker)
    Instrument.objects.filter(pk=bench.pk).update(capacity=Decimal(500))
    large = make.registered(
        crew.maker,
        Instrument(kind="scale", name="floor scale", resolution=Decimal(5)),
    )
    _, oil = sent(browser, make.fresh(batch), "charge-1")
    _, little = sent(browser, make.fresh(batch), "charge-4")
    assert oil["scale"] == str(large.pk)
    # 208 g of potash and the pot of 350 g are 558 g: too much as well.
    assert little["scale"] == str(large.pk)
    Instrument.objects.filter(pk=bench.pk).update(capacity=Decimal(900))
    _, little = sent(browser, make.fresh(batch), "charge-4")
    assert little["scale"] == str(bench.pk)


def test_tares_that_read_twice_are_written_so_that_they_read_once(
    crew: make.Crew, browser: Client, batch: Batch
) -> None:
    make.go_through(crew, batch)
    for tare_mg, words in (
        (350_125, "350.1250"),
        (350_500, "350.5"),
        (1_250_000, "1250"),
    ):
        Vessel.objects.update(tare_mg=tare_mg)
        _, form = sent(browser, make.fresh(batch), "charge-1")
        assert form["tare_mg"] == words


def test_the_vessel_goes_into_the_record_of_charge_and_yield(
    crew: make.Crew, browser: Client, batch: Batch
) -> None:
    make.go_through(crew, batch)
    browser.post(*sent(browser, make.fresh(batch), "charge-1", gross_mg="1150"))
    cook = in_the_pot(crew, batch)
    browser.post(*sent(browser, cook, "yield", gross_mg="1800"))
    vessel = make.vessel(crew.maker)
    assert Charge.objects.order_by("pk")[0].vessel == vessel
    assert BulkWeighing.objects.get().vessel == vessel


def test_potash_from_a_tin_is_weighed_by_the_tin_before_and_after(
    crew: make.Crew, browser: Client, batch: Batch
) -> None:
    potash = planning.plan_of(batch).lines[-1].source
    assert potash is not None
    containers.register(
        by=crew.maker, lot=potash.lot, fillings=[containers.Filling(net_mg=5 * make.KG)]
    )
    make.go_through(crew, batch)
    _, form = sent(browser, make.fresh(batch), "charge-4")
    assert form["by_difference"] == "True"
    assert form["tare_mg"] == ""
    _, oil = sent(browser, make.fresh(batch), "charge-1")
    assert oil["by_difference"] == "False"


# ------------------------------------------------------------------ half done, undone


def test_a_weighing_that_was_begun_comes_next_and_is_finished_here(
    crew: make.Crew, browser: Client, batch: Batch
) -> None:
    make.go_through(crew, batch)
    line = planning.plan_of(batch).lines[0]
    assert line.source is not None
    start = half_weighings.begin(
        by=crew.maker,
        batch=make.fresh(batch),
        line=line.line,
        source=line.source,
        scale=make.scale(crew.maker),
        first_mg=make.TARE_MG,
    )
    assert following(batch) == f"start-{start.pk}"
    page = page_of(browser.get(address(batch)))
    assert shown(page) == [f"start-{start.pk}"]
    browser.post(
        *sent(browser, make.fresh(batch), f"start-{start.pk}", other_mg="1150")
    )
    assert Charge.objects.get().net_mg == 800_000
    assert following(batch) == "charge-2"


def test_the_last_entry_is_undone_with_one_tap(
    crew: make.Crew, browser: Client, batch: Batch
) -> None:
    cook = in_the_pot(crew, batch)
    browser.post(*sent(browser, cook, "temperature", value="666"))  # refused
    browser.post(*sent(browser, cook, "temperature", value="66"))
    page = page_of(browser.get(address(cook)))
    undo = reverse("batches:undo", args=[cook.number])
    assert undo in [one["action"] for one in page.attributes("form")]
    text = browser.get(address(cook)).content.decode()
    form = Page()
    form.feed(text.partition(f'action="{undo}"')[2].partition("</form>")[0])
    fields = {one["name"]: one["value"] for one in form.attributes("input")}
    answer = browser.post(undo, fields)
    assert answer.headers["Location"] == address(cook)
    assert pot_of(make.fresh(cook)).last_temperature is None
    # What takes it back is itself no longer undone.
    assert undo not in browser.get(address(cook)).content.decode()


# ------------------------------------------------------------------ heat and time


def test_above_the_limit_the_screen_says_what_to_do_and_since_when(
    crew: make.Crew, browser: Client, batch: Batch
) -> None:
    cook = in_the_pot(crew, batch)
    read(crew, cook, "66", 4 * MINUTE)
    assert "TOO HOT" not in page_of(browser.get(address(cook))).words
    read(crew, cook, "74", 2 * MINUTE)
    words = page_of(browser.get(address(cook))).words
    assert "TOO HOT 74 °C, limit 70 °C" in words
    assert "Off the heat" in words
    assert "74 °C at the hottest" in words
    read(crew, cook, "66")
    words = page_of(browser.get(address(cook))).words
    assert "TOO HOT" not in words
    # 66 → 74 → 66 in 2 min each: half of each is above, and at most 4 min.
    assert "for about 2" in words
    assert "minor" in words
    for page in ("batches:batch", "quality:review"):
        assert (
            "A minor excursion"
            in page_of(browser.get(reverse(page, args=[cook.number]))).words
        )


@pytest.mark.parametrize(("ago", "is_said"), [(14, False), (16, True)])
def test_too_long_without_a_temperature_is_said(
    crew: make.Crew, browser: Client, batch: Batch, ago: int, *, is_said: bool
) -> None:
    cook = in_the_pot(crew, batch)
    now = timezone.now()
    found = pot_of(cook)
    assert found.read_since is not None
    assert found.is_unread(found.read_since + ago * MINUTE) is is_said
    read(crew, cook, "66")
    assert not pot_of(cook).is_unread(now + 15 * MINUTE)
    page = page_of(browser.get(address(cook)))
    (note,) = [given for _, given in page.elements if "data-overdue" in given]
    assert note["data-overdue"] == "15"
    assert "hidden" in note


def test_nothing_is_overdue_before_it_cooks_and_after_it_was_weighed(
    crew: make.Crew, batch: Batch
) -> None:
    assert pot_of(batch).read_since is None
    cook = in_the_pot(crew, batch)
    make.weigh_bulk(crew, cook)
    assert pot_of(make.fresh(cook)).read_since is None


def test_cautions_of_potash_stand_open_beside_the_figure(
    crew: make.Crew, browser: Client, batch: Batch
) -> None:
    make.go_through(crew, batch)
    text = browser.get(address(batch, "charge-4")).content.decode()
    step = text.partition('data-step="charge-4"')[2].partition("</section>\n  ")[0]
    assert "potash flakes" in step
    folded = step.partition("<details")[2].partition("</details>")[0]
    for words in ("Never water onto potash", "Goggles", "How hot it gets"):
        assert words.lower() in text.lower()
        assert words not in folded
    assert step.index("pot-target") < step.index("DANGER")


# ------------------------------------------------------------------ counted questions


def questions(client: Client, where: str) -> int:
    client.get(where)
    with CaptureQueriesContext(connection) as asked:
        assert client.get(where).status_code == 200
    return len(asked)


PER_KIND = 40


def more_entries(crew: make.Crew, batch: Batch) -> None:
    """Enter forty of each kind besides: hold points, charges, readings, losses, …"""
    line = make.line_of(batch, "distilled water")
    water = make.stock_of(crew, line)
    pot = make.vessel(crew.maker)
    bench = make.scale(crew.maker)
    for number in range(PER_KIND):
        make.charge(crew, batch, water, 100 + number, line=line)
        read(crew, batch, str(60 + number % 20))
        losses.record_loss(by=crew.maker, batch=batch, kind="spill", mass_mg=10)
        lab.free_alkali(crew, batch)
        hold_points.go_through(
            by=crew.maker,
            batch=batch,
            looks=[
                hold_points.Look(
                    point=hold_points.Point.TARE,
                    tare=hold_points.EmptyVessel(
                        vessel=pot, scale=bench, mass_mg=make.TARE_MG
                    ),
                )
            ],
        )


def test_the_pages_ask_no_more_with_two_hundred_entries_than_with_two(
    crew: make.Crew, browser: Client, batch: Batch
) -> None:
    """The pot screen and the batch page, while it cooks and once it was weighed."""
    few, many = in_the_pot(crew, batch), in_the_pot(crew, _opened_again(crew))
    for cook in (few, many):
        read(crew, cook, "66")
        losses.record_loss(by=crew.maker, batch=cook, kind="spill", mass_mg=10)
        lab.free_alkali(crew, cook)
    more_entries(crew, many)
    assert pot_of(many).count - pot_of(few).count == 5 * PER_KIND
    for page in ("batches:pot", "batches:batch"):
        asked = [
            questions(browser, reverse(page, args=[one.number])) for one in (few, many)
        ]
        assert asked[0] == asked[1], page
    for cook in (few, many):
        make.weigh_bulk(crew, cook)
    for page in ("batches:pot", "batches:batch"):
        asked = [
            questions(browser, reverse(page, args=[one.number])) for one in (few, many)
        ]
        assert asked[0] == asked[1], page


def _opened_again(crew: make.Crew) -> Batch:
    batch = make.open_batch(crew)
    lines = batch.formula_version.lines.select_related("material", "source_formula")
    choices: dict[int, Any] = {line.pk: make.stock_of(crew, line) for line in lines}
    planning.choose_lots(by=crew.maker, batch=batch, choices=choices)
    return batch
