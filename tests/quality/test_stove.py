"""What was done at the stove, in what is signed, shown, printed and handed out."""

from __future__ import annotations

import csv
import datetime
import io
import json
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command
from django.utils import timezone

from batches.models import Batch, Charge, Discrepancy, HoldPoint
from batches.services import (
    cooking,
    discrepancies,
    half_weighings,
    hold_points,
    titrating,
    transcribing,
)
from batches.services.entries import Entries
from producer.errors import Refusal
from quality.documents.dossier import dossier_pdf
from quality.services import record, signing, still_signed, stove
from quality.services.reading_order.exceptions import exceptions_of
from quality.services.reading_order.timeline import timeline
from quality.services.record import facts_of
from quality.services.record_rows import moment_text
from quality.services.reviewing import review_of
from tests import kept, lab, make, uploads
from tests.quality.test_batch_sheet import pages_of
from tests.quality.test_exporting import recomputed

pytestmark = pytest.mark.django_db


def lived(crew: make.Crew) -> Batch:
    """Return a cook with a bad hold point, a half weighing taken back, and a sheet."""
    batch = make.open_batch(crew)
    hold_points.go_through(
        by=crew.maker,
        batch=batch,
        looks=[
            hold_points.Look(
                point=HoldPoint.Point.LINE_CLEARANCE,
                in_order=False,
                note="labels of the last batch lay there",
            )
        ],
    )
    make.go_through(crew, batch)
    line = make.line_of(batch, "sunflower oil")
    start = half_weighings.begin(
        by=crew.maker,
        batch=batch,
        line=line,
        source=make.stock_of(crew, line),
        scale=make.scale(crew.maker),
        first_mg=make.TARE_MG,
    )
    half_weighings.take_back(by=crew.maker, start=start, reason="telephone rang")
    make.charge_all(crew, batch)
    sheet = transcribing.begin(
        by=crew.maker,
        batch=batch,
        note="both sides; the power was out",
        upload=uploads.picture("sheet.png"),
    )
    make.read_ph(crew, batch, transcription=sheet, observed_at=timezone.now())
    return make.fresh(batch)


def finished(crew: make.Crew, batch: Batch) -> Batch:
    cooking.record_reading(
        by=crew.maker, batch=batch, characteristic="clarity", clarity="clear"
    )
    make.weigh_bulk(crew, batch)
    cooking.finish(by=crew.maker, batch=batch)
    return make.fresh(batch)


def discrepancy(crew: make.Crew, batch: Batch) -> Discrepancy:
    """Keep 30 g of potash that the batch did not take any more."""
    charges = Charge.objects.filter(batch=batch)
    lot = charges.get(source__lot__material__kind="potash").source
    return discrepancies.record(
        by=crew.maker,
        batch=batch,
        entry=discrepancies.Entry(
            kind="charge",
            title="Weigh potash flakes",
            path="/",
            fields={"gross_mg": "380 g", "tare_mg": "350 g"},
            shown=[["Gross", "380 g"], ["Tare", "350 g"]],
            stock=lot,
            net_mg=30_000,
            figures={"gross_mg": 380_000, "tare_mg": 350_000},
            observed_at=timezone.now(),
        ),
        refused="What came out has been weighed already.",
    )


def explained(crew: make.Crew, row: Discrepancy, *, went_in: bool) -> None:
    discrepancies.explain(
        by=crew.reviewer,
        discrepancy=row,
        reason="the jug was poured back",
        went_in=went_in,
    )


# ------------------------------------------------------------------ what is signed


def test_a_signature_signs_hold_points_weighings_begun_and_sheets(
    crew: make.Crew,
) -> None:
    batch = make.signed(crew.reviewer, finished(crew, lived(crew)), "release")
    signature = batch.signatures.get()
    facts = record.part(signature.record, "facts")
    points = [(one["point"], one["in_order"]) for one in facts["hold_points"]]
    assert points[0] == ("line_clearance", False)
    assert len(points) == 6
    assert facts["hold_points"][-1]["empty_mg"] == make.TARE_MG
    first, taken_back = facts["starts"]
    assert (first["first_mg"], taken_back["is_void"]) == (make.TARE_MG, True)
    (sheet,) = facts["sheets"]
    attachment = batch.transcriptions.get().attachment
    assert attachment is not None
    assert sheet["photograph_sha256"] == attachment.sha256
    by_paper = [one for one in facts["readings"] if "sheet" in one]
    assert [one["sheet"] for one in by_paper] == [sheet["id"]]
    assert list(signing.faults()) == []


