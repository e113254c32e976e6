"""Contact data that are erased, while lots and quantities stay."""

from __future__ import annotations

import datetime
import hashlib
import hmac
from pathlib import Path
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from batches.models import Dispatch
from producer.errors import Conflict, Refusal
from producer.models import Consignee, JournalEntry
from producer.services import registers
from quality.services import (
    erasing,
    recall_clearing,
    recall_hazard,
    recall_revising,
    today,
)
from quality.services.verification import rows
from quality.services.verification.checks import quiet
from tests import hands, make, told

pytestmark = pytest.mark.django_db
PHONE = "0555 010203"


def neighbour(crew: make.Crew, **changes: Any) -> Consignee:
    facts = {"kind": "private", "name": "Ida Norrgård", "phone": PHONE}
    return registers.save(by=crew.maker, entry=Consignee(**{**facts, **changes}))


def in_the_journal(text: str) -> bool:
    rows = JournalEntry.objects.values_list("before", "after", "subject_label")
    return any(text in part for row in rows for part in row)


def test_erased_data_are_nowhere_and_quantities_stay(crew: make.Crew) -> None:
    ida = neighbour(crew)
    bottles = make.bottles_of(make.filled(crew))
    hands.dispatched(crew, bottles, ida)
    erasing.erase(by=crew.maker, consignee=ida, reason="she asked for it")
    ida.refresh_from_db()
    assert (ida.phone, ida.address, ida.email) == ("", "", "")
    assert "Ida" not in ida.name
    assert not in_the_journal("Norrg")
    assert not in_the_journal(PHONE)
    assert erasing.held(ida).count() == len(bottles)
    assert Dispatch.objects.get().consignee == ida
    assert not list(rows.faults(quiet))


def test_the_journal_seals_with_hmac_sha_256_of_rfc_2104(crew: make.Crew) -> None:
    """Outside check: hmac of Python's standard library, and RFC 4231's test case 2."""
    known = hmac.new(b"Jefe", b"what do ya want for nothing?", hashlib.sha256)
    assert known.hexdigest() == (
        "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"
    )
    ida = neighbour(crew)
    expected = hmac.new(ida.seal.encode(), f"phone:{PHONE}".encode(), hashlib.sha256)
    assert in_the_journal(expected.hexdigest())
    assert not in_the_journal(ida.seal)


def test_data_changed_behind_the_program_are_found_though_sealed(
    crew: make.Crew,
) -> None:
    ida = neighbour(crew)
    Consignee.objects.filter(pk=ida.pk).update(phone="0555 999999")
    found = list(rows.faults(quiet))
    assert any("phone is sealed data" in str(one) for one in found)


def test_a_seal_changed_behind_the_program_is_found(crew: make.Crew) -> None:
    ida = neighbour(crew)
    Consignee.objects.filter(pk=ida.pk).update(seal="0" * 64)
    assert list(rows.faults(quiet))


@pytest.fixture
def old(crew: make.Crew, monkeypatch: pytest.MonkeyPatch) -> Consignee:
    """Return somebody from before there were seals."""
    with monkeypatch.context() as before:
        before.setattr(registers, "new_seal", lambda: "")
        found = neighbour(crew, seal="")
    assert in_the_journal(PHONE)
    return found


def test_what_was_kept_before_there_were_seals_still_answers(old: Consignee) -> None:
    Consignee.objects.filter(pk=old.pk).update(seal="1" * 64)
    assert not list(rows.faults(quiet))


def test_one_from_before_is_sealed_when_changed(
    crew: make.Crew, old: Consignee
) -> None:
    old.address = "Mill Lane 3"
    registers.save(by=crew.maker, entry=old)
    entry = JournalEntry.objects.latest("sequence")
    assert "Mill Lane" not in entry.after
    assert PHONE not in entry.before
    assert not list(rows.faults(quiet))


def test_nobody_becomes_another_kind_after_bottles_went_to_them(
    crew: make.Crew,
) -> None:
    own = neighbour(crew, kind="own_use", name="The garden")
    hands.dispatched(crew, make.bottles_of(make.filled(crew)), own)
    own.kind = "reseller"
    with pytest.raises(Refusal, match="Register them anew"):
        registers.save(by=crew.maker, entry=own)


