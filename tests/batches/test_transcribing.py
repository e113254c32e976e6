"""Entries that stood on paper first: both times, the sheet, its photograph."""

from __future__ import annotations

import datetime
import hashlib
import json
import zoneinfo
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from batches.models import Batch, Charge, HoldPoint, Loss, Reading, Transcription
from batches.services import cooking, hold_points, losses, transcribing
from batches.services.cooking.how import How
from batches.services.entries import Entries
from producer import journal
from producer.errors import Refusal
from producer.models import JournalEntry, User
from producer.services.attachments import path_of
from quality.services.reading_order.timeline import timeline
from quality.services.reviewing import review_of
from tests import make, uploads
from tests.doors.pages import field_value, page_of

pytestmark = pytest.mark.django_db
# Early in the morning less: the lots came today, and what is from before is refused.
_LONDON = datetime.datetime.now(tz=zoneinfo.ZoneInfo("Europe/London"))
_SINCE_MIDNIGHT = datetime.timedelta(hours=_LONDON.hour, minutes=_LONDON.minute)
EARLIER = min(datetime.timedelta(hours=3), _SINCE_MIDNIGHT / 2)


def sheet_of(crew: make.Crew, batch: Batch, **changes: Any) -> Transcription:
    facts = {"note": "both sides; the power was out", **changes}
    return transcribing.begin(by=crew.maker, batch=batch, **facts)


def in_the_pot(crew: make.Crew) -> Batch:
    batch = make.open_batch(crew)
    make.go_through(crew, batch, timezone.now() - EARLIER)
    make.charge_all(crew, batch)
    return make.fresh(batch)


def reading_facts(crew: make.Crew, batch: Batch) -> dict[str, Any]:
    return {
        "by": crew.maker,
        "batch": batch,
        "characteristic": "temperature",
        "value": Decimal(64),
        "instrument": make.thermometer(crew.maker),
    }


# ------------------------------------------------------------------ the service


def test_a_sheet_is_kept_with_its_photograph_and_who_took_it_up(
    crew: make.Crew,
) -> None:
    batch = in_the_pot(crew)
    upload = uploads.picture("sheet.png")
    data = upload.read()
    upload.seek(0)
    sheet = sheet_of(crew, batch, upload=upload)
    assert sheet.attachment is not None
    assert path_of(sheet.attachment).read_bytes() == data
    assert sheet.attachment.sha256 == hashlib.sha256(data).hexdigest()
    assert sheet.entered_by == crew.maker
    entry = JournalEntry.objects.latest("sequence")
    assert entry.act == "paper sheet taken up"
    assert json.loads(entry.after)["file_sha256"] == sheet.attachment.sha256


def test_a_sheet_needs_no_photograph_but_says_which_it_is(crew: make.Crew) -> None:
    batch = in_the_pot(crew)
    assert sheet_of(crew, batch).attachment is None
    with pytest.raises(Refusal, match="Say which sheet it is") as refused:
        sheet_of(crew, batch, note="  ")
    assert refused.value.field == "note"


def test_only_a_maker_takes_a_sheet_up_and_only_while_the_record_is_open(
    crew: make.Crew,
) -> None:
    batch = in_the_pot(crew)
    with pytest.raises(PermissionDenied):
        transcribing.begin(by=crew.reviewer, batch=batch, note="a sheet")
    with pytest.raises(Refusal, match="closed and signed"):
        sheet_of(crew, make.released_paste(crew))


