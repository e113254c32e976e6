"""Labels issued: for which bottles, with which words, and what became of each."""

from __future__ import annotations

import zoneinfo
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.db import IntegrityError, transaction
from hypothesis import given
from hypothesis import strategies as st
from pytest_django import Settings

from batches.chemistry.dilution import CONTENTS_BANDS
from batches.documents.labels import check_fit, pages_of
from batches.label_words import words_in
from batches.models import (
    BottleEvent,
    FillingLot,
    LabelCopy,
    LabelCount,
    LabelIssue,
)
from batches.services import label_bands, label_texts, labelling
from batches.services.label_counts import Reconciliation
from batches.services.outcome import SoapContent
from batches.sheets import Placement
from producer.errors import Conflict, Refusal
from producer.models import JournalEntry, Premises
from tests import hands, labelled, make

Kind = LabelCount.Kind


@pytest.fixture
def lot(crew: make.Crew) -> FillingLot:
    return make.filled(crew, count=24, nominal_ul=40_000)


def copies_of(lot: FillingLot, number: int) -> list[int]:
    rows = LabelCopy.objects.filter(bottle__filling_lot=lot, bottle__number=number)
    return list(rows.order_by("copy").values_list("copy", flat=True))


def refusal(act: Callable[[], Any]) -> Refusal:
    """Return how an act was refused; nothing of it is written."""
    before = LabelIssue.objects.count(), LabelCopy.objects.count()
    with pytest.raises(Refusal) as caught:
        act()
    assert (LabelIssue.objects.count(), LabelCopy.objects.count()) == before
    return caught.value


# ------------------------------------------------------------------ scenario 17


@pytest.mark.django_db
def test_scenario_17_a_smeared_label_is_copy_2_and_the_count_closes_exactly(
    crew: make.Crew, lot: FillingLot
) -> None:
    labelled.issued(crew, lot)
    why = refusal(lambda: labelled.issued(crew, lot, [7]))
    assert why.field == "reason"
    assert why.message == (
        "Bottle 7 has a label already. A further one is copy 2 of the same identity:"
        " say why it is printed, and count what becomes of the other."
    )
    again = labelled.issued(crew, lot, [7], reason="smeared in the printer")
    (first,), (serial,) = (
        [one for one in labelling.serials_of(row) if one.number == 7]
        for row in (LabelIssue.objects.earliest("pk"), again)
    )
    assert serial.code == first.code == lot.bottles.get(number=7).code
    assert (first.copy, serial.copy) == (1, 2)
    assert copies_of(lot, 7) == [1, 2]
    assert (again.reason, JournalEntry.objects.latest("sequence").reason) == (
        "smeared in the printer",
    ) * 2

    labelled.counted(crew, lot, Kind.APPLIED, 24)
    now = labelling.reconciliation(lot)
    assert (now.issued, now.open, now.closes) == (25, 1, False)
    assert now.sentence == (
        "1 of 25 labels is not accounted for. Look for it, then count it as applied,"
        " spoiled, left over or a specimen."
    )
    labelled.counted(crew, lot, Kind.SPOILED, 1, note="no. 7, smeared, torn up")
    now = labelling.reconciliation(lot)
    assert (now.applied, now.spoiled, now.open, now.closes) == (24, 1, 0, True)
    assert now.sentence == "All 25 labels are accounted for."


# ------------------------------------------------------------------ issuing


@pytest.mark.django_db
def test_an_issue_is_one_row_of_the_journal_with_a_copy_for_each_bottle(
    crew: make.Crew, lot: FillingLot
) -> None:
    labelled.approved(crew, lot)
    before = JournalEntry.objects.count()
    row = labelled.issued(crew, lot, [1, 2, 5], specimens=2)
    assert JournalEntry.objects.count() == before + 1
    entry = JournalEntry.objects.latest("sequence")
    assert (entry.act, entry.subject_label) == ("labels issued", lot.code)
    said = entry.content()["after"]
    assert '"bottles":[1,2,5]' in str(said).replace(" ", "")
    assert [one.number for one in labelling.serials_of(row)] == [1, 2, 5]
    now = labelling.reconciliation(lot)
    assert (now.issued, now.unlabelled) == (5, 21)