def test_a_reseller_with_bottles_cannot_be_forgotten(crew: make.Crew) -> None:
    shop = neighbour(crew, kind="reseller", name="The shop")
    hands.dispatched(crew, make.bottles_of(make.filled(crew)), shop)
    with pytest.raises(Refusal, match="must be reachable"):
        erasing.erase(by=crew.maker, consignee=shop, reason="asked")


def test_an_open_recall_needs_its_holders(crew: make.Crew) -> None:
    ida = neighbour(crew)
    lot = make.filled(crew)
    hands.dispatched(crew, make.bottles_of(lot), ida)
    hands.recall(crew, lot.batch.stock)
    with pytest.raises(Refusal, match="is open"):
        erasing.erase(by=crew.maker, consignee=ida, reason="asked")


def test_an_open_complaint_needs_who_made_it(crew: make.Crew) -> None:
    ida = neighbour(crew)
    row = told.opened(crew, who="", consignee=ida)
    with pytest.raises(Refusal, match=f"Complaint {row.complaint.code} is theirs"):
        erasing.erase(by=crew.maker, consignee=ida, reason="asked")
    told.opened(crew)  # of somebody else
    told.closed(crew, row)
    erasing.erase(by=crew.maker, consignee=ida, reason="asked")


def test_who_was_alarmed_for_nothing_is_told_so_before_they_are_forgotten(
    crew: make.Crew,
) -> None:
    found = hands.corrected(crew)
    recall_hazard.evaluate(by=crew.reviewer, recall=found, **hands.HAZARD)
    recall_revising.look_again(by=crew.reviewer, recall=found, note="another can")
    shop = make.consignee(crew.maker)
    assert f"told of recall {found.code}, and not yet" in erasing._not_cleared(shop)
    recall_clearing.give_all_clear(
        by=crew.maker, recall=found, consignee=shop, means="telephone"
    )
    assert erasing._not_cleared(shop) == ""


def test_erasing_twice_or_changing_afterwards_is_refused(crew: make.Crew) -> None:
    ida = neighbour(crew)
    erasing.erase(by=crew.maker, consignee=ida, reason="asked")
    with pytest.raises(Conflict, match="already"):
        erasing.erase(by=crew.maker, consignee=ida, reason="again")
    ida.refresh_from_db()
    ida.phone = "1"
    with pytest.raises(Refusal, match="anew"):
        registers.save(by=crew.maker, entry=ida)


def test_data_whose_time_is_over_stand_on_the_first_page(crew: make.Crew) -> None:
    day = timezone.localdate()
    neighbour(crew, keep_until=day)
    kinds = {kind.slug for kind in today.due(day)}
    assert "contact-data" not in kinds
    kinds = {kind.slug for kind in today.due(day + datetime.timedelta(days=1))}
    assert "contact-data" in kinds


def test_the_page_says_what_it_cannot_do(client: Client, crew: make.Crew) -> None:
    ida = neighbour(crew)
    hands.dispatched(crew, make.bottles_of(make.filled(crew)), ida)
    client.force_login(crew.maker)
    page = client.get(reverse("quality:consignee_erase", args=[ida.pk]))
    said = page.content.decode()
    assert "They hold 2 bottles" in said
    assert "Backups" in said
    client.post(
        page.request["PATH_INFO"],
        {
            "reason": "asked by telephone",
            "submission": page.context["form"]["submission"].value(),
        },
    )
    ida.refresh_from_db()
    assert ida.erased_at is not None
    again = client.get(page.request["PATH_INFO"]).content.decode()
    assert "were erased" in again


@pytest.mark.django_db(transaction=True)
def test_erased_data_are_in_no_file_of_the_database(crew: make.Crew) -> None:
    if connection.vendor != "sqlite":
        pytest.skip("the files of a PostgreSQL server are its own")
    kept = Path(str(connection.settings_dict["NAME"]))
    files = [kept, kept.with_name(f"{kept.name}-wal")]
    ida = neighbour(crew)
    assert any(b"Ida Norrg" in file.read_bytes() for file in files)
    erasing.erase(by=crew.maker, consignee=ida, reason="she asked for it")
    assert not any(
        part in file.read_bytes()
        for file in files
        for part in (b"Ida Norrg", PHONE.encode())
    )
