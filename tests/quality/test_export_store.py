"""Exports: containers, counts, tares, care of people, and what it cost."""

from __future__ import annotations

import csv
import datetime
import io
import json
from decimal import Decimal
from pathlib import Path

import pytest
from django.core.management import call_command
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from batches.models import Batch, Cost
from batches.services import cooking, costs, half_weighings, planning, titrating
from batches.services.cooking.how import How
from producer.errors import NotEnough
from producer.models import Instrument, Premises, RawLot
from producer.services import counting, prices, safety
from quality.services.export_tables import TABLES
from tests import lab, make
from tests.batches.test_by_difference import oil_in_tins
from tests.doors.pages import page_of

pytestmark = pytest.mark.django_db
NAMES = {
    *("containers", "container_weighings", "stock_counts", "tare_weighings"),
    *("safety_notes", "costs"),
}


@pytest.fixture
def lived(crew: make.Crew) -> Batch:
    """Return a paste out of a tin that was weighed, counted and paid for."""
    Premises.objects.update(currency="EUR")
    today = timezone.localdate()
    for facts in (
        {"kind": "training", "person": crew.maker.person, "topic": "lye"},
        {"kind": "training", "person": crew.reviewer.person, "topic": "not at the pot"},
        {"kind": "first_aid", "person": None, "topic": "eyewash flushed"},
    ):
        safety.record_note(
            by=crew.maker,
            done_on=today - datetime.timedelta(days=400),
            due_on=today - datetime.timedelta(days=35),
            **facts,
        )
    oil, (tin, _) = oil_in_tins(crew, 2)
    prices.set_price(by=crew.maker, lot=oil, paid_hundredths=1205)
    batch = make.open_batch(crew)
    make.go_through(crew, batch)
    lab.half_weighing(crew, batch, oil.stock, container=tin)
    with pytest.raises(NotEnough):
        charge(crew, batch, oil, 5 * make.KG, container=tin)
    (start,) = batch.weighing_starts.all()
    half_weighings.take_back(by=crew.maker, start=start, reason="weighed in one go")
    lines = list(batch.formula_version.lines.select_related("material"))
    chosen = {line.pk: make.stock_of(crew, line) for line in lines}
    planning.choose_lots(by=crew.maker, batch=batch, choices=chosen)
    charge(crew, batch, oil, 800_000, container=tin)
    for planned in planning.plan_of(batch).lines[1:]:
        source, target_mg = chosen[planned.line.pk], planned.target_mg
        assert target_mg is not None
        make.charge(crew, batch, source, target_mg, line=planned.line)
    batch = make.complete(crew, batch)
    others = another_lot(crew)
    counting.take_stock(
        by=crew.maker,
        counts=[
            counting.Counted(
                lot=oil, container=tin, counted_mg=199_000, reason="stuck to the tin"
            ),
            counting.Counted(
                lot=others, container=others.containers.all()[0], counted_mg=make.KG
            ),
        ],
        note="end of month",
    )
    row = lab.container(crew, oil, container=tin, gross_mg=199_050 + make.TARE_MG)
    assert row.book_mg == 199_000
    lot = Instrument(kind="indicator", name="phenolphthalein 7")
    lab.titration(
        crew,
        batch.stock,
        titrating.Replicate(sample_mg=10_000, volume_ml=Decimal("1.2")),
        kind="free_alkali",
        setup={
            "concentration": Decimal("0.1"),
            "indicator": make.registered(crew.maker, lot),
        },
    )
    gas = costs.record_cost(
        by=crew.maker, batch=batch, kind=Cost.Kind.ENERGY, amount_hundredths=90
    )
    costs.amend_cost(by=crew.maker, cost=gas, amount_hundredths=5, reason="misread")
    return make.fresh(batch)


def another_lot(crew: make.Crew) -> RawLot:
    """Return a lot that is in no batch, with all that the store knows of it."""
    lot, (tin, _) = oil_in_tins(crew, 2)
    lab.container(
        crew, lot, container=tin, gross_mg=make.KG + make.TARE_MG, tare_mg=make.TARE_MG
    )
    prices.set_price(by=crew.maker, lot=lot, paid_hundredths=99_900)
    return lot


def charge(
    crew: make.Crew, batch: Batch, oil: RawLot, net_mg: int, **how: object
) -> None:
    """Weigh some oil in."""
    cooking.charge(
        by=crew.maker,
        batch=batch,
        line=make.line_of(batch, "sunflower oil"),
        source=oil.stock,
        scale=make.scale(crew.maker),
        gross_mg=net_mg + make.TARE_MG,
        tare_mg=make.TARE_MG,
        unusual="a test",
        how=How(**how),  # type: ignore[arg-type]
    )


@pytest.fixture
def folder(lived: Batch, tmp_path: Path) -> Path:
    target = tmp_path / "out"
    call_command("export", str(target), batch=lived.number, stdout=io.StringIO())
    return target