def test_a_weighing_that_was_begun_and_is_still_open_stops_the_release(
    crew: make.Crew,
) -> None:
    batch = finished(crew, lived(crew))
    row = batch.weighing_starts.earliest("pk")
    assert not list(stove.obstacles(Entries(batch), []))  # control: it is taken back
    # No page begins one of a finished batch; a row of another time may be there.
    row.pk, row.is_void, row.supersedes = None, False, None
    row._state.adding = True
    row.save(force_insert=True)
    (found,) = stove.obstacles(Entries(batch), [])
    assert found.startswith(f"A weighing of {row.source.code} was begun and neither")
    with pytest.raises(Refusal, match="begun and neither finished nor taken back"):
        make.sign(crew.reviewer, batch, "release")


def test_a_record_from_before_there_were_any_reads_the_same(crew: make.Crew) -> None:
    """Keys that came later are not there where there is nothing to say."""
    batch = make.cooked_batch(crew)
    old = Entries(
        batch,
        only={
            "charges": [row.pk for row in batch.charges.all()],
            "readings": [row.pk for row in batch.readings.all()],
            "weighings": [row.pk for row in batch.bulk_weighings.all()],
        },
    )
    facts = facts_of(batch, old)
    later = {"hold_points", "starts", "sheets"}
    assert not later & facts.keys()
    assert set(facts["charges"][0]) == {
        *("id", "gross_mg", "tare_mg", "net_mg", "supersedes", "is_void", "reason"),
        *("entered_by", "entered_at", "observed_at", "source", "line", "scale"),
        *("certificate_version", "figure", "figure_origin", "figure_uncertainty"),
        "figure_distribution",
    }
    assert later & facts_of(batch).keys() == {"hold_points"}  # control


@pytest.mark.parametrize("table", ["holdpoint", "weighingstart", "transcription"])
def test_verify_finds_a_signed_row_that_was_taken_away(
    crew: make.Crew, table: str
) -> None:
    """What is signed is read again: a row that is missing is a fault."""
    batch = make.signed(crew.reviewer, finished(crew, lived(crew)), "release")
    signature = batch.signatures.get()
    facts = json.loads(signature.record)["facts"]
    key = {"holdpoint": "hold_points", "weighingstart": "starts"}.get(table, "sheets")
    facts[key] = facts[key][:-1]
    changed = {**json.loads(signature.record), "facts": facts}
    signature.record = json.dumps(changed)
    assert still_signed.fault_of_record(signature) != ""


# ------------------------------------------------------------------ what is shown


def unusual(crew: make.Crew, batch: Batch) -> list[str]:
    review = review_of(batch, by=crew.reviewer)
    found = exceptions_of(
        batch,
        review,
        [],
        shown=[],
        is_signed=False,
        events=timeline(review.entries),
        used=[],
    )
    return [one.sentence for one in found.unusual]


def test_the_exceptions_tell_what_was_not_in_order_and_what_was_on_paper(
    crew: make.Crew,
) -> None:
    batch = lived(crew)
    said = unusual(crew, batch)
    (point,) = [one for one in said if one.startswith("Hold point")]
    assert "line clearance was not in order" in point
    assert "labels of the last batch lay there" in point
    assert "looked at again: in order" in point
    (paper,) = [one for one in said if "transcribed from paper sheet" in one]
    assert paper.startswith("1 entry is transcribed")
    assert "with its photograph: both sides; the power was out" in paper
    plain = unusual(crew, make.cooked_batch(crew))
    assert not [one for one in plain if "paper" in one or "Hold point" in one]


def test_the_timeline_has_hold_points_and_weighings_begun(crew: make.Crew) -> None:
    told = {event.what: event for event in timeline(Entries(lived(crew)))}
    assert told["hold point: vessel and tare"].words.startswith("in order: Agrees.")
    assert told["weighing begun: sunflower oil"].words == "taken back"
    assert told["pH"].paper is not None
    assert told["charge of potash flakes"].paper is None