def test_each_kind_of_entry_names_its_sheet_and_keeps_both_times(
    crew: make.Crew,
) -> None:
    batch = make.open_batch(crew)
    sheet = sheet_of(crew, batch)
    at = timezone.now() - EARLIER
    paper: dict[str, Any] = {"transcription": sheet, "observed_at": at}
    make.go_through(crew, batch, at)
    hold_points.go_through(
        by=crew.maker,
        batch=batch,
        looks=[hold_points.Look(point=HoldPoint.Point.PROTECTION)],
        **paper,
    )
    make.charge_all(crew, batch)
    oil = make.line_of(batch, "sunflower oil")
    make.charge(
        crew,
        batch,
        make.stock_of(crew, oil),
        5_000,
        line=oil,
        how=How(transcription=sheet),
        observed_at=at,
    )
    cooking.record_reading(**reading_facts(crew, batch), **paper)
    losses.record_loss(by=crew.maker, batch=batch, kind="spill", mass_mg=3_000, **paper)
    cooking.weigh_bulk(
        by=crew.maker,
        batch=batch,
        scale=make.scale(crew.maker),
        gross_mg=1_600_000,
        tare_mg=0,
        **paper,
    )
    entries = Entries(batch)
    assert [row._meta.model_name for row in entries.on_paper] == [
        *("holdpoint", "charge", "reading", "bulkweighing", "loss")
    ]
    for row in entries.on_paper:
        assert row.transcription == sheet
        assert row.observed_at == at < row.entered_at
    assert entries.sheets == [sheet]
    others = [row for row in entries if row not in entries.on_paper]
    assert len(others) > len(entries.on_paper)  # control: the rest says nothing of it


def test_an_entry_from_paper_says_when_it_was(crew: make.Crew) -> None:
    batch = in_the_pot(crew)
    sheet = sheet_of(crew, batch)
    with pytest.raises(Refusal, match="time that stands on the sheet") as refused:
        cooking.record_reading(**reading_facts(crew, batch), transcription=sheet)
    assert refused.value.field == "observed_at"
    line = make.line_of(batch, "sunflower oil")
    with pytest.raises(Refusal, match="time that stands on the sheet"):
        make.charge(
            crew,
            batch,
            make.stock_of(crew, line),
            5_000,
            line=line,
            how=How(transcription=sheet),
        )
    assert not Reading.objects.exists()
    cooking.record_reading(**reading_facts(crew, batch))  # control: at the pot, now


def test_the_sheet_of_another_batch_is_refused(crew: make.Crew) -> None:
    batch, other = in_the_pot(crew), in_the_pot(crew)
    with pytest.raises(Refusal, match=f"not of batch {batch.number}"):
        cooking.record_reading(
            **reading_facts(crew, batch),
            transcription=sheet_of(crew, other),
            observed_at=timezone.now(),
        )


def test_what_is_corrected_still_says_that_it_was_on_paper(crew: make.Crew) -> None:
    batch = in_the_pot(crew)
    paper: dict[str, Any] = {
        "transcription": sheet_of(crew, batch),
        "observed_at": timezone.now() - EARLIER,
    }
    row = cooking.record_reading(**reading_facts(crew, batch), **paper)
    mended = cooking.amend_reading(
        by=crew.maker, reading=row, value=Decimal(46), reason="figures swapped"
    )
    loss = losses.record_loss(
        by=crew.maker, batch=batch, kind="spill", mass_mg=3_000, **paper
    )
    taken_back = losses.amend_loss(
        by=crew.maker, loss=loss, void=True, reason="of another batch"
    )
    assert mended.transcription == taken_back.transcription == row.transcription
    assert mended.observed_at == row.observed_at


def test_scenario_32_a_transcribed_entry_keeps_both_times_and_the_journals_order(
    crew: make.Crew,
) -> None:
    """Backdated entry: allowed as transcribed; never reorders the audit trail."""
    batch = in_the_pot(crew)
    at_the_pot = cooking.record_reading(**reading_facts(crew, batch))
    sheet = sheet_of(crew, batch)
    before = list(JournalEntry.objects.order_by("sequence").values_list("hash"))
    at = timezone.now() - EARLIER
    row = cooking.record_reading(
        **{**reading_facts(crew, batch), "value": Decimal(58)},
        transcription=sheet,
        observed_at=at,
    )
    # Both times, and the paper between them.
    assert row.observed_at == at < row.entered_at
    assert row.transcription == sheet
    # By the clock on the wall it comes first; the audit trail has it last, as it was.
    shown = [
        one.row for one in timeline(Entries(batch)) if one.row in (row, at_the_pot)
    ]
    assert shown == [row, at_the_pot]
    entries = JournalEntry.objects.order_by("sequence")
    assert list(entries.values_list("hash"))[:-1] == before
    last = entries.latest("sequence")
    assert json.loads(last.after)["paper_sheet"] == sheet.pk
    assert last.at >= entries.order_by("-sequence")[1].at
    assert list(journal.faults()) == []


