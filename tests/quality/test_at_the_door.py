"""What was in order at the release and is no more stops a bottle at the door."""

from __future__ import annotations

import datetime

import pytest
from django.test import Client
from django.urls import reverse

from batches.chemistry.dilution import CONTENTS_BANDS
from batches.models import (
    Batch,
    Bottle,
    BulkWeighing,
    Charge,
    Dispatch,
    FillingBalance,
    FillingLot,
    Formula,
    FormulaVersion,
    LabelCount,
)
from batches.services import carried, formulas, label_counts, labelling, samples
from batches.services.label_bands import bands_of
from producer.errors import Refusal
from quality.services import changing, filling_release, supplying
from tests import bottling, hands, labelled, leaving, make
from tests.database import without_triggers

pytestmark = pytest.mark.django_db
_, FIVE, FIFTEEN, THIRTY = (band.wording for band in CONTENTS_BANDS)
DAY = datetime.timedelta(days=1)


def send(crew: make.Crew, bottles: list[Bottle], kind: str = "private") -> Dispatch:
    to = make.consignee(crew.maker, f"somebody {kind}", kind)
    return supplying.dispatch(by=crew.maker, bottles=bottles, consignee=to)


def stopped(crew: make.Crew, bottles: list[Bottle], kind: str = "private") -> str:
    """Return why these bottles may not leave."""
    with pytest.raises(Refusal) as told:
        send(crew, bottles, kind)
    assert not Dispatch.objects.exists()
    return told.value.message


def weighed_less(crew: make.Crew, batch: Batch, less_mg: int) -> None:
    """Correct what came out of a batch after its signature."""
    row = BulkWeighing.objects.current().get(batch=batch)
    changing.change_weighing(
        by=crew.maker,
        weighing=row,
        gross_mg=row.gross_mg - less_mg,
        tare_mg=row.tare_mg,
        reason="tare of the other pot",
    )


def stronger(crew: make.Crew, lot: FillingLot) -> None:
    """Let less paste have come out, so that each gram of it holds more soap."""
    paste = Batch.objects.listed().get(formula_version__formula__kind=Formula.Kind.COOK)
    weighed_less(crew, paste, 124_000)
    make.sign(crew.reviewer, make.fresh(paste), "unhold")
    make.sign(crew.reviewer, make.fresh(lot.batch), "unhold")


# ------------------------------------------------------ the class of contents


def test_a_class_that_is_not_reckoned_any_more_stays_here(crew: make.Crew) -> None:
    lot = leaving.filled(crew)
    assert bands_of(lot).reckoned == FIFTEEN
    stronger(crew, lot)
    assert bands_of(lot).reckoned == THIRTY
    first, second = make.bottles_of(lot)
    assert {first.status, second.status} == {"filled"}
    for kind in ("private", "own_use"):
        why = stopped(crew, [first, second], kind)
        assert f"“{FIFTEEN}” on its label" in why
        assert f"by what is recorded now it is “{THIRTY}”" in why
        assert "Print a new label for it, copy 2, and say why" in why
    bottling.labels_issued(crew, lot, [first.number], reason="another class now")
    labelling.count_labels(by=crew.maker, filling_lot=lot, kind="spoiled", count=1)
    assert "copy 2" in stopped(crew, [second])
    assert send(crew, [first])


def with_class(crew: make.Crew, band: str) -> FillingLot:
    """Return a lot that may leave, with a class on its labels chosen for a reason."""
    lot = make.filled(crew)
    labelled.issued(crew, lot, band=band, band_reason="the ± reaches it")
    labelling.count_labels(
        by=crew.maker, filling_lot=lot, kind="applied", count=lot.count
    )
    bottling.weighed(crew, lot)
    bottling.released(crew, lot, bottling.NO_SAMPLE)
    return lot


def test_a_class_chosen_for_a_reason_stands_while_it_is_reckoned_as_then(
    crew: make.Crew,
) -> None:
    lot = with_class(crew, FIVE)
    bottles = make.bottles_of(lot)
    assert carried.wrong_class(bottles) == {}
    stronger(crew, lot)
    assert f"“{FIVE}” on its label" in stopped(crew, bottles)


def test_a_class_chosen_for_a_reason_and_reckoned_since_leaves(
    crew: make.Crew,
) -> None:
    lot = with_class(crew, THIRTY)
    stronger(crew, lot)
    assert send(crew, make.bottles_of(lot))


def test_a_class_that_nothing_can_be_reckoned_for_any_more_says_why(
    crew: make.Crew,
) -> None:
    lot = leaving.filled(crew)
    charges = Charge.objects.current().filter(batch=lot.batch)
    changing.change_charge(
        by=crew.maker,
        charge=charges.get(line__material__name="distilled water"),
        void=True,
        reason="was for another pot",
    )
    (words, again) = carried.wrong_class(make.bottles_of(lot)).values()
    assert "none can be reckoned now: More came out than went in" in words
    assert words == again


def test_a_spray_has_no_class_and_none_is_missed(crew: make.Crew) -> None:
    lot = leaving.filled(crew, make.released_liquid(crew, make.spray_version(crew)))
    assert carried.wrong_class(make.bottles_of(lot)) == {}