def test_an_open_discrepancy_stops_a_release_until_it_is_settled(
    crew: make.Crew,
) -> None:
    batch = make.cooked_batch(crew)
    row = discrepancy(crew, batch)
    found = review_of(batch, by=crew.reviewer)
    assert any("It is not settled." in one for one in found.obstacles)
    with pytest.raises(Refusal, match="not settled"):
        make.sign(crew.reviewer, batch)
    explained(crew, row, went_in=False)
    found = review_of(make.fresh(batch), by=crew.reviewer)
    assert not any("iscrepancy" in one for one in found.obstacles)
    assert any("the jug was poured back" in one for one in found.notes)
    assert found.needs_reason
    done = make.signed(crew.reviewer, make.fresh(batch), "release")
    (signed,) = json.loads(done.signatures.get().record)["around"]["discrepancies"]
    assert (signed["kind"], signed["outcome"]) == ("charge", "explained")
    assert row.stock is not None
    assert signed["said"] == f"30 g of {row.stock.code}"
    assert signed["shown"] == [["Gross", "380 g"], ["Tare", "350 g"]]
    figures = {"gross_mg": 380_000, "tare_mg": 350_000, "net_mg": 30_000}
    assert signed["figures"] == {"lot": row.stock.code, **figures}
    assert signed["observed_at"] == moment_text(row.observed_at)
    assert list(signing.faults()) == []


def stops(crew: make.Crew, batch: Batch) -> list[str]:
    obstacles = review_of(make.fresh(batch), by=crew.reviewer).obstacles
    return [one for one in obstacles if "is in it, or may be" in one]


def test_potash_that_went_in_and_no_weighing_counts_is_titrated_before_a_release(
    crew: make.Crew,
) -> None:
    batch = make.cooked_batch(crew)
    lab.free_alkali(crew, batch, "0.9")  # before: it does not know of it
    row = discrepancy(crew, batch)
    explained(crew, row, went_in=True)
    assert row.stock is not None
    (said,) = stops(crew, batch)
    assert f"30 g of {row.stock.code} is in it, or may be." in said
    assert "Titrate the free alkali" in said
    with pytest.raises(Refusal, match="No weighing counts it"):
        make.sign(crew.reviewer, make.fresh(batch))
    # Dated before it went in, although it is entered after.
    early = row.observed_at - datetime.timedelta(minutes=1)
    lab.free_alkali(crew, batch, "0.9", observed_at=early)
    assert stops(crew, batch)
    after = lab.free_alkali(crew, batch, "0.9")
    assert not stops(crew, batch)
    titrating.take_back_titration(by=crew.maker, titration=after, reason="wrong flask")
    assert stops(crew, batch)
    lab.free_alkali(crew, batch, "0.9")
    notes = review_of(make.fresh(batch), by=crew.reviewer).notes
    assert any(f"30 g of {row.stock.code}" in one for one in notes)
    assert make.signed(crew.reviewer, make.fresh(batch), "release").status == "released"


def test_a_device_with_a_clock_ahead_cannot_ask_for_a_titration_for_ever(
    crew: make.Crew,
) -> None:
    batch = make.cooked_batch(crew)
    ahead = timezone.now() + datetime.timedelta(hours=20)
    entry = kept.entry(kind="charge", observed_at=ahead)  # of a lot nobody could read
    row = discrepancies.record(
        by=crew.maker, batch=batch, entry=entry, refused="No such lot."
    )
    explained(crew, row, went_in=True)
    assert stops(crew, batch)
    lab.free_alkali(crew, batch, "0.9")
    assert not stops(crew, batch)


def test_what_moves_no_alkali_or_went_nowhere_needs_no_titration(
    crew: make.Crew,
) -> None:
    batch = make.cooked_batch(crew)
    water = make.released_lot(crew, make.water(crew.maker)).stock
    entry = kept.entry(kind="charge", stock=water, net_mg=9_000)
    row = discrepancies.record(
        by=crew.maker, batch=batch, entry=entry, refused="Too late."
    )
    explained(crew, row, went_in=True)
    explained(crew, discrepancy(crew, batch), went_in=False)
    assert stops(crew, batch) == []


def test_a_signed_batch_with_potash_nobody_counts_can_only_be_rejected(
    crew: make.Crew,
) -> None:
    batch = make.signed(crew.reviewer, make.cooked_batch(crew), "release")
    explained(crew, discrepancy(crew, batch), went_in=True)
    assert make.fresh(batch).status == "on_hold"
    (said,) = stops(crew, batch)
    assert said.endswith("Reject it.")
    make.sign(crew.reviewer, make.fresh(batch), "reject")