def test_who_copied_a_sheet_is_one_of_the_makers(crew: make.Crew, owner: User) -> None:
    helper = make.account(by=owner, name="Ilo Marsh", rights=["maker", "reviewer"])
    batch = make.cooked_batch(crew)
    assert review_of(batch, by=helper).is_own_work is False  # control
    hand = make.Crew(helper, crew.reviewer)
    cooking.record_reading(
        **reading_facts(hand, batch),
        transcription=sheet_of(hand, batch),
        observed_at=timezone.now() - EARLIER,
    )
    assert review_of(batch, by=helper).is_own_work is True


# ------------------------------------------------------------------ the pages


def signed_in(client: Client, user: User) -> Client:
    client.force_login(user)
    return client


def submission(client: Client, address: str) -> str:
    return field_value(page_of(client.get(address)), "submission")


def begun(client: Client, batch: Batch, **fields: Any) -> Transcription:
    address = reverse("batches:paper", args=[batch.number])
    answer = client.post(
        address,
        {"submission": submission(client, address), "note": "power out", **fields},
    )
    sheet = Transcription.objects.get()
    assert answer.status_code == 302
    assert answer["Location"] == reverse(
        "batches:paper_sheet", args=[batch.number, sheet.pk]
    )
    return sheet


def test_the_page_of_a_batch_leads_to_enter_from_paper(
    client: Client, crew: make.Crew
) -> None:
    batch = in_the_pot(crew)
    signed_in(client, crew.maker)
    page = page_of(client.get(reverse("batches:batch", args=[batch.number])))
    address = reverse("batches:paper", args=[batch.number])
    assert address in {one.get("href") for one in page.attributes("a")}
    closed = make.released_paste(crew)
    page = page_of(client.get(reverse("batches:batch", args=[closed.number])))
    assert "Enter from paper" not in page.words


def test_a_sheet_is_copied_line_by_line_until_done(
    client: Client, crew: make.Crew
) -> None:
    batch = in_the_pot(crew)
    signed_in(client, crew.maker)
    sheet = begun(client, batch, file=uploads.picture("sheet.png"))
    page = page_of(
        client.get(reverse("batches:paper_sheet", args=[batch.number, sheet.pk]))
    )
    address = reverse("batches:read", args=[batch.number, "temperature"])
    from_paper = f"{address}?paper={sheet.pk}"
    assert from_paper in {one.get("href") for one in page.attributes("a")}
    form = page_of(client.get(from_paper))
    assert f"From paper sheet {sheet.pk}:" in form.words
    assert "Done with the sheet" in form.words
    assert "When, as the sheet says" in form.words
    fields = {
        "submission": submission(client, from_paper),
        "value": "63,5",
        "instrument": make.thermometer(crew.maker).pk,
    }
    refused = page_of(client.post(from_paper, fields))
    assert "Write the time that stands on the sheet" in refused.words
    assert not Reading.objects.exists()
    at = timezone.localtime() - EARLIER
    answer = client.post(from_paper, {**fields, "observed_at": f"{at:%Y-%m-%dT%H:%M}"})
    assert answer["Location"] == reverse(
        "batches:paper_sheet", args=[batch.number, sheet.pk]
    )
    row = Reading.objects.get()
    assert row.transcription == sheet
    assert row.observed_at == at.replace(second=0, microsecond=0)
    # Without the sheet in the address: the form of every day.
    plain = page_of(client.get(address))
    assert "From paper sheet" not in plain.words
    assert "Empty means now" in plain.words


