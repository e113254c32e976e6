"""Exports: what is in the folder, and that somebody else can prove it."""

from __future__ import annotations

import csv
import datetime
import hashlib
import io
import json
import shutil
import subprocess
import sys
import zipfile
from decimal import Decimal
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from django.http import FileResponse
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from batches import trace
from batches.models import Batch
from batches.services import cooking
from producer.errors import Refusal
from producer.middleware import as_shown_at
from producer.models import Attachment, Premises, User
from producer.services.attachments import path_of
from quality.documents import export
from quality.models import Deviation
from quality.services import exporting
from quality.services.export_tables import TABLES
from tests import leaving, make
from tests.database import row_counts
from tests.quality import pots

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("papers_are_blank")]
RECOMPUTE = Path(__file__).parent / "recompute.py"


def recomputed(folder: Path) -> subprocess.CompletedProcess[str]:
    """Run the script that knows nothing of Kettlebook."""
    return subprocess.run(  # noqa: S603 - our own script, isolated
        [sys.executable, "-I", str(RECOMPUTE), str(folder)],
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )


@pytest.fixture
def lived(crew: make.Crew) -> Batch:
    """Return a liquid with a past: corrected, titrated, signed three times, sent."""
    batch = make.diluted_batch(crew)
    reading = batch.readings.get(characteristic="ph")
    cooking.amend_reading(
        by=crew.maker,
        reading=reading,
        value=Decimal("9.4"),
        method=reading.method,
        instrument=reading.instrument,
        reason="=misread",
    )
    pots.free_alkali(batch, "0.05")
    (titration,) = batch.stock.titrations.all()
    titration.replicates.create(
        number=1, sample_mg=10_000, volume_ml=Decimal("1.2"), value=Decimal("0.05")
    )
    batch = make.signed(crew.reviewer, batch, "release", "hold", "unhold")
    lot = make.filled(crew, batch)
    sent, _ = make.bottles_of(lot)
    leaving.sent(
        crew,
        [sent],
        consignee=make.consignee(crew.maker, name="@Corner Shop"),
    )
    now = {"observed_at": timezone.now(), "entered_by": crew.maker}
    deviation = Deviation.objects.create(
        code="D26-7", stock=batch.stock, classification="minor", what="late", **now
    )
    text = '{"code":"D26-7"}'
    deviation.steps.create(
        kind="closed",
        text="of no matter",
        decision="no_effect",
        printed_name="Rasmus Lind",
        record=text,
        record_sha256=hashlib.sha256(text.encode()).hexdigest(),
        **now,
    )
    return make.fresh(batch)


@pytest.fixture
def folder(lived: Batch, tmp_path: Path) -> Path:
    target = tmp_path / "out"
    call_command("export", str(target), batch=lived.number, stdout=io.StringIO())
    return target


