"""A bad batch holds what was made from it, and nothing of that leaves."""

from __future__ import annotations

import functools

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from batches.models import Batch, Bottle, Charge, Dispatch
from producer.errors import Refusal
from producer.models import JournalEntry, Material, RawLot
from producer.services import intake, journal_reading
from producer.services.journal_reading import Asked
from quality.models import Signature
from quality.services import (
    changing,
    exporting,
    holding,
    recalling,
    reviewing,
)
from quality.services.consequences import choices_of
from tests import leaving, make
from tests.database import run, while_uncommitted
from tests.quality.test_changing import change_ph, last_entry
from tests.quality.test_changing_pages import SUBMISSION, client_of, text_of
from tests.quality.test_revising import potash, revise


@pytest.fixture
def chain(crew: make.Crew) -> tuple[Batch, Batch, Batch]:
    """Return a paste, a blend of it and a liquid of the blend, all released."""
    paste = make.released_paste(crew)
    blend = make.cooked_batch(
        crew,
        make.blend_version(crew),
        sources={"batch": paste.stock},
        basis_mg=600_000,
        share="0.99",
    )
    blend = make.signed(crew.reviewer, blend, "release")
    version = make.liquid_version(crew, source=blend.formula_version.formula)
    liquid = make.released_liquid(crew, version, paste=blend, basis_mg=300_000)
    return paste, blend, liquid


def states(*batches: Batch) -> list[str]:
    return [make.fresh(batch).status for batch in batches]


def send(crew: make.Crew, *bottles: Bottle) -> Dispatch:
    return leaving.sent(crew, bottles, consignee=make.consignee(crew.maker))


@pytest.mark.django_db
@pytest.mark.parametrize("act", ["change", "hold"])
def test_what_was_made_from_it_is_held_at_any_depth_in_the_same_act(
    crew: make.Crew, chain: tuple[Batch, Batch, Batch], act: str
) -> None:
    paste, blend, liquid = chain
    here, sent = make.bottles_of(make.filled(crew, liquid, nominal_ul=100_000))
    send(crew, sent)
    written = JournalEntry.objects.count()

    if act == "change":
        change_ph(crew.maker, paste)
    else:
        make.sign(crew.reviewer, paste, "hold", reason="smells odd")

    assert JournalEntry.objects.count() == written + 1
    assert states(*chain) == ["on_hold"] * 3
    here.refresh_from_db()
    sent.refresh_from_db()
    assert (here.status, sent.status) == ("on_hold", "dispatched")
    move = holding.last_hold(make.fresh(liquid))
    assert move is not None
    assert f"Batch {paste.number} is in it and was" in move.reason
    after = last_entry().after_values
    held = {paste.number, blend.number, liquid.number}
    assert set(after["batches_held"]) | {paste.number} == held
    assert (after["bottles_held"], after["bottles_out"]) == (1, 1)
    with pytest.raises(Refusal, match=f"{paste.number} is in it and is on hold"):
        make.sign(crew.reviewer, liquid, "unhold")
    with pytest.raises(Refusal, match="on hold"):
        send(crew, here)


@pytest.mark.django_db
def test_each_is_freed_on_its_own_and_its_bottles_with_it(
    crew: make.Crew, chain: tuple[Batch, Batch, Batch]
) -> None:
    paste, blend, liquid = chain
    bottle, _ = make.bottles_of(make.filled(crew, liquid, nominal_ul=100_000))
    make.sign(crew.reviewer, paste, "hold")
    make.sign(crew.reviewer, paste, "unhold")
    assert states(*chain) == ["released", "on_hold", "on_hold"]
    make.sign(crew.reviewer, blend, "unhold")
    make.sign(crew.reviewer, liquid, "unhold")
    bottle.refresh_from_db()
    assert bottle.status == "filled"
    send(crew, bottle)


@pytest.mark.django_db
def test_what_was_made_from_a_rejected_batch_says_what_is_left_to_do(
    crew: make.Crew,
) -> None:
    paste = make.released_paste(crew)
    liquid = make.released_liquid(crew, paste=paste)
    make.filled(crew, liquid)
    make.sign(crew.reviewer, paste, "hold")
    # as if it had been freed before holds went further down
    run("UPDATE batches_batch SET status = 'released' WHERE stock_id = %s", liquid.pk)
    run("UPDATE batches_bottle SET status = 'filled'")
    make.sign(crew.reviewer, paste, "reject", reason="mould")
    assert states(paste, liquid) == ["rejected", "on_hold"]
    assert set(Bottle.objects.values_list("status", flat=True)) == {"on_hold"}
    obstacles = " ".join(
        reviewing.review_of(make.fresh(liquid), by=crew.reviewer).obstacles
    )
    assert f"{paste.number} is in it and is rejected. So this batch cannot" in obstacles
    make.sign(crew.reviewer, liquid, "reject")  # and so it can be disposed of