@pytest.mark.parametrize(
    ("name", "arguments", "fields"),
    [
        ("batches:loss", (), {"kind": "spill", "mass_mg": "3 g"}),
        ("batches:weigh", (), {"gross_mg": "1.6 kg", "tare_mg": "0"}),
        ("batches:charge", (1,), {"gross_mg": "20 g", "tare_mg": "0", "unusual": "x"}),
    ],
)
def test_every_form_at_the_pot_takes_the_sheet(
    client: Client,
    crew: make.Crew,
    name: str,
    arguments: tuple[int, ...],
    fields: dict[str, str],
) -> None:
    batch = in_the_pot(crew)
    signed_in(client, crew.maker)
    sheet = begun(client, batch)
    address = f"{reverse(name, args=[batch.number, *arguments])}?paper={sheet.pk}"
    at = timezone.localtime() - EARLIER
    lot = make.stock_of(crew, batch.formula_version.lines.get(position=1))
    answer = client.post(
        address,
        {
            "submission": submission(client, address),
            "scale": make.scale(crew.maker).pk,
            "source": lot.pk,
            "observed_at": f"{at:%Y-%m-%dT%H:%M}",
            **fields,
        },
    )
    assert answer.status_code == 302, page_of(answer).words
    (row,) = Entries(batch).on_paper
    assert row.transcription == sheet


@pytest.mark.parametrize("asked", ["0", "x", "²", "-1", "99999999999999999999", "own"])
def test_a_sheet_that_is_not_of_this_batch_is_not_found(
    client: Client, crew: make.Crew, asked: str
) -> None:
    batch, other = in_the_pot(crew), in_the_pot(crew)
    key = str(sheet_of(crew, other).pk) if asked == "own" else asked
    signed_in(client, crew.maker)
    address = reverse("batches:loss", args=[batch.number])
    assert client.get(f"{address}?paper={key}").status_code == 404
    mine = sheet_of(crew, batch).pk
    assert client.get(f"{address}?paper={mine}").status_code == 200  # control


def test_every_place_says_transcribed_and_links_the_photograph(
    client: Client, crew: make.Crew, auditor: User
) -> None:
    batch = in_the_pot(crew)
    sheet = sheet_of(crew, batch, upload=uploads.picture("sheet.png"))
    paper: dict[str, Any] = {
        "transcription": sheet,
        "observed_at": timezone.now() - EARLIER,
    }
    cooking.record_reading(**reading_facts(crew, batch), **paper)
    losses.record_loss(by=crew.maker, batch=batch, kind="spill", mass_mg=3_000, **paper)
    signed_in(client, auditor)
    photograph = reverse("producer:attachment", args=[sheet.attachment_id])
    for name in ("batches:batch", "quality:review"):
        page = page_of(client.get(reverse(name, args=[batch.number])))
        assert page.words.count("transcribed from paper, entered") >= 2, name
        links = [one for one in page.attributes("a") if one.get("href") == photograph]
        assert len(links) >= 2, name
        assert all("download" in one for one in links)
    answer = client.get(photograph)
    assert answer["Content-Disposition"].startswith("attachment")
    assert answer.getvalue().startswith(b"\x89PNG")
    client.logout()
    assert client.get(photograph).status_code == 302  # to the sign-in page


def test_a_double_tap_takes_one_sheet_up(client: Client, crew: make.Crew) -> None:
    batch = in_the_pot(crew)
    signed_in(client, crew.maker)
    address = reverse("batches:paper", args=[batch.number])
    fields = {"submission": submission(client, address), "note": "power out"}
    for _ in range(2):
        assert client.post(address, fields).status_code == 302
    assert Transcription.objects.count() == 1


def test_control_the_models_are_those_that_name_a_sheet() -> None:
    """A new table with a sheet must be among those of ``Entries.on_paper``."""
    naming = {
        relation.related_model
        for relation in Transcription._meta.related_objects
        if relation.related_model is not None
    }
    from batches.models import BulkWeighing, WeighingStart  # noqa: PLC0415

    known = {HoldPoint, Charge, Reading, Loss, BulkWeighing, WeighingStart}
    assert naming == known