def table(folder: Path, name: str) -> list[dict[str, str]]:
    with (folder / "tables" / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


# ------------------------------------------------------------------ the folder


def test_an_outsider_proves_it_with_the_standard_library_alone(folder: Path) -> None:
    done = recomputed(folder)
    assert done.stderr == ""
    assert done.returncode == 0, done.stdout
    lines = done.stdout.splitlines()
    assert lines[-1] == "0 faults"
    assert "3 signatures" in lines
    assert "1 closed deviations" in lines
    (acts,) = (line for line in lines if "journal rows" in line)
    rows, bound = (int(word) for word in acts.split() if word.isdigit())
    assert rows > bound > 5
    papers = Attachment.objects.count()
    assert f"{papers} papers" in lines
    assert papers


def test_sha256sum_accepts_the_list_of_checksums(folder: Path) -> None:
    done = subprocess.run(
        ["sha256sum", "--strict", "-c", "SHA256SUMS"],  # noqa: S607
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    assert done.returncode == 0, done.stderr
    there = [path for path in folder.rglob("*") if path.is_file()]
    assert done.stdout.count(": OK") == len(there) - 1


ALTERED = (
    ("batches/*/signature-*-hold.json", "its SHA-256 is not the one that was signed"),
    ("deviations/*.json", "its SHA-256 is not the one that was signed"),
    ("journal/extract.jsonl", "its hash does not fit it"),
    ("attachments/*", "not the bytes that came in"),
)


def test_one_altered_byte_is_seen_though_the_checksums_were_made_anew(
    folder: Path, tmp_path: Path
) -> None:
    for number, (pattern, said) in enumerate(ALTERED):
        copy = tmp_path / str(number)
        shutil.copytree(folder, copy)
        path = next(copy.glob(pattern))
        data = bytearray(path.read_bytes())
        place = max(at for at, byte in enumerate(data) if byte in b"12345678")
        data[place] += 1
        path.write_bytes(bytes(data))
        assert "not the bytes of SHA256SUMS" in recomputed(copy).stdout
        sum_anew(copy)
        done = recomputed(copy)
        assert done.returncode == 1, pattern
        assert "not the bytes of SHA256SUMS" not in done.stdout
        assert said in done.stdout


def sum_anew(folder: Path) -> None:
    """Write the checksums again, as somebody would who altered a file."""
    sums = folder / "SHA256SUMS"
    names = [line.split("  ", 1)[1] for line in sums.read_text().splitlines()]
    sums.write_text(
        "".join(
            f"{hashlib.sha256((folder / name).read_bytes()).hexdigest()}  {name}\n"
            for name in names
        )
    )


def test_what_was_added_taken_out_or_written_otherwise_is_seen(folder: Path) -> None:
    (folder / "batches" / "note.txt").write_text("not ours")
    next(folder.glob("journal/extract.csv")).unlink()
    record = next(folder.glob("batches/*/signature-*-release.json"))
    record.write_text(json.dumps(json.loads(record.read_text()), indent=1))
    signed = folder / "tables" / "signatures.csv"
    lines = signed.read_text(encoding="utf-8").splitlines(keepends=True)
    signed.write_text("".join(lines[:-1]), encoding="utf-8")
    acts = folder / "journal" / "extract.jsonl"
    rows = [x for x in acts.read_text("utf-8").splitlines() if '"batch signed' not in x]
    acts.write_text("\n".join(rows), encoding="utf-8")
    said = recomputed(folder).stdout
    for fault in (
        "batches/note.txt: only in the list, or only in the folder",
        "journal/extract.csv: only in the list, or only in the folder",
        f"{record.name}: is not in the canonical form",
        "unhold.json: a record without a signature, or the other way round",
        "hold.json: the journal does not know this signature",
    ):
        assert fault in said, fault


def test_rows_of_the_journal_that_do_not_follow_are_seen(folder: Path) -> None:
    """A row forged whole, its own hash made to fit: its neighbour gives it away."""
    path = folder / "journal" / "extract.jsonl"
    rows = [json.loads(line) for line in path.read_text("utf-8").splitlines()]
    forged = rows[2]
    forged["actor_name"] = "Nobody"
    content = {name: value for name, value in forged.items() if name != "hash"}
    text = json.dumps(
        content, ensure_ascii=False, sort_keys=True, separators=(",", ":")
    )
    forged["hash"] = hashlib.sha256(text.encode()).hexdigest()
    path.write_text("\n".join(json.dumps(row) for row in rows), encoding="utf-8")
    said = recomputed(folder).stdout
    assert "its hash does not fit it" not in said
    assert "does not follow its neighbour" in said


def test_every_table_has_its_columns_and_says_the_same_as_the_json(
    folder: Path, lived: Batch
) -> None:
    found = json.loads(
        (folder / "batches" / lived.number / "tables.json").read_text("utf-8")
    )
    for kind in TABLES:
        rows = table(folder, kind.name)
        assert len(rows) == len(found[kind.name]), kind.name
        for row in rows:
            assert tuple(row) == kind.head
            assert None not in row.values(), kind.name
            assert row["batch"] == lived.number
    filled = {kind.name for kind in TABLES if found[kind.name]}
    assert filled >= {
        *("batches", "charges", "readings", "titrations", "titration_samples"),
        *("weighings", "judgements", "signatures", "deviations", "deviation_steps"),
        *("genealogy", "lots", "certificates", "movements", "filling_lots", "bottles"),
    }


def test_the_figures_are_those_of_the_records(folder: Path, lived: Batch) -> None:
    (batch,) = table(folder, "batches")
    assert batch["amended"] == "1"
    assert batch["is_rework"] == "no"
    assert batch["status"] == "released"
    charges = table(folder, "charges")
    nets = [str(row.net_mg) for row in lived.charges.order_by("pk")]
    assert [row["net_mg"] for row in charges] == nets
    old, new = (x for x in table(folder, "readings") if x["characteristic"] == "ph")
    assert (old["value"], new["value"]) == ("9.2", "9.4")
    assert new["supersedes"] == old["id"]
    drawn = [x for x in table(folder, "movements") if x["kind"] == "draw"]
    assert sorted(x["amount_mg"] for x in drawn) == sorted(f"-{net}" for net in nets)
    states = {row["status"]: row["holder"] for row in table(folder, "bottles")}
    assert states == {"filled": "", "dispatched": "'@Corner Shop"}


def test_a_text_that_looks_like_a_formula_is_kept_from_the_spreadsheet(
    folder: Path, lived: Batch
) -> None:
    *_, new = (x for x in table(folder, "readings") if x["characteristic"] == "ph")
    assert new["reason"] == "'=misread"
    found = json.loads(
        (folder / "batches" / lived.number / "tables.json").read_text("utf-8")
    )
    assert found["readings"][-1]["reason"] == "=misread"


def test_times_have_the_offset_of_the_premises(
    premises: Premises, lived: Batch, tmp_path: Path
) -> None:
    Premises.objects.update(time_zone="Asia/Kolkata")
    target = tmp_path / "far"
    call_command("export", str(target), batch=lived.number, stdout=io.StringIO())
    (batch,) = table(target, "batches")
    assert batch["opened_at"].endswith("+05:30")
    at = datetime.datetime.fromisoformat(batch["opened_at"])
    assert at == lived.opened_at
    assert "of Asia/Kolkata" in (target / "README.txt").read_text("utf-8")


def test_the_readme_names_every_file_and_table(folder: Path, lived: Batch) -> None:
    readme = (folder / "README.txt").read_text("utf-8")
    for kind in TABLES:
        assert f"{kind.name}.csv" in readme
    for path in folder.rglob("*"):
        if path.is_file() and path.name != "README.txt":
            place = str(path.relative_to(folder)).replace(lived.number, "NUMBER")
            top = place.split("/")[0]
            assert place in readme or f"\n{top}/" in readme, place
    assert lived.number in readme


# ------------------------------------------------------------------ choosing


def test_a_period_is_of_local_days_both_included(
    crew: make.Crew, premises: Premises
) -> None:
    late = make.open_batch(crew)
    # Half past midnight in London is still the day before in UTC.
    Batch.objects.filter(pk=late.pk).update(
        opened_at=datetime.datetime(2026, 6, 30, 23, 30, tzinfo=datetime.UTC)
    )
    day = datetime.date(2026, 7, 1)
    with as_shown_at(premises):
        assert exporting.batches_between(day, day) == [late]
        with pytest.raises(Refusal, match="No batch was opened"):
            exporting.batches_between(
                datetime.date(2026, 6, 1), datetime.date(2026, 6, 30)
            )


def test_days_the_wrong_way_round_are_refused() -> None:
    with pytest.raises(Refusal, match="Swap them"):
        exporting.batches_between(datetime.date(2026, 7, 2), datetime.date(2026, 7, 1))


@pytest.mark.parametrize("day", [datetime.date.min, datetime.date.max])
def test_the_ends_of_the_calendar_are_refused(day: datetime.date) -> None:
    with pytest.raises(Refusal, match="this century"):
        exporting.batches_between(day, day)


def test_the_command_takes_one_way_of_choosing(tmp_path: Path) -> None:
    day = datetime.date(2026, 7, 1)
    for wrong in ({}, {"first": day}, {"batch": "B26", "first": day, "last": day}):
        with pytest.raises(CommandError, match="Give --batch NUMBER, or both"):
            call_command("export", str(tmp_path / "x"), **wrong)
    assert not list(tmp_path.glob("x*"))


def test_the_command_tells_what_it_does_and_takes_days(
    crew: make.Crew, tmp_path: Path
) -> None:
    batch = make.open_batch(crew)
    said = io.StringIO()
    target = tmp_path / "out.zip"
    day = timezone.localdate(batch.opened_at).isoformat()
    call_command("export", f"--from={day}", f"--to={day}", str(target), stdout=said)
    assert f"1 of 1  {batch.number}" in said.getvalue()
    with zipfile.ZipFile(target) as archive:
        assert archive.testzip() is None
        names = archive.namelist()
    assert f"{len(names)} files are in {target}." in said.getvalue()
    assert all(name.startswith(f"export-{batch.number}/") for name in names)


def test_nothing_is_overwritten(crew: make.Crew, tmp_path: Path) -> None:
    batch = make.open_batch(crew)
    (tmp_path / "out").mkdir()
    with pytest.raises(CommandError, match="exists already"):
        call_command("export", str(tmp_path / "out"), batch=batch.number)
    (tmp_path / "new.part").mkdir()
    with pytest.raises(CommandError, match="broken off"):
        call_command("export", str(tmp_path / "new"), batch=batch.number)


def test_a_missing_upload_stops_the_export_and_leaves_nothing(
    lived: Batch, tmp_path: Path
) -> None:
    paper = Attachment.objects.all()[0]
    path_of(paper).unlink()
    for name in ("out", "out.zip"):
        with pytest.raises(CommandError, match="is missing, so nothing was exported"):
            call_command(
                "export",
                str(tmp_path / name),
                batch=lived.number,
                stdout=io.StringIO(),
            )
    assert not list(tmp_path.glob("out*"))


def test_the_same_paper_that_came_in_twice_is_there_once(
    lived: Batch, tmp_path: Path
) -> None:
    certificate = next(
        paper
        for lot in trace.trace(lived.stock).lots
        for paper in lot.certificates.filter(attachment__isnull=False)
    )
    paper = certificate.attachment
    assert paper
    twin = Attachment.objects.create(
        sha256=paper.sha256,
        original_name=paper.original_name,
        content_type=paper.content_type,
        size_bytes=paper.size_bytes,
        observed_at=paper.observed_at,
        entered_by=paper.entered_by,
    )
    certificate.lot.certificates.create(
        version=9,
        attachment=twin,
        reason="sent again",
        observed_at=paper.observed_at,
        entered_by=paper.entered_by,
    )
    target = tmp_path / "out"
    call_command("export", str(target), batch=lived.number, stdout=io.StringIO())
    names = [path.name for path in (target / "attachments").iterdir()]
    assert names.count(f"{paper.sha256[:12]}-{paper.original_name}") == 1
    assert recomputed(target).returncode == 0


# ------------------------------------------------------------------ the page


def test_the_page_hands_out_a_zip_that_proves_itself_and_writes_nothing(
    lived: Batch, auditor: User, client: Client, tmp_path: Path
) -> None:
    client.force_login(auditor)
    before = row_counts()
    response = client.get(reverse("quality:export"), {"batch": lived.number.lower()})
    assert isinstance(response, FileResponse)
    assert f"export-{lived.number}.zip" in response["Content-Disposition"]
    assert response["Cache-Control"] == "private, no-store"
    with zipfile.ZipFile(io.BytesIO(response.getvalue())) as archive:
        archive.extractall(tmp_path)
    done = recomputed(tmp_path / f"export-{lived.number}")
    assert done.returncode == 0, done.stdout
    assert row_counts() == before
    response.close()


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"batch": "B99-1"}, "There is no batch “B99-1”"),
        ({"from": "2026-01-01"}, "a period has two ends"),
        ({"from": "2026-02-01", "to": "2026-01-01"}, "Swap them"),
        ({"from": "2020-01-01", "to": "2020-01-02"}, "No batch was opened"),
        ({"from": "0001-01-01", "to": "9999-12-31"}, "this century"),
        ({"batch": "B", "from": "2026-01-01"}, "Give a batch number, or"),
        ({"batch": " "}, "Give a batch number, or"),
        ({"from": "yesterday", "to": "2026-01-01"}, "Enter a valid date"),
    ],
)
def test_what_cannot_be_handed_out_is_said_beside_the_field(
    reviewer: User, client: Client, asked: dict[str, str], said: str
) -> None:
    client.force_login(reviewer)
    response = client.get(reverse("quality:export"), asked)
    assert response.status_code == 200
    assert said in response.content.decode()


