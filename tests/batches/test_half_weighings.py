"""A weighing in two parts: what was read is kept, and no net is made up."""

from __future__ import annotations

import datetime
import uuid
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.test import Client
from django.urls import reverse

from batches.models import Batch, Charge, WeighingStart
from batches.services import cooking, half_weighings
from batches.services.cooking.how import How
from producer.errors import Conflict, Refusal
from producer.models import JournalEntry, RawLot, Stock, StockMovement, User, Vessel
from producer.services import containers
from tests import lab, make
from tests.database import row_counts
from tests.doors.pages import page_of

pytestmark = pytest.mark.django_db

KG = make.KG


@pytest.fixture
def browser(crew: make.Crew) -> Client:
    client = Client()
    client.force_login(crew.maker)
    return client


def finished(
    crew: make.Crew, start: WeighingStart, other_mg: int, **changes: object
) -> Charge:
    """Finish a weighing that was begun, as its page does."""
    first = start.first_mg
    gross, tare = (first, other_mg) if start.by_difference else (other_mg, first)
    facts = {"source": start.source, "scale": start.scale, **changes}
    return cooking.charge(
        by=crew.maker,
        batch=start.batch,
        line=start.line,
        gross_mg=gross,
        tare_mg=tare,
        how=How(start=start),
        unusual=make.SCENE,
        **facts,  # type: ignore[arg-type]
    )


def pot(crew: make.Crew) -> Batch:
    batch = make.open_batch(crew)
    make.go_through(crew, batch)
    return batch


def tare_of(crew: make.Crew, batch: Batch, lot: RawLot) -> tuple[str, dict[str, str]]:
    """Return where the tare for the sunflower oil is stored, and the form for it."""
    line = make.line_of(batch, "sunflower oil")
    return reverse("batches:charge_begin", args=[batch.number, line.position]), {
        "submission": str(uuid.uuid4()),
        "source": str(lot.pk),
        "scale": str(make.scale(crew.maker).pk),
        "tare_mg": "350 g",
    }


def test_scenario_08_power_cut_between_tare_and_gross(
    browser: Client, crew: make.Crew
) -> None:
    batch, lot = pot(crew), make.released_lot(crew, make.sunflower(crew.maker))
    begin, form = tare_of(crew, batch, lot)
    assert browser.post(begin, form).status_code == 302
    # The power is cut here: the tare is kept, and there is no net.
    (start,) = half_weighings.open_starts(batch)
    assert (start.first_mg, start.source_id, start.batch) == (350_000, lot.pk, batch)
    assert half_weighings.all_open_starts() == [start]
    assert not Charge.objects.exists()
    assert not StockMovement.objects.filter(kind="draw").exists()
    page = page_of(browser.get(reverse("batches:batch", args=[batch.number])))
    assert "Half weighed: sunflower oil" in page.words
    assert f"{lot.code}, tare 350 g" in page.words
    # It stands in the way of the end until it is finished, or taken back with a reason.
    with pytest.raises(Refusal, match="Say why"):
        half_weighings.take_back(by=crew.maker, start=start, reason=" ")
    finish = reverse("batches:start_finish", args=[batch.number, start.pk])
    sent = {"submission": str(uuid.uuid4()), "other_mg": "1150 g"}
    assert "350 g" in page_of(browser.get(finish)).words
    assert browser.post(finish, sent).status_code == 302
    row = Charge.objects.get()
    assert (row.gross_mg, row.tare_mg, row.net_mg) == (1_150_000, 350_000, 800_000)
    assert (row.start, row.source_id) == (start, lot.pk)
    assert row.line == make.line_of(batch, "sunflower oil")
    assert half_weighings.open_starts(batch) == []


def test_scenario_08_the_batch_is_not_finished_over_a_half_weighing(
    crew: make.Crew,
) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    start = lab.half_weighing(crew, make.fresh(batch))
    with pytest.raises(Refusal, match=r"weighing stands incomplete: .*tare 350 g"):
        make.weigh_bulk(crew, batch)
    half_weighings.take_back(by=crew.maker, start=start, reason="the wrong jug")
    make.weigh_bulk(crew, batch)
    # Behind the yield none can be begun, and finishing asks all the same.
    row = WeighingStart.objects.get(pk=start.pk)
    row.pk, row.supersedes, row._state.adding = None, None, True
    row.save(force_insert=True)
    with pytest.raises(Refusal, match="stands incomplete"):
        cooking.finish(by=crew.maker, batch=batch)


