"""A recall that begins with a container, a certificate, an instrument, a time."""

from __future__ import annotations

import datetime
import uuid
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from batches.lifecycle import BottleStatus
from batches.models import Batch, Charge, FillingLot
from batches.services import bottle_moves, planning
from batches.services.cooking import How
from producer.errors import Refusal
from producer.models import Certificate, Container, RawLot
from producer.services import containers, intake
from quality.models import InstrumentCheck, Recall, RecallItem, RecallRoot
from quality.services import (
    impact,
    recall_affected,
    recall_beginnings,
    recall_roots,
    recall_scope,
    recalling,
    supplying,
)
from quality.services.checking import Known, record_check
from quality.services.recall_balance import balance_of
from quality.services.recall_roots import Beginning, Window
from tests import hands, leaving, make, uploads

pytestmark = pytest.mark.django_db

KG = make.KG
NEXT_DAY = datetime.timedelta(days=1)


def opened(crew: make.Crew, root: Beginning, *, is_mock: bool = False) -> Recall:
    return recalling.open_recall(
        by=crew.reviewer,
        root=root,
        hazard_class="2",
        reason="the lid was not shut",
        public_notice="Do not use it; bring it back.",
        is_mock=is_mock,
    )


def oil_in_two_tins(crew: make.Crew) -> tuple[RawLot, list[Container]]:
    """Return a lot of oil in two tins of four kilograms, and a kilogram in none."""
    lot = make.released_lot(crew, make.sunflower(crew.maker), quantity_mg=9 * KG)
    tins = containers.register(
        by=crew.maker, lot=lot, fillings=containers.alike(count=2, each_mg=4 * KG)
    )
    return lot, tins


def from_tin(crew: make.Crew, lot: RawLot, tin: Container) -> Batch:
    """Return a released paste with oil out of this tin."""
    batch = make.open_batch(crew)
    lines = batch.formula_version.lines.select_related("material", "source_formula")
    chosen = {
        line.pk: lot.stock
        if line.material == lot.material
        else make.stock_of(crew, line)
        for line in lines
    }
    planning.choose_lots(by=crew.maker, batch=batch, choices=chosen)
    for planned in planning.plan_of(batch).lines:
        source = chosen[planned.line.pk]
        assert planned.target_mg is not None
        how = How(
            container=tin if source == lot.stock else None, passed_over=make.SCENE
        )
        mass = planned.target_mg
        make.charge(crew, batch, source, mass, line=planned.line, how=how)
    return make.signed(crew.reviewer, make.complete(crew, batch), "release")


def why(recall: Recall) -> dict[str, str]:
    """Return the reason of each root of a recall that is walked, by its code."""
    affected = recall_affected.affected_of(recall)
    return {one.code: one.why for one in affected.causes if one.is_walked}


def bottled(crew: make.Crew, paste: Batch) -> FillingLot:
    return make.filled(crew, make.released_liquid(crew, paste=paste), count=2)


def statuses(lot: FillingLot) -> set[str]:
    return set(lot.bottles.values_list("status", flat=True))


# --------------------------------------------------------------- a container


def test_from_a_container_only_what_was_charged_from_it_is_recalled(
    crew: make.Crew,
) -> None:
    lot, (bad, good) = oil_in_two_tins(crew)
    first, second = from_tin(crew, lot, bad), from_tin(crew, lot, good)
    of_first, of_second = bottled(crew, first), bottled(crew, second)
    recall = opened(crew, bad)
    assert recall.subject == f"container {bad.code}"
    assert why(recall) == {first.number: f"charged from container {bad.code}"}
    assert statuses(of_first) == {"on_hold"}
    assert statuses(of_second) == {"filled"}
    assert make.fresh(second).status == "released"
    for bottle in make.bottles_of(of_first):
        assert hands.recalls_reaching(bottle) == [recall]
    assert hands.recalls_reaching(make.bottles_of(of_second)[0]) == []


def test_of_a_container_that_is_bad_the_lot_is_held_as_a_whole(crew: make.Crew) -> None:
    """A tin cannot be held by itself, and nothing may be drawn from it."""
    lot, (bad, _) = oil_in_two_tins(crew)
    from_tin(crew, lot, bad)
    recall = opened(crew, bad)
    lot.refresh_from_db()
    assert (lot.status, lot.frozen_by) == ("on_hold", recall.code)
    with pytest.raises(Refusal, match="Close it first"):
        intake.decide_lot(by=crew.reviewer, lot=lot, new="released", reason="wiped")
    assert RecallItem.objects.filter(recall=recall, stock=lot.pk).exists()
    hands.closed(crew, recall)
    lot.refresh_from_db()
    assert lot.frozen_by == ""