@pytest.mark.django_db(transaction=True)
def test_a_bottle_of_a_batch_made_from_one_that_is_held_at_that_moment_stays(
    crew: make.Crew,
) -> None:
    paste = make.released_paste(crew)
    bottles = make.bottles_of(
        make.filled(crew, make.released_liquid(crew, paste=paste))
    )
    make.consignee(crew.maker)
    results = while_uncommitted(
        functools.partial(make.sign, crew.reviewer, paste, "hold"),
        functools.partial(send, crew, *bottles),
    )
    assert isinstance(results[0], Signature)
    assert isinstance(results[1], Refusal)
    assert set(Bottle.objects.values_list("status", flat=True)) == {"on_hold"}


@pytest.mark.django_db(transaction=True)
def test_a_batch_released_at_that_moment_is_held_as_well(crew: make.Crew) -> None:
    paste = make.released_paste(crew)
    waiting = make.diluted_batch(crew, paste=paste)
    results = while_uncommitted(
        functools.partial(make.sign, crew.reviewer, waiting),
        functools.partial(make.sign, crew.reviewer, paste, "hold"),
    )
    assert not [one for one in results if isinstance(one, Exception)]
    assert states(paste, waiting) == ["on_hold", "on_hold"]


# ------------------------------------------------------------------ at the door


def bad_lot(crew: make.Crew, new: str) -> tuple[str, list[Bottle]]:
    lot = potash(crew)
    paste = make.released_paste(crew, sources={"potash": lot.stock})
    bottles = make.bottles_of(
        make.filled(crew, make.released_liquid(crew, paste=paste))
    )
    for status in ("on_hold", new) if new != "on_hold" else (new,):
        intake.decide_lot(
            by=crew.reviewer,
            lot=RawLot.objects.listed().get(pk=lot.pk),
            new=status,
            reason="damp",
        )
    return lot.code, bottles


@pytest.mark.django_db
@pytest.mark.parametrize("new", ["on_hold", "rejected"])
def test_nothing_leaves_that_has_a_bad_lot_in_it_and_the_lot_is_named(
    crew: make.Crew, new: str
) -> None:
    code, bottles = bad_lot(crew, new)
    with pytest.raises(Refusal, match=f"{code} in it is") as refusal:
        send(crew, *bottles)
    assert refusal.value.field == "codes"
    assert set(Bottle.objects.values_list("status", flat=True)) == {"filled"}


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("status", "leaves"),
    [("on_hold", False), ("rejected", False), ("disposed", False), ("reworked", True)],
)
def test_a_parent_that_is_bad_stops_a_bottle_and_one_for_rework_does_not(
    crew: make.Crew, status: str, *, leaves: bool
) -> None:
    paste = make.released_paste(crew)
    bottles = make.bottles_of(
        make.filled(crew, make.released_liquid(crew, paste=paste))
    )
    run("UPDATE batches_batch SET status = %s WHERE stock_id = %s", status, paste.pk)
    if leaves:
        send(crew, *bottles)
        return
    with pytest.raises(Refusal, match=f"{paste.number} in it is"):
        send(crew, *bottles)


# ------------------------------------------------------------------ what is said


@pytest.mark.django_db
def test_the_pages_say_what_is_held_and_why(crew: make.Crew) -> None:
    paste = make.released_paste(crew)
    liquid = make.released_liquid(crew, paste=paste)
    here, sent = make.bottles_of(make.filled(crew, liquid))
    send(crew, sent)
    foreseen = changing.foreseen(paste)
    assert (foreseen.bottles_here, foreseen.bottles_out) == (1, 1)
    review = reviewing.review_of(paste, by=crew.reviewer)
    (hold,) = choices_of(paste, review)
    assert f"put on hold too: {liquid.number}; bottles" in hold.consequence
    assert "Bottles that are out: 1" in hold.consequence

    make.sign(crew.reviewer, paste, "hold", reason="smells odd")
    for name, arg in (
        ("batches:batch", liquid.number),
        ("quality:review", liquid.number),
        ("quality:bottle", here.code),
    ):
        text = text_of(client_of(crew.reviewer), reverse(name, args=[arg]))
        assert f"Batch {paste.number} is in it and was put on hold. smells odd" in text
        assert reverse("quality:affected", args=[liquid.number]) in text