def test_a_class_that_is_none_of_it_stands_in_the_way_of_the_release(
    crew: make.Crew,
) -> None:
    lot = bottling.ready(crew)
    stronger(crew, lot)
    (words,) = filling_release.in_the_way(filling_release.looked_at(lot))
    assert words.startswith(f"Bottle 1, 2 carries the class of contents “{FIFTEEN}”")


# ------------------------------------------------------- labels on the bottles


def miscounted(crew: make.Crew, lot: FillingLot) -> None:
    """Correct a count after the release: one applied fewer, one more spoiled."""
    row = LabelCount.objects.current().get(filling_lot=lot, kind="applied")
    labelling.amend_count(
        by=crew.maker, row=row, count=row.count - 1, reason="counted again"
    )
    labelling.count_labels(by=crew.maker, filling_lot=lot, kind="spoiled", count=1)


def test_with_fewer_labels_applied_than_bottles_need_none_leaves(
    crew: make.Crew,
) -> None:
    lot = leaving.filled(crew)
    miscounted(crew, lot)
    assert label_counts.open_counts([lot]) == {}
    why = stopped(crew, make.bottles_of(lot)[:1])
    assert f"{lot.code} needs 2 labels on bottles that left or are here to leave" in why
    assert "counted as applied: 1." in why


@pytest.mark.parametrize("then", ["dispatched", "returned", "recovered"])
def test_a_bottle_that_left_had_a_label_too(crew: make.Crew, then: str) -> None:
    lot = leaving.filled(crew)
    out, here = make.bottles_of(lot)
    send(crew, [out])
    if then != "dispatched":
        hands.moved(crew.maker, out, then, "wrong size")
    miscounted(crew, lot)
    with pytest.raises(Refusal, match="needs 2 labels on bottles"):
        send(crew, [here])


def test_what_is_destroyed_or_kept_needs_no_label(crew: make.Crew) -> None:
    lot = leaving.filled(crew, count=3, nominal_ul=250_000)
    broken, kept, here = make.bottles_of(lot)
    hands.moved(crew.maker, broken, "destroyed", "it broke")
    samples.retain(
        by=crew.maker, filling_lot=lot, bottle=kept, place=bottling.shelf(crew)
    )
    miscounted(crew, lot)
    assert send(crew, [here])


def test_a_lot_from_before_labels_were_counted_needs_none(crew: make.Crew) -> None:
    lot = make.filled(crew)
    assert label_counts.too_few([lot]).keys() == {lot.pk}
    with without_triggers():
        FillingBalance.objects.all().delete()
    assert label_counts.too_few([lot]) == {}


# ------------------------------------------------------- an authority's number

NO_NUMBER = (
    ("?", make.TODAY, "“?” is no number"),
    (" - ", make.TODAY, "“-” is no number"),
    ("PPP 7", make.TODAY + DAY, "was still to come"),
    ("PPP 7", datetime.date(1950, 3, 1), "1 Mar 1950 is more than ten years before"),
)


def written_anew(
    crew: make.Crew, reference: str, checked_on: datetime.date
) -> FormulaVersion:
    former = make.spray_version(crew)
    return formulas.write_version(
        by=crew.maker,
        formula=former.formula,
        wording=formulas.Wording(
            product_name=former.product_name,
            shelf_life_days=180,
            authority_reference=reference,
            authority_checked_on=checked_on,
        ),
        lines=[
            formulas.Line(
                material=one.material,
                source_formula=one.source_formula,
                per_kg_mg=one.per_kg_mg,
            )
            for one in former.lines.all()
        ],
        reason="the authority wrote",
    )


@pytest.mark.parametrize(("reference", "checked_on", "words"), NO_NUMBER)
def test_what_is_no_number_of_an_authority_is_not_written_down(
    crew: make.Crew, reference: str, checked_on: datetime.date, words: str
) -> None:
    with pytest.raises(Refusal, match=r"Write the|Check the rules") as told:
        written_anew(crew, reference, checked_on)
    assert words in told.value.message
    wrong_day = reference.startswith("PPP")
    field = "authority_checked_on" if wrong_day else "authority_reference"
    assert told.value.field == field
    assert written_anew(crew, " PPP 7 ", make.TODAY).authority_reference == "PPP 7"


@pytest.mark.parametrize(("reference", "checked_on", "words"), NO_NUMBER)
def test_one_from_before_it_was_refused_opens_no_gate(
    crew: make.Crew,
    monkeypatch: pytest.MonkeyPatch,
    reference: str,
    checked_on: datetime.date,
    words: str,
) -> None:
    with monkeypatch.context() as before:
        before.setattr(formulas, "number_refused", lambda *_, **__: None)
        version = written_anew(crew, reference, checked_on)
    make.set_limits(crew.reviewer, version)
    bottles = leaving.bottles(crew, make.released_liquid(crew, version))
    why = stopped(crew, bottles)
    assert "is for own use on the premises only" in why.replace("it is for", "is for")
    assert words in why
    assert send(crew, bottles, "own_use")


def test_the_form_says_that_it_is_the_number_itself(
    crew: make.Crew, client: Client
) -> None:
    client.force_login(crew.maker)
    page = client.get(reverse("batches:formula_new")).content.decode()
    assert "The number itself, as it stands in the authority" in page