def test_in_a_dilution_the_ph_is_read_after_it(crew: make.Crew) -> None:
    """It is too thin to be titrated."""
    liquid = make.cooked_batch(crew, make.liquid_version(crew))
    entry = kept.entry(kind="charge", title="Weigh something")
    row = discrepancies.record(
        by=crew.maker, batch=liquid, entry=entry, refused="No such lot."
    )
    explained(crew, row, went_in=True)
    (said,) = stops(crew, liquid)
    assert "Read the pH" in said
    make.read_ph(crew, liquid)
    assert stops(crew, liquid) == []


def test_one_that_arrives_after_the_signature_leaves_the_signature_whole(
    crew: make.Crew,
) -> None:
    batch = make.signed(crew.reviewer, make.cooked_batch(crew), "release")
    discrepancy(crew, batch)
    assert list(signing.faults()) == []
    assert any(
        "not settled" in one for one in review_of(batch, by=crew.reviewer).obstacles
    )


def test_the_pause_before_a_self_review_counts_from_a_hold_point_too(
    crew: make.Crew,
) -> None:
    batch = make.open_batch(crew)
    assert Entries(batch).last_at == batch.entered_at
    make.go_through(crew, batch)
    looked = HoldPoint.objects.latest("pk").entered_at
    assert Entries(batch).last_at == looked > batch.entered_at


# ------------------------------------------------------------------ what is handed out


def test_the_dossier_has_it_on_paper(crew: make.Crew) -> None:
    batch = lived(crew)
    row = discrepancy(crew, batch)
    assert row.stock is not None
    words = " ".join(pages_of(dossier_pdf(batch, printed_by="Mirja Aalto")))
    for sentence in (
        "Hold points",
        "NOT in order",
        "labels of the last batch lay there",
        "Weighings begun",
        "telephone rang",
        "transcribed from paper sheet",
        "Paper sheets that entries were copied from",
        "Not settled.",
        "Weigh potash flakes",
        "Gross 380 g; Tare 350 g",
    ):
        assert sentence in words, sentence
    assert f"30 g of {row.stock.code}" in words


def test_an_export_of_a_discrepancy_says_what_was_sent(
    crew: make.Crew, tmp_path: Path
) -> None:
    batch = make.cooked_batch(crew)
    row = discrepancy(crew, batch)
    assert row.stock is not None
    target = tmp_path / "out"
    call_command("export", str(target), batch=batch.number, stdout=io.StringIO())
    (line,) = rows(target, "discrepancies")
    assert (line["what"], line["sent"]) == (
        "Weigh potash flakes",
        "Gross: 380 g; Tare: 350 g",
    )
    assert (line["lot"], line["net_mg"]) == (row.stock.code, "30000")
    assert (line["gross_mg"], line["tare_mg"]) == ("380000", "350000")
    assert line["observed_at"]
    readme = " ".join((target / "README.txt").read_text().split())
    assert "discrepancies as they were sent, in words and in figures" in readme


def test_an_export_has_the_tables_and_the_photograph(
    crew: make.Crew, tmp_path: Path
) -> None:
    batch = make.signed(crew.reviewer, finished(crew, lived(crew)), "release")
    target = tmp_path / "out"
    call_command("export", str(target), batch=batch.number, stdout=io.StringIO())
    done = recomputed(target)
    assert done.returncode == 0, done.stdout
    (sheet,) = rows(target, "paper_sheets")
    photograph = next((target / "attachments").glob("*-sheet.png"))
    assert sheet["attachment_sha256"].startswith(photograph.name.split("-")[0])
    points = rows(target, "hold_points")
    assert (points[0]["point"], points[0]["in_order"]) == ("line_clearance", "no")
    assert points[-1]["empty_mg"] == str(make.TARE_MG)
    assert [one["is_open"] for one in rows(target, "weighings_begun")] == ["no", "no"]
    marked = [one["paper_sheet"] for one in rows(target, "readings")]
    assert marked.count(sheet["id"]) == 1
    # The photograph is part of what was signed: a sheet without it is seen.
    path = target / "tables" / "paper_sheets.csv"
    path.write_text(path.read_text().replace(sheet["attachment_sha256"], ""))
    assert "has another photograph" in recomputed(target).stdout


def rows(folder: Path, name: str) -> list[dict[str, Any]]:
    with (folder / "tables" / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))
