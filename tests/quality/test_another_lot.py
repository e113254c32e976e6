"""A lot number misread, found out after the signature: what follows, and what stays."""

from __future__ import annotations

import functools
import re
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from batches import trace
from batches.models import Batch, Bottle, Charge, Input
from batches.services import cooking
from batches.services.results import excess_alkali_of
from batches.trace import believed
from producer import journal
from producer.errors import Conflict, NotEnough, Refusal
from producer.models import JournalEntry, RawLot, Stock, User
from producer.services import intake
from producer.services import stock as ledger
from quality.models import SignatureMark
from quality.services import changing, recall_affected, reviewing, signing
from quality.services.export_tables import making
from quality.services.verification import CHECKS, quiet
from tests import leaving, make
from tests.batches.test_trace import three_deep
from tests.database import row_counts, while_uncommitted
from tests.doors.pages import page_of

pytestmark = pytest.mark.django_db
KG = make.KG


def potash(crew: make.Crew, supplier_lot: str, percent: str = "90") -> RawLot:
    """Return a released lot of potash with a certificate of this assay."""
    return make.released_lot(
        crew,
        make.potash(crew.maker),
        supplier_lot=supplier_lot,
        certificate={"assay_percent": Decimal(percent)},
    )


def charge_of(batch: Batch, lot: RawLot) -> Charge:
    return Charge.objects.current().get(batch=batch, source=lot.stock)


def true_lot(by: User, charge: Charge, lot: RawLot, **facts: Any) -> Charge:
    """Say, after the signature, that a charge was of another lot."""
    said = {
        "gross_mg": charge.gross_mg,
        "tare_mg": charge.tare_mg,
        "reason": "OL-0071 was read for OL-0017",
        **facts,
    }
    return changing.change_charge(by=by, charge=charge, source=lot.stock, **said)


def everything_verified() -> list[str]:
    """Return every fault that verify finds."""
    return [fault for check in CHECKS for fault in check.walk(quiet)]


def client_of(user: User) -> Client:
    client = Client()
    client.force_login(user)
    return client


def test_scenario_13_a_mistyped_lot_corrected_a_month_later(crew: make.Crew) -> None:
    """Given 0071 entered, truly 0017; both walks, as believed and as corrected."""
    written, true = potash(crew, "OL-0071"), potash(crew, "OL-0017")
    paste = make.released_paste(crew, sources={"potash": written.stock})
    liquid = make.released_liquid(crew, paste=paste)
    lot = make.filled(crew, liquid)
    _, sent = make.bottles_of(lot)
    leaving.sent(crew, [sent], consignee=make.consignee(crew.maker))
    row = charge_of(paste, written)
    (signature,) = paste.signatures.all()
    before, entries = timezone.now(), JournalEntry.objects.count()
    known = {one.pk: set(trace.downstream_ids(one.pk)) for one in (written, true)}
    assert known[written.pk] == {written.pk, paste.pk, liquid.pk}

    again = true_lot(crew.maker, row, true)

    # as corrected
    assert trace.downstream_ids(written.pk) == [written.pk]
    assert set(trace.downstream_ids(true.pk)) == {true.pk, paste.pk, liquid.pk}
    assert trace.bottle_count(written.pk) == 0
    assert trace.bottle_count(true.pk) == lot.count
    assert recall_affected.affected_by(written.stock).bottle_count == 0
    assert recall_affected.affected_by(true.stock).bottle_count == lot.count
    # as believed until then
    for one in (written, true):
        then = believed.downstream_as_believed(one.pk, before)
        assert set(then) == known[one.pk]
        now = believed.downstream_as_believed(one.pk, again.entered_at)
        assert set(now) == set(trace.downstream_ids(one.pk))
    (moved,) = believed.changes_of_source(written.pk)
    assert believed.changes_of_source(true.pk) == [moved]
    assert (moved.old, moved.new, moved.batch) == (written.stock, true.stock, paste)
    assert (moved.mass_mg, moved.at, moved.by, moved.reason) == (
        row.net_mg,
        again.entered_at,
        crew.maker,
        "OL-0071 was read for OL-0017",
    )
    # the signature is void, what is here is held, what is out is told
    (mark,) = SignatureMark.objects.all()
    assert mark.signature == signature
    assert mark.sentence.startswith(f"Charge of {written.code}, ")
    assert mark.sentence.endswith(f", was of {true.code}.")
    assert make.fresh(paste).status == make.fresh(liquid).status == "on_hold"
    states = Bottle.objects.order_by("number").values_list("status", flat=True)
    assert list(states) == ["on_hold", "dispatched"]
    assert JournalEntry.objects.count() == entries + 1
    entry = JournalEntry.objects.order_by("-sequence")[0]
    assert entry.act == "charge corrected after signature"
    assert entry.before_values["source"] == written.code
    assert entry.after_values["source"] == true.code
    assert entry.after_values["signatures_void"] == [signature.pk]
    assert entry.after_values["bottles_out"] == 1
    # nothing is lost, and everything closes
    assert Charge.objects.get(pk=row.pk).source == written.stock
    assert Stock.objects.get(pk=written.pk).on_hand_mg == 5 * KG
    assert Stock.objects.get(pk=true.pk).on_hand_mg == 5 * KG - row.net_mg
    assert everything_verified() == []
    assert list(journal.faults()) == []
    assert list(signing.faults()) == []