def test_more_than_fits_into_one_answer_is_left_to_the_command(
    crew: make.Crew, client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("quality.views.dossiers.MOST_BATCHES", 1)
    batch, _ = make.open_batch(crew), make.open_batch(crew)
    client.force_login(crew.reviewer)
    day = timezone.localdate(batch.opened_at).isoformat()
    page = client.get(reverse("quality:export"), {"from": day, "to": day})
    assert "These are 2 batches; 1 are handed out" in page.content.decode()


def test_a_missing_upload_is_said_on_the_page(
    lived: Batch, auditor: User, client: Client
) -> None:
    path_of(Attachment.objects.all()[0]).unlink()
    client.force_login(auditor)
    page = client.get(reverse("quality:export"), {"batch": lived.number})
    assert "is missing, so nothing was exported" in page.content.decode()


def test_the_journal_page_leads_to_it_for_those_who_may(
    maker: User, auditor: User, client: Client
) -> None:
    seen = {}
    for user in (maker, auditor):
        client.force_login(user)
        page = client.get(reverse("producer:journal")).content.decode()
        seen[user] = f'href="{reverse("quality:export")}"' in page
    assert seen == {maker: False, auditor: True}


def test_each_table_is_asked_as_often_for_more_bottles_of_a_lot(
    crew: make.Crew,
) -> None:
    few = make.filled(crew, count=2, nominal_ul=50_000).batch
    many = make.signed(crew.reviewer, make.diluted_batch(crew), "release")
    make.filled(crew, many, count=20, nominal_ul=50_000)
    counted = []
    for batch in (few, many):
        with CaptureQueriesContext(connection) as queries:
            for kind in TABLES:
                list(kind.rows(make.fresh(batch)))
        counted.append(len(queries))
    assert counted[0] == counted[1]


def test_names_of_exports_tell_what_is_in_them(crew: make.Crew) -> None:
    batches = [make.open_batch(crew) for _ in range(2)]
    assert export.name_of(batches[:1]) == f"export-{batches[0].number}"
    assert export.name_of(batches).endswith("-2-batches")