@pytest.mark.django_db
def test_only_a_maker_issues_and_counts(crew: make.Crew, lot: FillingLot) -> None:
    label = labelled.approved(crew, lot)
    with pytest.raises(PermissionDenied):
        labelling.issue(
            by=crew.reviewer,
            filling_lot=lot,
            label=label,
            placement=Placement(labelled.A4_10),
            numbers=[1],
            fits=check_fit,
            band=label_bands.bands_of(lot).reckoned,
        )
    with pytest.raises(PermissionDenied):
        labelling.count_labels(
            by=crew.reviewer, filling_lot=lot, kind=Kind.SPOILED, count=1
        )


@pytest.mark.django_db
def test_a_text_that_is_not_approved_is_not_printed(
    crew: make.Crew, lot: FillingLot
) -> None:
    text = labelled.written(crew, lot.batch.formula_version.formula)
    why = refusal(lambda: labelled.issued(crew, lot, [1], label=text))
    assert (why.field, "not approved" in why.message) == ("label", True)
    label_texts.approve(by=crew.reviewer, label=text)
    labelled.issued(crew, lot, [1], label=text)
    label_texts.withdraw(by=crew.reviewer, label=text, reason="a wrong word")
    why = refusal(lambda: labelled.issued(crew, lot, [2], label=text))
    assert why.field == "label"


@pytest.mark.django_db
def test_of_two_approved_texts_the_newer_is_printed(
    crew: make.Crew, lot: FillingLot
) -> None:
    old = labelled.approved(crew, lot)
    new = labelled.approved(crew, lot, directions="Shake first.", reason="it settles")
    why = refusal(lambda: labelled.issued(crew, lot, [1], label=old))
    assert (why.field, "newer" in why.message) == ("label", True)
    assert labelled.issued(crew, lot, [1], label=new).label == new


@pytest.mark.django_db
def test_a_text_of_another_product_is_refused(crew: make.Crew, lot: FillingLot) -> None:
    other = make.liquid_version(crew, name="Floor soap").formula
    text = labelled.written(crew, other)
    label_texts.approve(by=crew.reviewer, label=text)
    why = refusal(lambda: labelled.issued(crew, lot, [1], label=text))
    assert (why.field, "not for Laundry liquid" in why.message) == ("label", True)


@pytest.mark.django_db
def test_nothing_of_a_held_batch_gets_a_label(crew: make.Crew, lot: FillingLot) -> None:
    labelled.approved(crew, lot)
    make.sign(crew.reviewer, make.fresh(lot.batch), "hold")
    why = refusal(lambda: labelled.issued(crew, lot, [1]))
    assert f"Batch {lot.batch.number} is on hold." in why.message


@pytest.mark.django_db
@pytest.mark.parametrize("new", ["destroyed", "on_hold"])
def test_a_bottle_that_is_held_or_destroyed_gets_no_label(
    crew: make.Crew, lot: FillingLot, new: str
) -> None:
    bottle = make.bottles_of(lot)[2]
    by = crew.maker if new == "destroyed" else crew.reviewer
    hands.moved(by, bottle, new, "it leaks")
    why = refusal(lambda: labelled.issued(crew, lot))
    assert (why.field, "Bottle 3 is" in why.message) == ("numbers", True)
    labelled.issued(crew, lot, [1, 2])
    assert BottleEvent.objects.filter(bottle=bottle).count() == 2


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"numbers": [25]}, "numbers"),
        ({"numbers": [0]}, "numbers"),
        ({"numbers": []}, "numbers"),
        ({"numbers": [1], "specimens": 101}, "specimens"),
        ({"numbers": [1], "specimens": -1}, "specimens"),
    ],
)
def test_what_cannot_be_printed_is_refused_beside_its_field(
    crew: make.Crew, lot: FillingLot, changes: dict[str, Any], field: str
) -> None:
    labelled.approved(crew, lot)
    assert refusal(lambda: labelled.issued(crew, lot, **changes)).field == field


@pytest.mark.django_db
def test_specimens_alone_carry_no_identity(crew: make.Crew, lot: FillingLot) -> None:
    row = labelled.issued(crew, lot, [], specimens=3)
    assert not row.copies.exists()
    assert labelling.reconciliation(lot).issued == 3


@pytest.mark.django_db
def test_a_text_that_does_not_fit_is_refused_before_anything_is_written(
    crew: make.Crew, lot: FillingLot
) -> None:
    long = labelled.approved(crew, lot, directions="Use it sparingly. " * 120)
    acts = JournalEntry.objects.count()
    why = refusal(lambda: labelled.issued(crew, lot, [1], label=long, fits=check_fit))
    assert "does not fit on a label" in why.message
    assert JournalEntry.objects.count() == acts