def test_a_charge_that_names_no_container_may_have_been_from_it(
    crew: make.Crew,
) -> None:
    lot = make.released_lot(crew, make.sunflower(crew.maker), quantity_mg=9 * KG)
    early = make.released_paste(crew)  # takes the oil that is there
    (tin,) = containers.register(
        by=crew.maker,
        lot=lot,
        fillings=containers.alike(count=1, each_mg=2 * KG),
        is_little=True,
    )
    assert Charge.objects.get(batch=early, source=lot.stock).container is None
    recall = opened(crew, tin)
    assert why(recall) == {
        early.number: f"charged from {lot.code}, container not recorded"
    }


# -------------------------------------------------------------- a certificate


def certified(crew: make.Crew, paper: bytes) -> RawLot:
    """Return a released lot of potash with a certificate on this paper."""
    lot = make.held_lot(crew, make.potash(crew.maker))
    record(crew, lot, paper)
    return intake.decide_lot(
        by=crew.reviewer, lot=lot, new="released", reason="certificate read"
    )


def record(crew: make.Crew, lot: RawLot, paper: bytes, reason: str = "") -> Certificate:
    return intake.record_certificate(
        by=crew.maker,
        lot=lot,
        values=make.certificate_values(lot.material),
        upload=uploads.pdf(body=paper),
        reason=reason,
    )


def test_from_the_only_certificate_all_of_its_lot_is_recalled(crew: make.Crew) -> None:
    lot = certified(crew, b"one")
    paste = make.released_paste(crew, sources={"potash": lot.stock})
    certificate = lot.certificates.get()
    # A later one does not make good that it was accepted on the first alone.
    record(crew, lot, b"two", reason="asked again")
    recall = opened(crew, certificate)
    code = lot.code
    assert why(recall) == {code: f"{code} was accepted on certificate version 1 alone"}
    assert paste.pk in recall_scope.scope_of(recall).made_ids
    assert recall.subject == f"certificate version 1 of {code}"


def test_of_a_later_certificate_only_what_was_reckoned_with_it(
    crew: make.Crew,
) -> None:
    lot = certified(crew, b"one")
    early = make.released_paste(crew, sources={"potash": lot.stock})
    later = record(crew, lot, b"two", reason="a new analysis")
    lot.refresh_from_db()
    if lot.status != "released":  # it is looked at anew
        intake.decide_lot(by=crew.reviewer, lot=lot, new="released", reason="read")
    late = make.released_paste(crew, sources={"potash": lot.stock})
    recall = opened(crew, later)
    assert why(recall) == {
        late.number: f"reckoned with certificate version 2 of {lot.code}"
    }
    assert early.pk not in recall_scope.scope_of(recall).made_ids
    lot.refresh_from_db()
    assert lot.frozen_by == recall.code  # held, and not recalled as a whole


def test_the_same_paper_for_another_lot_is_as_false_there(crew: make.Crew) -> None:
    one, other = certified(crew, b"same"), certified(crew, b"same")
    third = certified(crew, b"different")
    recall = opened(crew, one.certificates.get())
    assert set(why(recall)) == {one.code, other.code}
    assert third.pk not in recall_scope.scope_of(recall).stock_ids


# --------------------------------------------- an instrument; strips; a filling


def failed_check(crew: make.Crew) -> InstrumentCheck:
    return record_check(
        by=crew.maker,
        instrument=make.scale(crew.maker),
        held=Known(against="500 g", reference=Decimal(500), shown=Decimal(530)),
        tolerance=Decimal(2),
    )


def test_from_a_scale_that_failed_every_batch_weighed_with_it_is_recalled(
    crew: make.Crew,
) -> None:
    paste = make.released_paste(crew)
    lot = bottled(crew, paste)
    check = failed_check(crew)
    doubt = impact.doubt_of(check.instrument, check.pk)
    assert doubt is not None
    recall = opened(crew, doubt)
    assert recall.subject.startswith("bench scale, failed check of ")
    assert set(why(recall)) == {paste.number, lot.batch.number}
    assert "results by bench scale in doubt" in why(recall)[paste.number]
    assert statuses(lot) == {"on_hold"}


def test_scenario_26_from_a_lot_of_strips_every_batch_read_with_it_is_recalled(
    crew: make.Crew,
) -> None:
    strips = make.strips(crew.maker)
    read = make.open_batch(crew)
    make.charge_all(crew, read)
    make.read_ph(crew, read, instrument=strips, method="strip")
    other = make.cooked_batch(crew)
    doubt = impact.doubt_of(strips)
    assert doubt is not None
    recall = opened(crew, doubt, is_mock=True)
    assert why(recall) == {read.number: "1 result by strips 41 in doubt"}
    assert other.pk not in recall_scope.scope_of(recall).stock_ids