@pytest.mark.django_db
def test_bottles_out_of_a_batch_that_turns_out_caustic_are_warned_of(
    crew: make.Crew,
) -> None:
    paste = make.released_paste(crew)
    liquid = make.released_liquid(crew, paste=paste)
    _, sent = make.bottles_of(make.filled(crew, liquid))
    send(crew, sent)
    charge = Charge.objects.current().get(
        batch=paste, source__lot__material__kind=Material.Kind.POTASH
    )
    client = client_of(crew.maker)
    gross_mg = charge.gross_mg + charge.net_mg // 4000 * 1000
    answer = client.post(
        reverse("quality:change_charge", args=[paste.number, charge.pk]),
        {
            "submission": SUBMISSION,
            "gross_mg": f"{gross_mg} mg",
            "tare_mg": f"{charge.tare_mg} mg",
            "reason": "read the wrong line",
        },
        follow=True,
    )
    assert (
        Charge.objects.current().get(pk__gt=charge.pk, batch=paste).supersedes == charge
    )
    text = " ".join(answer.content.decode().split())
    assert "<strong>Bottles that are out may be caustic: 1.</strong>" in text
    where = reverse("quality:affected", args=[paste.number])
    assert f'<a href="{where}">See where they are, and decide about a recall' in text
    again = text_of(client, reverse("batches:batch", args=[paste.number]))
    assert "Bottles that are out may be caustic" in again


@pytest.mark.django_db
def test_control_a_small_correction_makes_nothing_caustic(crew: make.Crew) -> None:
    lot = make.filled(crew)
    send(crew, make.bottles_of(lot)[0])
    change_ph(crew.maker, lot.batch)
    assert changing.caustic_and_out(make.fresh(lot.batch)) == 0


# ------------------------------------------------------------------ in the journal


def found_on(code: str) -> list[tuple[str, str]]:
    rows = journal_reading.acts(Asked(on=code))
    return list(rows.values_list("act", "subject_label"))


@pytest.mark.django_db
def test_acts_that_moved_a_record_are_found_by_it(crew: make.Crew) -> None:
    lot = potash(crew)
    paste = make.released_paste(crew, sources={"potash": lot.stock})
    liquid = make.released_liquid(crew, paste=paste)
    filling_lot = make.filled(crew, liquid)
    here, sent = make.bottles_of(filling_lot)
    dispatch = send(crew, sent)
    other = make.released_paste(crew, sources={"potash": potash(crew).stock})
    revise(crew.maker, lot)
    recall = recalling.open_recall(
        by=crew.reviewer,
        root=lot.stock,
        hazard_class="2",
        reason="soda",
        public_notice="Bring it.",
    )

    revised = ("certificate recorded", lot.code)
    recalled = ("recall opened", recall.code)
    left = ("bottles dispatched", dispatch.code)
    for batch in (paste, liquid):
        assert {revised, recalled} <= set(found_on(batch.number))
    assert {left, ("bottles filled", filling_lot.code)} <= set(found_on(liquid.number))
    assert left in found_on(filling_lot.code)
    assert left in found_on(sent.code)
    assert revised in found_on(here.code)  # it was held
    assert left not in found_on(here.code)
    assert recalled in found_on(lot.code)
    assert left not in found_on(paste.number)
    assert not {revised, recalled, left} & set(found_on(other.number))
    acts = exporting.journal_of([liquid]).values_list("act", flat=True)
    assert "certificate recorded" in acts


@pytest.mark.django_db
def test_a_root_that_is_held_is_found_by_what_was_made_from_it(
    crew: make.Crew,
) -> None:
    paste = make.released_paste(crew)
    liquid = make.released_liquid(crew, paste=paste)
    make.sign(crew.reviewer, paste, "hold")
    assert ("batch signed: put on hold", paste.number) in found_on(liquid.number)


@pytest.mark.django_db
def test_to_find_them_takes_as_many_queries_for_many_moves_as_for_one(
    crew: make.Crew,
) -> None:
    lot = make.filled(crew)

    def work() -> int:
        with CaptureQueriesContext(connection) as caught:
            assert list(journal_reading.acts(Asked(on=lot.batch.number)))
        return len(caught)

    before = work()
    for _ in range(3):
        make.sign(crew.reviewer, lot.batch, "hold")
        make.sign(crew.reviewer, lot.batch, "unhold")
    send(crew, *make.bottles_of(lot))
    assert work() == before