@pytest.mark.django_db
def test_a_copy_cannot_be_there_twice(crew: make.Crew, lot: FillingLot) -> None:
    row = labelled.issued(crew, lot, [1])
    with pytest.raises(IntegrityError), transaction.atomic():
        LabelCopy.objects.create(issue=row, bottle=lot.bottles.get(number=1), copy=1)


# ------------------------------------------------------------------ the words


@pytest.mark.django_db
def test_the_text_of_an_issue_is_the_same_whatever_changes_later(
    crew: make.Crew, lot: FillingLot, settings: Settings
) -> None:
    settings.PUBLIC_URL = "https://kettle.hollow-beck.example"
    row = labelled.issued(crew, lot, [1, 2])
    placement, serials = labelling.placement_of(row), labelling.serials_of(row)
    text = labelling.text_of(row)
    drawn = b"".join(pages_of(text, placement, serials, row.specimens))
    assert text.contact == ("Hollow Beck Soapery", "2 Beck Lane, Hollow", "555 0100")
    assert (text.net, text.batch) == ("40 ml", lot.batch.number)
    assert labelling.is_at_address(row)

    # Where it is another day than in London: the day of filling stays.
    hour = lot.observed_at.astimezone(zoneinfo.ZoneInfo("Europe/London")).hour
    noon = 11
    Premises.objects.update(
        name="Another name",
        address="",
        poison_centre="0",
        decimal_mark=",",
        time_zone="Pacific/Kiritimati" if hour >= noon else "Pacific/Niue",
    )
    labelled.approved(crew, lot, directions="Shake first.", reason="it settles")
    again = LabelIssue.objects.get(pk=row.pk)
    assert labelling.text_of(again) == text
    assert labelling.placement_of(again) == placement
    assert labelling.serials_of(again) == serials
    assert b"".join(pages_of(labelling.text_of(again), placement, serials, 0)) == drawn
    settings.PUBLIC_URL = "https://elsewhere.example"
    assert not labelling.is_at_address(again)


@pytest.mark.django_db
def test_in_german_everything_is_said_in_german(
    crew: make.Crew, lot: FillingLot
) -> None:
    label = labelled.approved(
        crew, lot, language="de", product_name="Waschmittel", doses=True
    )
    row = labelled.issued(crew, lot, [1], label=label, doses=labelled.DOSES)
    text, german = labelling.text_of(row), words_in("de")
    assert text.doses == (
        (german.water_soft, "40 ml"),
        (german.water_medium, "65 ml"),
        (german.water_hard, "80 ml"),
    )
    assert text.contents.endswith(german.soap)
    assert text.language == "de"


@pytest.mark.django_db
def test_a_table_of_doses_without_doses_is_refused(
    crew: make.Crew, lot: FillingLot
) -> None:
    label = labelled.approved(crew, lot, doses=True)
    why = refusal(lambda: labelled.issued(crew, lot, [1], label=label))
    assert (why.field, "none can be reckoned" in why.message) == ("label", True)


@pytest.mark.django_db
def test_doses_are_not_printed_where_the_text_has_no_table(
    crew: make.Crew, lot: FillingLot
) -> None:
    row = labelled.issued(crew, lot, [1], doses=labelled.DOSES)
    assert labelling.text_of(row).doses == ()


@pytest.mark.django_db
def test_the_hazard_block_is_the_recorded_one(crew: make.Crew, lot: FillingLot) -> None:
    formula = lot.batch.formula_version.formula
    (found,) = label_texts.classify(
        by=crew.maker,
        formula=formula,
        signal="warning",
        statements=["Causes serious eye irritation."],
        identifier="A1B2-C3D4-E5F6-G7H8",
        basis="our consultant, by calculation",
    )
    label = labelled.approved(crew, lot, classification=found)
    hazard = labelling.text_of(labelled.issued(crew, lot, [1], label=label)).hazard
    assert hazard is not None
    assert (hazard.signal, hazard.statements, hazard.identifier) == (
        "Warning",
        "Causes serious eye irritation.",
        "A1B2-C3D4-E5F6-G7H8",
    )


@pytest.mark.django_db
def test_what_is_classified_as_not_hazardous_prints_no_block(
    crew: make.Crew, lot: FillingLot
) -> None:
    (found,) = label_texts.classify(
        by=crew.maker,
        formula=lot.batch.formula_version.formula,
        signal="none",
        basis="our consultant, by calculation",
    )
    label = labelled.approved(crew, lot, classification=found)
    row = labelled.issued(crew, lot, [1], label=label)
    assert labelling.text_of(row).hazard is None