def test_taking_back_keeps_what_was_read_and_says_why(crew: make.Crew) -> None:
    start = lab.half_weighing(crew, pot(crew))
    row = half_weighings.take_back(by=crew.maker, start=start, reason="wrong jug")
    assert (row.supersedes, row.is_void, row.reason) == (start, True, "wrong jug")
    assert WeighingStart.objects.get(pk=start.pk).first_mg == make.TARE_MG
    assert half_weighings.open_starts(start.batch) == []
    with pytest.raises(Conflict):
        half_weighings.take_back(by=crew.maker, start=start, reason="again")
    with pytest.raises(Conflict):
        finished(crew, start, KG)


def test_a_half_weighing_is_finished_once(crew: make.Crew) -> None:
    start = lab.half_weighing(crew, pot(crew))
    row = finished(crew, start, KG)
    with pytest.raises(Conflict, match="finished already"):
        finished(crew, start, KG)
    with pytest.raises(Conflict, match="finished already"):
        half_weighings.take_back(by=crew.maker, start=start, reason="no")
    again = cooking.amend_charge(
        by=crew.maker, charge=row, gross_mg=KG + 1, tare_mg=350_000, reason="misread"
    )
    assert again.start == start


@pytest.mark.parametrize("changed", ["tare", "source", "scale", "line"])
def test_finishing_keeps_what_was_stored(crew: make.Crew, changed: str) -> None:
    batch = pot(crew)
    lot = make.released_lot(crew, make.sunflower(crew.maker))
    start = lab.half_weighing(crew, batch, lot.stock)
    other = make.released_lot(crew, make.sunflower(crew.maker))
    facts: dict[str, Any] = {
        "by": crew.maker,
        "batch": batch,
        "line": start.line,
        "source": lot.stock,
        "scale": start.scale,
        "gross_mg": KG,
        "tare_mg": start.first_mg,
        "how": How(start=start),
        "unusual": make.SCENE,
    }
    second = make.scale(crew.maker)
    second.pk, second.name, second._state.adding = None, "second scale", True
    second.save()
    wrongs: dict[str, dict[str, Any]] = {
        "tare": {"tare_mg": start.first_mg + 1},
        "source": {"source": other.stock},
        "scale": {"scale": second},
        "line": {"line": make.line_of(batch, "coconut oil")},
    }
    wrong = wrongs[changed]
    before = row_counts()
    with pytest.raises(Refusal, match="was begun as"):
        cooking.charge(**{**facts, **wrong})
    assert row_counts() == before
    assert cooking.charge(**facts).start == start


def test_finishing_copies_container_vessel_and_difference(crew: make.Crew) -> None:
    batch = pot(crew)
    lot = make.released_lot(crew, make.sunflower(crew.maker))
    tins = containers.register(
        by=crew.maker, lot=lot, fillings=containers.alike(count=2, each_mg=2 * KG)
    )
    jug = make.registered(crew.maker, Vessel(name="oil jug", tare_mg=420_000))
    start = lab.half_weighing(
        crew,
        batch,
        lot.stock,
        container=tins[1],
        vessel=jug,
        by_difference=True,
        first_mg=2_300_000,
    )
    row = finished(crew, start, 1_500_000)
    assert (row.gross_mg, row.tare_mg, row.net_mg) == (2_300_000, 1_500_000, 800_000)
    assert (row.by_difference, row.container, row.vessel) == (True, tins[1], jug)
    assert StockMovement.objects.get(kind="draw").container == tins[1]


@pytest.mark.parametrize("number", range(5))
def test_what_could_not_be_charged_is_not_begun(crew: make.Crew, number: int) -> None:
    batch = make.open_batch(crew)
    lot = make.released_lot(crew, make.sunflower(crew.maker))
    facts = {
        "batch": batch,
        "line": make.line_of(batch, "sunflower oil"),
        "source": lot.stock,
        "scale": make.scale(crew.maker),
        "first_mg": 350_000,
    }
    with pytest.raises(Refusal, match="hold points"):
        half_weighings.begin(by=crew.maker, **facts)  # type: ignore[arg-type]
    make.go_through(crew, batch)
    with pytest.raises(PermissionDenied):
        half_weighings.begin(by=crew.reviewer, **facts)  # type: ignore[arg-type]
    wrong: list[tuple[dict[str, object], str]] = [
        ({"source": make.stock_of(crew, make.line_of(batch, "coconut oil"))}, "line"),
        ({"scale": make.thermometer(crew.maker)}, "scale"),
        ({"by_difference": True, "first_mg": 0}, "weighs something"),
        ({"by_difference": True}, "choose the container"),
        (
            {
                "line": make.line_of(batch, "potash flakes"),
                "source": make.stock_of(crew, make.line_of(batch, "potash flakes")),
            },
            "oils first",
        ),
    ]
    changes, words = wrong[number]
    before = row_counts()
    with pytest.raises(Refusal, match=words):
        half_weighings.begin(by=crew.maker, **{**facts, **changes})  # type: ignore[arg-type]
    assert row_counts() == before
    assert half_weighings.begin(by=crew.maker, **facts)  # type: ignore[arg-type]