def table(folder: Path, name: str) -> list[dict[str, str]]:
    with (folder / "tables" / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_what_the_store_knows_of_the_lots_is_handed_out(
    folder: Path, lived: Batch
) -> None:
    oil = lived.charges.filter(container__isnull=False)[0].source.code
    first, second = table(folder, "containers")
    assert (first["lot"], first["container"]) == (oil, f"{oil}/1")
    assert (first["filled_mg"], first["book_mg"]) == ("1000000", "199000")
    assert first["first_opened_at"]
    assert second["book_mg"] == "1000000"
    (weighing,) = table(folder, "container_weighings")
    assert (weighing["container"], weighing["book_mg"]) == (f"{oil}/1", "199000")
    assert (weighing["net_mg"], weighing["net_less_book_mg"]) == ("199050", "50")
    assert weighing["in_words"]
    (count,) = table(folder, "stock_counts")
    assert (count["container"], count["note"]) == (f"{oil}/1", "end of month")
    assert (count["book_mg"], count["counted_mg"]) == ("200000", "199000")
    assert (count["difference_mg"], count["reason"]) == ("-1000", "stuck to the tin")
    moved = {row["amount_mg"]: row["container"] for row in table(folder, "movements")}
    assert moved["-800000"] == f"{oil}/1"
    begun, *_ = table(folder, "weighings_begun")
    assert begun["container"] == f"{oil}/1"
    (titration,) = table(folder, "titrations")
    assert titration["indicator"] == "phenolphthalein 7"
    (tare,) = table(folder, "tare_weighings")
    assert (tare["vessel"], tare["empty_mg"]) == ("steel pot", str(make.TARE_MG))
    assert tare["agrees"] == "yes"


def test_amounts_are_texts_with_two_decimals_and_their_currency(
    folder: Path, lived: Batch
) -> None:
    old, new = table(folder, "costs")
    assert (old["amount"], new["amount"], new["currency"]) == ("0.90", "0.05", "EUR")
    assert new["supersedes"] == old["id"]
    paid = {row["material"]: row["paid"] for row in table(folder, "lots")}
    assert paid["sunflower oil"] == "12.05"
    assert paid["coconut oil"] == ""
    found = json.loads(
        (folder / "batches" / lived.number / "tables.json").read_text("utf-8")
    )
    assert [row["amount"] for row in found["costs"]] == ["0.90", "0.05"]


def test_who_was_trained_on_the_day_and_only_of_those_who_were_there(
    folder: Path, crew: make.Crew
) -> None:
    rows = table(folder, "safety_notes")
    assert {(row["person"], row["topic"]) for row in rows} == {
        (crew.maker.person.name, "lye"),
        ("", "eyewash flushed"),
    }
    assert {row["was_overdue"] for row in rows} == {"yes"}
    assert {row["day_of_work"] for row in rows} == {timezone.localdate().isoformat()}


def test_nothing_of_another_lot_and_no_other_count_of_the_stock_take(
    folder: Path,
) -> None:
    others = RawLot.objects.get(paid_hundredths=99_900)
    for path in folder.glob("tables/*.csv"):
        assert others.code not in path.read_text("utf-8"), path.name
    assert others.code.encode() not in (
        next(folder.glob("batches/*/tables.json")).read_bytes()
    )


def test_a_draw_that_was_refused_is_in_the_journal_of_the_export(folder: Path) -> None:
    lines = (folder / "journal" / "extract.jsonl").read_text("utf-8").splitlines()
    refused = [row for row in map(json.loads, lines) if row["act"] == "draw refused"]
    assert [json.loads(row["after"])["wanted_mg"] for row in refused] == [5_000_000]


def test_the_readme_says_who_may_see_what_was_paid(folder: Path) -> None:
    words = " ".join((folder / "README.txt").read_text("utf-8").split())
    assert "for whoever may see what was paid, not for the public" in words


def test_what_was_paid_is_not_on_the_page_of_a_bottle(
    crew: make.Crew, lived: Batch, client: Client
) -> None:
    batch = make.signed(crew.reviewer, lived, "release")
    bottle, _ = make.bottles_of(
        make.filled(crew, make.released_liquid(crew, paste=batch))
    )
    words = page_of(client.get(reverse("quality:bottle", args=[bottle.code]))).words
    assert batch.formula_version.formula.name  # control: it was made of that paste
    for amount in ("12.05", "0.90", "EUR"):
        assert amount not in words


def test_a_table_asks_the_same_number_of_questions_however_many_rows(
    crew: make.Crew, lived: Batch
) -> None:
    def asked() -> dict[str, int]:
        counts = {}
        for one in TABLES:
            if one.name in NAMES:
                with CaptureQueriesContext(connection) as queries:
                    assert list(one.rows(lived)), one.name
                counts[one.name] = len(queries)
        return counts

    before = asked()
    oil = RawLot.objects.get(
        stock__code=lived.charges.filter(container__isnull=False)[0].source.code
    )
    for tin in oil.containers.all():
        lab.container(crew, oil, container=tin, gross_mg=make.KG + make.TARE_MG)
    for kind in Cost.Kind:
        costs.record_cost(by=crew.maker, batch=lived, kind=kind, amount_hundredths=100)
    counting.take_stock(
        by=crew.maker,
        counts=[
            counting.Counted(lot=oil, container=tin, counted_mg=150_000, reason="used")
            for tin in oil.containers.all()
        ],
    )
    assert asked() == before