def test_the_alkali_is_computed_anew_with_the_true_lot_and_judged(
    crew: make.Crew,
) -> None:
    written, true = potash(crew, "71", "85"), potash(crew, "17", "95")
    paste = make.released_paste(crew, sources={"potash": written.stock})
    before = excess_alkali_of(paste)
    row = charge_of(paste, written)

    again = true_lot(crew.maker, row, true)

    after = excess_alkali_of(paste)
    assert before is not None
    assert after is not None
    grams = Decimal(row.net_mg) / 1000
    assert after - before == pytest.approx(grams * Decimal("0.10"), abs=Decimal("0.01"))
    assert again.figure == Decimal("0.95")
    obstacles = " ".join(reviewing.review_of(paste, by=crew.reviewer).obstacles)
    assert "it is caustic" in obstacles
    assert changing.caustic_and_out(make.fresh(paste)) == 0  # none is out


def test_a_rejected_true_lot_stops_the_release_of_all_that_has_it(
    crew: make.Crew,
) -> None:
    written, true = potash(crew, "71"), potash(crew, "17")
    paste = make.released_paste(crew, sources={"potash": written.stock})
    liquid = make.released_liquid(crew, paste=paste)
    row = charge_of(paste, written)
    for new in ("on_hold", "rejected"):
        fresh = RawLot.objects.listed().get(pk=true.pk)
        intake.decide_lot(by=crew.reviewer, lot=fresh, new=new, reason="soda in it")
    before = row_counts()
    with pytest.raises(Refusal, match="is rejected, not released"):
        true_lot(crew.maker, row, true)
    assert row_counts() == before
    true_lot(crew.maker, row, true, certain=True)
    for batch in (paste, liquid):
        with pytest.raises(Refusal, match=f"{true.code}.*is in it and is rejected"):
            make.sign(crew.reviewer, make.fresh(batch), "unhold")
    assert everything_verified() == []


def test_an_emptied_true_lot_is_set_right_after_the_signature_too(
    crew: make.Crew,
) -> None:
    written, true = potash(crew, "71"), potash(crew, "17")
    paste = make.released_paste(crew, sources={"potash": written.stock})
    row = charge_of(paste, written)
    ledger.adjust(by=crew.maker, lot=true, counted_mg=0, reason="counted: it is empty")
    with pytest.raises(NotEnough, match="are added to the book in the same act"):
        true_lot(crew.maker, row, true)
    true_lot(crew.maker, row, true, certain=True)
    assert Stock.objects.get(pk=true.pk).on_hand_mg == 0
    assert everything_verified() == []


def test_the_same_lot_again_is_no_change(crew: make.Crew) -> None:
    written = potash(crew, "71")
    paste = make.released_paste(crew, sources={"potash": written.stock})
    with pytest.raises(Refusal, match="stands already"):
        true_lot(crew.maker, charge_of(paste, written), written)
    assert make.fresh(paste).status == "released"


def test_reviewed_again_it_is_released_with_the_true_lot(crew: make.Crew) -> None:
    written, true = potash(crew, "71"), potash(crew, "17")
    paste = make.released_paste(crew, sources={"potash": written.stock})
    true_lot(crew.maker, charge_of(paste, written), true)
    make.sign(crew.reviewer, make.fresh(paste), "unhold", reason="it is the same paper")
    assert make.fresh(paste).status == "released"
    assert everything_verified() == []


def test_scenario_14_no_loop_by_naming_another_source_after_the_signature(
    crew: make.Crew,
) -> None:
    """P1 is in P2 is in P3. No charge of any of them becomes one of another."""
    _, made = three_deep(crew)
    edges = set(Input.objects.values_list("batch", "source", "mass_mg"))
    for batch in made:
        for charge in Charge.objects.current().filter(batch=batch):
            for other in made:
                if other.pk == charge.source_id:
                    continue
                with pytest.raises(Refusal, match="another raw lot only") as told:
                    changing.change_charge(
                        by=crew.maker,
                        charge=charge,
                        source=other.stock,
                        gross_mg=charge.gross_mg,
                        tare_mg=charge.tare_mg + 1,
                        certain=True,
                        reason="a loop",
                    )
                assert "Take this charge back instead" in told.value.message
    of_batch = Charge.objects.current().get(batch=made[1], source=made[0].stock)
    lot = potash(crew, "17")
    with pytest.raises(Refusal, match="another raw lot only"):
        true_lot(crew.maker, of_batch, lot)
    assert set(Input.objects.values_list("batch", "source", "mass_mg")) == edges