# ------------------------------------------------------------------ class of contents


def reckoned(monkeypatch: pytest.MonkeyPatch, percent: str | None) -> None:
    """Let the soap content be this."""
    content = SoapContent(
        percent=None if percent is None else Decimal(percent),
        sentence="a weighing lacks",
    )
    monkeypatch.setattr(label_bands, "soap_content_of", lambda _: content)


LESS, FIVE, FIFTEEN, THIRTY = (band.wording for band in CONTENTS_BANDS)


# Edges of the classes: Regulation (EC) 648/2004, Annex VII A, "5 % or over but less
# than 15 %" and so on; an edge belongs to the class above it.
@pytest.mark.django_db
@pytest.mark.parametrize(
    ("percent", "band", "choices"),
    [
        ("4.9", LESS, (LESS, FIVE)),
        ("5", FIVE, (LESS, FIVE, FIFTEEN)),
        ("14.99", FIVE, (LESS, FIVE, FIFTEEN)),
        ("15", FIFTEEN, (FIVE, FIFTEEN, THIRTY)),
        ("30", THIRTY, (FIFTEEN, THIRTY)),
    ],
)
def test_the_class_is_the_one_reckoned_or_its_neighbour(
    lot: FillingLot,
    monkeypatch: pytest.MonkeyPatch,
    percent: str,
    band: str,
    choices: tuple[str, ...],
) -> None:
    reckoned(monkeypatch, percent)
    found = label_bands.bands_of(lot)
    assert (found.reckoned, found.choices) == (band, choices)


@pytest.mark.django_db
def test_another_class_than_the_one_reckoned_needs_a_reason_and_lies_next_to_it(
    crew: make.Crew, lot: FillingLot, monkeypatch: pytest.MonkeyPatch
) -> None:
    reckoned(monkeypatch, "14.8")
    why = refusal(lambda: labelled.issued(crew, lot, [1], band=FIFTEEN))
    assert (why.field, why.message[:7]) == ("band_reason", "Say why")
    why = refusal(lambda: labelled.issued(crew, lot, [1], band=THIRTY, band_reason="x"))
    assert (why.field, f"“{FIVE}” or “{FIFTEEN}”" in why.message) == ("band", True)
    why = refusal(
        lambda: labelled.issued(crew, lot, [1], band="plenty", band_reason="x")
    )
    assert why.field == "band"
    row = labelled.issued(crew, lot, [1], band=FIFTEEN, band_reason="± reaches it")
    assert (row.band, row.sheet["band_reckoned"], row.sheet["band_reason"]) == (
        FIFTEEN,
        FIVE,
        "± reaches it",
    )
    assert labelling.text_of(row).contents == f"{FIFTEEN} soap"


@pytest.mark.django_db
def test_where_no_content_is_known_the_maker_says_the_class_and_from_where(
    crew: make.Crew, lot: FillingLot, monkeypatch: pytest.MonkeyPatch
) -> None:
    reckoned(monkeypatch, None)
    why = refusal(lambda: labelled.issued(crew, lot, [1], band=""))
    assert (why.field, "a weighing lacks" in why.message) == ("band", True)
    why = refusal(lambda: labelled.issued(crew, lot, [1], band=THIRTY))
    assert why.field == "band_reason"
    row = labelled.issued(crew, lot, [1], band=THIRTY, band_reason="as bought")
    assert row.band == THIRTY


@pytest.mark.django_db
def test_a_spray_has_no_class_of_contents(crew: make.Crew) -> None:
    spray = make.filled(crew, make.released_liquid(crew, make.spray_version(crew)))
    label = labelled.approved(crew, spray, product_name="Greenfly spray")
    why = refusal(
        lambda: labelled.issued(
            crew, spray, [1], label=label, band=FIVE, band_reason="x"
        )
    )
    assert (why.field, "a spray has none" in why.message) == ("band", True)
    text = labelling.text_of(labelled.issued(crew, spray, [1], label=label))
    assert (text.contents, text.purpose, text.authority_reference) == ("", "spray", "")


# ------------------------------------------------------------------ counting