def test_an_abandoned_batch_leaves_no_open_start_in_the_list(crew: make.Crew) -> None:
    start = lab.half_weighing(crew, pot(crew))
    cooking.abandon(by=crew.maker, batch=make.fresh(start.batch), reason="no gas")
    assert half_weighings.all_open_starts() == []


def test_scenario_09_double_tap_stores_one_tare_and_finishes_it_once(
    browser: Client, crew: make.Crew
) -> None:
    batch, lot = pot(crew), make.released_lot(crew, make.sunflower(crew.maker))
    begin, tare = tare_of(crew, batch, lot)
    written = JournalEntry.objects.count()
    for _ in range(2):
        assert browser.post(begin, tare).status_code == 302
    assert JournalEntry.objects.count() == written + 1
    start = WeighingStart.objects.get()
    finish = reverse("batches:start_finish", args=[batch.number, start.pk])
    gross = {"submission": str(uuid.uuid4()), "other_mg": "1150 g"}
    for _ in range(2):
        assert browser.post(finish, gross).status_code == 302
    assert JournalEntry.objects.count() == written + 2
    assert Charge.objects.get().net_mg == 800_000
    assert Stock.objects.get(pk=lot.pk).on_hand_mg == 4_200_000


def test_scenario_09_a_charge_that_arrives_twice_is_one(
    browser: Client, crew: make.Crew
) -> None:
    batch = pot(crew)
    line = make.line_of(batch, "sunflower oil")
    lot = make.released_lot(crew, make.sunflower(crew.maker))
    address = reverse("batches:charge", args=[batch.number, line.position])
    form = {
        "submission": str(uuid.uuid4()),
        "source": str(lot.pk),
        "scale": str(make.scale(crew.maker).pk),
        "gross_mg": "1150 g",
        "tare_mg": "350 g",
    }
    written = JournalEntry.objects.count()
    assert browser.post(address, form).status_code == 302
    again = page_of(browser.post(address, form, follow=True))
    assert "recorded already; nothing was done twice" in again.words
    assert JournalEntry.objects.count() == written + 1
    assert Charge.objects.count() == StockMovement.objects.filter(kind="draw").count()
    assert Charge.objects.count() == 1
    # Typed anew it is another weighing, however alike.
    form["submission"] = str(uuid.uuid4())
    form["unusual"] = "a second jug of the same"
    assert browser.post(address, form).status_code == 302
    assert Charge.objects.count() == 2


def test_the_vessel_says_the_tare_and_a_wrong_one_is_asked_about(
    browser: Client, crew: make.Crew, maker: User
) -> None:
    batch = pot(crew)
    line = make.line_of(batch, "sunflower oil")
    lot = make.released_lot(crew, make.sunflower(crew.maker))
    jug = make.registered(maker, Vessel(name="oil jug", tare_mg=420_000))
    address = reverse("batches:charge", args=[batch.number, line.position])
    form = {
        "submission": str(uuid.uuid4()),
        "source": str(lot.pk),
        "scale": str(make.scale(crew.maker).pk),
        "gross_mg": "1220 g",
        "tare_mg": "",
    }
    assert "This is needed." in page_of(browser.post(address, form)).words
    form |= {"vessel": str(jug.pk), "tare_mg": "350 g"}
    words = page_of(browser.post(address, form)).words
    assert "oil jug is written down as 420 g empty, not 350 g" in words
    form["tare_mg"] = ""
    assert browser.post(address, form).status_code == 302
    row = Charge.objects.get()
    assert (row.tare_mg, row.net_mg, row.vessel) == (420_000, 800_000, jug)
    again = cooking.amend_charge(
        by=maker, charge=row, gross_mg=1_230_000, tare_mg=420_000, reason="misread"
    )
    assert again.vessel == jug


def test_a_paper_line_may_be_begun_with_its_own_time(crew: make.Crew) -> None:
    an_hour_ago = datetime.datetime.now(datetime.UTC) - datetime.timedelta(hours=1)
    batch = make.open_batch(crew)
    make.go_through(crew, batch, an_hour_ago)
    start = lab.half_weighing(crew, batch, observed_at=an_hour_ago)
    assert start.observed_at == an_hour_ago
    lot = RawLot.objects.get(pk=start.source_id)
    assert half_weighings.words_of(start) == f"{lot.code}, tare 350 g"