def test_scenario_14_the_shares_three_deep_follow_a_corrected_lot(
    crew: make.Crew,
) -> None:
    """By hand: 226.778 g of potash in 1646.778 g of P1, and in P2 and P3 of that.

    Named to be of another lot, the whole share goes over to it, and none stays.
    """
    written, (first, second, third) = three_deep(crew)
    true = potash(crew, "17")
    true_lot(crew.maker, charge_of(first, written), true)
    s = Fraction(226_778, 1_646_778)
    expected = {
        first.pk: s,
        second.pk: s * Fraction(700, 720),
        third.pk: s * Fraction(700, 720) * Fraction(600, 620),
    }
    shares = recall_affected.affected_by(true.stock).shares
    assert {pk: shares[pk].least for pk in expected} == expected
    assert recall_affected.affected_by(written.stock).shares.keys() <= {written.pk}
    assert everything_verified() == []


def test_the_export_has_both_rows_each_with_its_lot(crew: make.Crew) -> None:
    written, true = potash(crew, "71"), potash(crew, "17")
    paste = make.released_paste(crew, sources={"potash": written.stock})
    row = charge_of(paste, written)
    again = true_lot(crew.maker, row, true)
    table = making.CHARGES
    said = [dict(zip(table.head, one, strict=True)) for one in table.rows(paste)]
    rows = {one["id"]: one for one in said}
    assert rows[row.pk]["source"] == written.code
    assert rows[again.pk]["source"] == true.code
    assert rows[again.pk]["supersedes"] == row.pk


def test_the_page_names_the_lots_and_says_what_stands_in_the_way(
    crew: make.Crew,
) -> None:
    written, true = potash(crew, "OL-0071"), potash(crew, "OL-0017")
    paste = make.released_paste(crew, sources={"potash": written.stock})
    row = charge_of(paste, written)
    ledger.adjust(by=crew.maker, lot=true, counted_mg=0, reason="counted: it is empty")
    address = reverse("quality:change_charge", args=[paste.number, row.pk])
    client = client_of(crew.maker)
    words = page_of(client.get(address)).words
    for said in (
        "Lot was",
        "supplier's lot OL-0071",
        f"{true.code} – Fenwick Lye and Oil, lot OL-0017, received",
        "0 g left",
        "The lot that it was",
        "every trace and recall follows",
    ):
        assert said in words
    form = {
        "submission": "6e1c1f0e-3d4a-4f5c-9a41-0000000000b1",
        "source": true.pk,
        "reason": "read the sack again",
    }
    answer = client.post(address, form)
    assert answer.status_code == 200
    assert "are added to the book in the same act" in page_of(answer).words
    assert make.fresh(paste).status == "released"

    answer = client.post(address, {**form, "certain": "on"}, follow=True)

    assert charge_of(paste, true).net_mg == row.net_mg  # left empty: as it was
    told = page_of(answer).words
    assert f"Counted since it was weighed in: {true.code}." in told
    for page in (
        reverse("producer:lot", args=[written.code]),
        reverse("producer:lot", args=[true.code]),
        reverse("quality:affected", args=[written.code]),
    ):
        shown = page_of(client.get(page)).words
        assert "Charges moved by a correction" in shown
        assert paste.number in shown
        assert "read the sack again" in shown
    record = page_of(client.get(reverse("batches:batch", args=[paste.number]))).words
    assert f"written as {written.code} before" in record


def test_before_the_signature_the_page_names_the_lots_too(crew: make.Crew) -> None:
    written, true = potash(crew, "OL-0071"), potash(crew, "OL-0017")
    batch = make.open_batch(crew)
    make.charge_all(crew, batch, {"potash": written.stock})
    row = charge_of(batch, written)
    address = reverse("batches:charge_amend", args=[batch.number, row.pk])
    client = client_of(crew.maker)
    assert "lot OL-0017" in page_of(client.get(address)).words
    form = {"submission": "6e1c1f0e-3d4a-4f5c-9a41-0000000000b2", "reason": "misread"}
    answer = client.post(address, {**form, "source": written.pk})
    assert page_of(answer).words.count("This is needed.") >= 2  # nothing is another
    answer = client.post(address, {**form, "source": true.pk})
    assert answer.status_code == 302
    assert charge_of(batch, true).gross_mg == row.gross_mg