@pytest.mark.django_db
def test_no_more_labels_are_on_bottles_than_bottles_were_given_one(
    crew: make.Crew, lot: FillingLot
) -> None:
    labelled.issued(crew, lot, range(1, 11))
    labelled.issued(crew, lot, [1, 2], reason="torn")
    with pytest.raises(Refusal, match="12 labels would be on bottles") as caught:
        labelled.counted(crew, lot, Kind.APPLIED, 12)
    assert caught.value.field == "count"
    labelled.counted(crew, lot, Kind.APPLIED, 6)
    with pytest.raises(Refusal, match="With these 11"):
        labelled.counted(crew, lot, Kind.APPLIED, 5)
    row = labelled.counted(crew, lot, Kind.APPLIED, 4)
    with pytest.raises(Refusal, match="With these 11"):
        labelling.amend_count(by=crew.maker, row=row, reason="again", count=5)
    assert labelling.reconciliation(lot).applied == 10


@pytest.mark.django_db
def test_too_many_counted_is_recorded_and_said(
    crew: make.Crew, lot: FillingLot
) -> None:
    labelled.issued(crew, lot)
    labelled.counted(crew, lot, Kind.APPLIED, 24)
    row = labelled.counted(crew, lot, Kind.RETURNED, 2)
    now = labelling.reconciliation(lot)
    assert (now.open, now.closes) == (-2, False)
    assert now.sentence.startswith("26 counted of 24 labels: 2 too many.")
    labelling.amend_count(by=crew.maker, row=row, reason="not ours", void=True)
    assert labelling.reconciliation(lot).closes


@pytest.mark.django_db
def test_a_count_is_corrected_by_a_new_row(crew: make.Crew, lot: FillingLot) -> None:
    labelled.issued(crew, lot)
    row = labelled.counted(crew, lot, Kind.APPLIED, 22)
    new = labelling.amend_count(
        by=crew.maker, row=row, reason="two on the shelf below", count=24
    )
    assert (new.supersedes, new.reason) == (row, "two on the shelf below")
    assert LabelCount.objects.get(pk=row.pk).count == 22
    assert labelling.reconciliation(lot).closes
    with pytest.raises(Conflict, match="corrected already"):
        labelling.amend_count(by=crew.maker, row=row, reason="again", count=23)
    with pytest.raises(Refusal, match="Say why"):
        labelling.amend_count(by=crew.maker, row=new, reason=" ", count=23)


@pytest.mark.django_db
@pytest.mark.parametrize("count", [0, 100_001])
def test_a_count_of_none_or_of_far_too_many_is_no_count(
    crew: make.Crew, lot: FillingLot, count: int
) -> None:
    with pytest.raises(Refusal) as caught:
        labelled.counted(crew, lot, Kind.SPOILED, count)
    assert caught.value.field == "count"


@pytest.mark.django_db
def test_the_count_of_another_lot_changes_nothing_here(
    crew: make.Crew, lot: FillingLot
) -> None:
    other = make.filled(crew, lot.batch, count=2, nominal_ul=40_000)
    labelled.closed(crew, other)
    now = labelling.reconciliation(lot)
    assert (now.issued, now.counted, now.closes, now.unlabelled) == (0, 0, False, 24)
    assert now.sentence == "No label was printed yet."


counts = st.integers(min_value=0, max_value=5000)


@given(counts, counts, counts, counts, counts)
def test_the_count_closes_exactly_when_every_label_is_accounted_for(
    issued: int, applied: int, spoiled: int, returned: int, specimen: int
) -> None:
    found = Reconciliation(
        issued=issued,
        applied=applied,
        spoiled=spoiled,
        returned=returned,
        specimen=specimen,
    )
    parts = applied + spoiled + returned + specimen
    assert found.open + parts == issued
    assert found.closes == (issued > 0 and parts == issued)
    # Whoever reads the sentence alone knows as much.
    assert ("are accounted for" in found.sentence) == (
        found.closes and issued > 1
    ) or issued == 1
    if found.open > 0:
        assert found.sentence.startswith(f"{found.open} of ")
    if issued and found.open < 0:
        assert f"{-found.open} too many" in found.sentence


@given(issued=st.integers(min_value=1, max_value=9000), data=st.data())
def test_however_the_labels_went_one_more_or_less_opens_the_count(
    issued: int, data: st.DataObject
) -> None:
    cuts = sorted(data.draw(st.lists(st.integers(0, issued), min_size=3, max_size=3)))
    edges = [0, *cuts, issued]
    names = ("applied", "spoiled", "returned", "specimen")
    went = {
        name: after - before
        for name, before, after in zip(names, edges, edges[1:], strict=False)
    }
    assert Reconciliation(issued=issued, **went).closes
    name = data.draw(st.sampled_from(names))
    assert not Reconciliation(issued=issued, **{**went, name: went[name] + 1}).closes
    assert not Reconciliation(issued=issued + 1, **went).closes