def test_from_a_filling_lot_only_its_bottles_are_recalled(crew: make.Crew) -> None:
    liquid = make.released_liquid(crew)
    bad = make.filled(crew, liquid, count=3, nominal_ul=100_000)
    good = make.filled(crew, liquid, count=2, nominal_ul=100_000)
    shop = make.consignee(crew.maker)
    leaving.sent(crew, make.bottles_of(bad)[:1], shop)
    recall = opened(crew, bad)
    assert recall.subject == bad.code
    assert make.fresh(liquid).status == "released"  # only these bottles are bad
    assert statuses(bad) == {"dispatched", "on_hold"}
    assert statuses(good) == {"filled"}
    assert hands.recalls_reaching(make.bottles_of(bad)[0]) == [recall]
    assert hands.recalls_reaching(make.bottles_of(good)[0]) == []
    balance = balance_of(recall)
    assert (balance.bottles.filled, balance.bottles.out) == (3, 1)
    assert [one.name for one in balance.holders] == [shop.name]
    assert liquid.number in {one.code for one in balance.masses}
    assert balance.open_ends() == []


def test_a_bottle_freed_while_its_recall_is_open_does_not_leave(
    crew: make.Crew,
) -> None:
    """The batch is released: what stops it at the door is the recall itself."""
    lot = leaving.filled(crew, count=2)
    recall = opened(crew, lot)
    bottles = make.bottles_of(lot)
    bottle_moves.move_bottles(
        by=crew.reviewer, bottles=bottles, new="filled", reason="by mistake"
    )
    with pytest.raises(Refusal, match=f"{lot.code} is in recall {recall.code}"):
        supplying.dispatch(
            by=crew.maker,
            bottles=make.bottles_of(lot),
            consignee=make.consignee(crew.maker),
        )
    hands.closed(crew, recall)
    supplying.dispatch(  # control
        by=crew.maker,
        bottles=make.bottles_of(lot),
        consignee=make.consignee(crew.maker),
    )
    assert statuses(lot) == {BottleStatus.DISPATCHED.value}


# -------------------------------------------------------------------- a time


def test_from_a_time_what_was_made_in_it_or_filled_in_it(crew: make.Crew) -> None:
    liquid = make.released_liquid(crew)
    lot = make.filled(crew, liquid, count=2)
    now = timezone.now()
    since, until = now - NEXT_DAY, now + NEXT_DAY
    made = set(Charge.objects.values_list("batch", flat=True))

    def roots(during: str) -> set[tuple[int | None, int | None]]:
        window = Window(since=since, until=until, during=during)
        found = recall_roots.roots_from(window)
        return {(one.stock_id, one.filling_lot_id) for one in found}

    assert roots("made") == {(pk, None) for pk in made}
    assert roots("filled") == {(None, lot.pk)}
    # A filling lot of a batch made in that time needs no place of its own.
    assert roots("both") == roots("made")
    before = Window(since=now - 9 * NEXT_DAY, until=now - 8 * NEXT_DAY)
    assert recall_roots.roots_from(before) == []
    with pytest.raises(Refusal, match="There is nothing to recall"):
        opened(crew, before)


def test_both_minutes_of_a_time_are_in_it_and_what_was_cooking_then(
    crew: make.Crew,
) -> None:
    lot = make.filled(crew, count=2)
    minute = lot.observed_at.replace(second=0, microsecond=0)
    window = Window(since=minute - NEXT_DAY, until=minute, during="filled")
    assert [one.filling_lot_id for one in recall_roots.roots_from(window)] == [lot.pk]
    before = Window(
        since=minute - NEXT_DAY,
        until=minute - datetime.timedelta(minutes=1),
        during="filled",
    )
    assert recall_roots.roots_from(before) == []
    # Between its first charge and its last reading a batch is in the making, whatever
    # was written down in a time between.
    paste = Charge.objects.order_by("pk")[0].batch
    first = Charge.objects.filter(batch=paste).order_by("observed_at")[0].observed_at
    last = paste.bulk_weighings.get().observed_at
    middle = first + (last - first) / 2
    between = Window(since=middle, until=middle + (last - middle) / 9, during="made")
    assert paste.pk in {one.stock_id for one in recall_roots.roots_from(between)}


def test_a_recall_of_a_time_keeps_its_roots_with_their_reasons(
    crew: make.Crew,
) -> None:
    lot = make.filled(crew, count=2)
    recall = hands.of_a_time(crew, during="filled")
    (root,) = RecallRoot.objects.filter(recall=recall)
    assert (root.filling_lot, root.why) == (lot, "filled in that time")
    assert recall.subject.startswith("what was filled from ")
    assert statuses(lot) == {"on_hold"}
    assert hands.recalls_reaching(make.bottles_of(lot)[0]) == [recall]