def row_of(client: Client, page: str) -> list[str]:
    """Return the last cells of the table: what was believed until each correction."""
    content = client.get(page).content.decode()
    label = 'data-label="Until then believed to be in">'
    cells = [piece.split("</td>")[0] for piece in content.split(label)[1:]]
    return [" ".join(re.sub(r"<[^>]+>", " ", cell).split()) for cell in cells]


def test_the_page_says_what_was_believed_to_be_made_from_each_until_then(
    crew: make.Crew,
) -> None:
    written, true = potash(crew, "OL-0071"), potash(crew, "OL-0017")
    paste = make.released_paste(crew, sources={"potash": written.stock})
    liquid = make.released_liquid(crew, paste=paste)
    again = true_lot(crew.maker, charge_of(paste, written), true)
    changing.change_charge(by=crew.maker, charge=again, void=True, reason="of neither")
    client = client_of(crew.maker)
    both = f"{paste.number} , {liquid.number}"
    for name in ("producer:lot", "quality:affected"):
        pages = {one: reverse(name, args=[one.code]) for one in (written, true)}
        assert row_of(client, pages[written]) == [both]
        # It was not believed to be in them, then it was, and it never was.
        assert row_of(client, pages[true]) == ["nothing", both]
        shown = page_of(client.get(pages[true])).words
        assert "nothing: the charge was taken back" in shown
        assert "of neither" in shown
    assert trace.downstream_ids(true.pk) == [true.pk]


def test_a_charge_taken_back_tells_what_it_had_been(crew: make.Crew) -> None:
    written = potash(crew, "OL-0071")
    paste = make.released_paste(crew, sources={"potash": written.stock})
    row = charge_of(paste, written)
    less = changing.change_charge(
        by=crew.maker,
        charge=row,
        gross_mg=row.gross_mg - 100,
        tare_mg=row.tare_mg,
        reason="misread",
    )
    assert believed.changes_of_source(written.pk) == []  # of the same lot all the time
    changing.change_charge(by=crew.maker, charge=less, void=True, reason="not this")
    (one,) = believed.changes_of_source(written.pk)
    assert (one.old, one.new, one.mass_mg) == (written.stock, None, less.net_mg)
    assert believed.made_from_it_until(written.pk, one) == [paste.number]


def test_a_lot_that_nothing_was_moved_to_says_nothing(crew: make.Crew) -> None:
    lot = potash(crew, "OL-0071")
    words = page_of(
        client_of(crew.maker).get(reverse("producer:lot", args=[lot.code]))
    ).words
    assert "moved by a correction" not in words


@pytest.mark.django_db(transaction=True)
def test_of_two_who_name_the_true_lot_at_once_one_is_told(crew: make.Crew) -> None:
    written, true, third = (potash(crew, one) for one in ("71", "17", "7"))
    paste = make.released_paste(crew, sources={"potash": written.stock})
    row = charge_of(paste, written)
    results = while_uncommitted(
        functools.partial(true_lot, crew.maker, row, true),
        functools.partial(true_lot, crew.reviewer, row, third),
    )
    assert isinstance(results[0], Charge)
    assert isinstance(results[1], Conflict)
    assert SignatureMark.objects.count() == 1
    assert Stock.objects.get(pk=third.pk).on_hand_mg == 5 * KG
    assert everything_verified() == []


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("draws_first", [True, False])
def test_the_true_lot_is_drawn_from_at_the_same_moment(
    crew: make.Crew, *, draws_first: bool
) -> None:
    """Neither waits for the other for ever, and both books close."""
    written, true = potash(crew, "71"), potash(crew, "17")
    paste = make.released_paste(crew, sources={"potash": written.stock})
    row = charge_of(paste, written)
    pot = make.open_batch(crew)
    make.charge_all(crew, pot, {"potash": written.stock})
    mistaken = charge_of(pot, written)
    draw = functools.partial(
        cooking.amend_charge,
        by=crew.maker,
        charge=mistaken,
        source=true.stock,
        gross_mg=mistaken.gross_mg,
        tare_mg=mistaken.tare_mg,
        reason="read the sack again",
    )
    # The other pot weighed the written lot, and it agreed with its book.
    name = functools.partial(true_lot, crew.reviewer, row, true, certain=True)
    results = while_uncommitted(*((draw, name) if draws_first else (name, draw)))
    assert [type(one) for one in results] == [Charge, Charge]
    assert Stock.objects.get(pk=written.pk).on_hand_mg == 5 * KG
    assert Stock.objects.get(pk=true.pk).on_hand_mg == (
        5 * KG - row.net_mg - mistaken.net_mg
    )
    assert everything_verified() == []