def test_a_time_that_ends_before_it_begins_is_no_time(crew: make.Crew) -> None:
    make.filled(crew)
    now = timezone.now()
    with pytest.raises(ValidationError, match="A time ends after it begins"):
        opened(crew, Window(since=now, until=now - NEXT_DAY))


# ------------------------------------------------------------- its addresses


def test_an_address_leads_back_to_what_it_was_made_from(crew: make.Crew) -> None:
    lot, (tin, _) = oil_in_two_tins(crew)
    filling_lot = make.filled(crew)
    check = failed_check(crew)
    doubt = impact.doubt_of(check.instrument, check.pk)
    strips = impact.doubt_of(make.strips(crew.maker))
    potash = Certificate.objects.order_by("pk")[0]
    at = timezone.now().replace(second=0, microsecond=0)
    window = Window(since=at - NEXT_DAY, until=at, during="made")
    for one in (tin, filling_lot, doubt, strips, potash, window):
        assert one is not None
        kind, ident = recall_beginnings.address(one)
        assert recall_beginnings.find(kind, ident) == one
    for kind, ident in (
        ("container", "0"),
        ("container", "9" * 30),
        ("container", "²"),
        ("certificate", "x"),
        ("check", "1" * 18),
        ("instrument", str(check.instrument.pk)),  # a scale needs a failed check
        ("time", "20260101T0000Z.20250101T0000Z.made"),
        ("time", "20260101T0000Z.20270101T0000Z.cooked"),
        ("time", "yesterday"),
        ("stock", lot.code),
    ):
        assert recall_beginnings.find(kind, ident) is None, (kind, ident)


def test_the_pages_of_a_beginning_list_print_and_open(
    crew: make.Crew, client: Client
) -> None:
    lot = make.filled(crew, count=2)
    client.force_login(crew.reviewer)
    args = ["filling-lot", lot.code]
    page = client.get(reverse("quality:affected_by", args=args))
    assert f"What rests on {lot.code}" in page.content.decode()
    rows = client.get(reverse("quality:affected_csv_by", args=args))
    assert rows.getvalue().decode().count(f",{lot.code},") == 3  # and in its end
    paper = client.get(reverse("quality:affected_pdf_by", args=args))
    assert paper.content.startswith(b"%PDF")
    answer = client.post(
        reverse("quality:recall_open_by", args=args),
        {
            "hazard_class": "3",
            "reason": "no lids",
            "public_notice": "Bring it.",
            "submission": uuid.uuid4(),
        },
    )
    recall = Recall.objects.get()
    assert answer["Location"] == reverse("quality:recall", args=[recall.code])
    assert recall.filling_lot == lot
    shown = client.get(answer["Location"]).content.decode()
    assert "the recall began with it" in shown
    rows = client.get(reverse("quality:recall_csv", args=[recall.code]))
    assert rows.getvalue().decode().count(f",{lot.code},") == 2


def test_a_time_is_asked_for_on_a_page(crew: make.Crew, client: Client) -> None:
    make.filled(crew)
    client.force_login(crew.reviewer)
    address = reverse("quality:recall_window")
    wrong = client.get(
        address,
        {"since": "2026-05-03T16:00", "until": "2026-05-03T10:00", "during": "both"},
    )
    assert "A time ends after it begins" in wrong.content.decode()
    right = client.get(
        address,
        {"since": "2026-05-03T10:00", "until": "2026-05-03T16:00", "during": "both"},
    )
    assert right.status_code == 302
    page = client.get(right["Location"]).content.decode()
    assert "from 2026-05-03 10:00 to 2026-05-03 16:00" in page


def test_each_thing_leads_to_where_it_went(crew: make.Crew, client: Client) -> None:
    lot, (tin, _) = oil_in_two_tins(crew)
    filling_lot = make.filled(crew)
    check = failed_check(crew)
    potash = Certificate.objects.order_by("pk")[0]
    client.force_login(crew.reviewer)

    def page(name: str, *args: object) -> str:
        return client.get(reverse(name, args=args)).content.decode()

    def to(kind: str, ident: object) -> str:
        return reverse("quality:affected_by", args=[kind, str(ident)])

    assert to("container", tin.pk) in page("producer:lot", lot.code)
    assert to("certificate", potash.pk) in page("producer:lot", potash.lot.code)
    assert to("filling-lot", filling_lot.code) in page(
        "batches:filling_lot", filling_lot.code
    )
    assert to("check", check.pk) in page(
        "quality:instrument_impact", check.instrument.pk
    )
    assert reverse("quality:recall_window") in page("quality:recalls")
