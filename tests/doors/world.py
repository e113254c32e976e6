"""One premises with something of everything, and an address for each URL name."""

from __future__ import annotations

import dataclasses
import pickle
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any, NamedTuple

from django.db.models import Model
from django.urls import URLPattern, URLResolver, get_resolver, reverse
from django.utils import timezone

from batches.models import (
    Batch,
    Bottle,
    BottleDiscrepancy,
    Dispatch,
    FillingLot,
    ItemNumber,
    LabelVersion,
    PatchTest,
    ScanAlert,
    SheetFormat,
    SprayMix,
)
from batches.services import (
    bottle_doubts,
    cooking,
    costs,
    half_weighings,
    losses,
    transcribing,
)
from producer.models import RawLot, RulesCheck, SafetyNote, StockTake, User
from producer.services import containers, counting, safety
from quality.models import (
    Complaint,
    ComplaintStep,
    Deviation,
    Recall,
    SelfInspection,
)
from quality.services import complaining, recall_contacts, recalling, supplying
from tests import (
    bottling,
    items,
    kept,
    lab,
    label_texts,
    labelled,
    liquids,
    make,
    scanned,
    sprays,
    told,
    uploads,
)
from tests.once import once
from tests.quality import faulty

ROLES = ("visitor", "owner", "maker", "reviewer", "auditor")
Arguments = tuple[str | int, ...]
_OF_FORMULAS = (
    "ph",
    "yield_variance",
    "free_alkali",
    "fill",
    "evaporation",
    "soap_content",
)


@dataclasses.dataclass(frozen=True, kw_only=True)
class World:
    """What the pages of a busy premises show."""

    accounts: dict[str, User]
    lot: RawLot
    held: RawLot
    cooking: Batch
    waiting: Batch
    released: Batch
    rejected: Batch
    filling_lot: FillingLot
    bottle: Bottle
    dispatch: Dispatch
    recall: Recall
    deviation: Deviation
    complaint: Complaint
    inspection: SelfInspection

    def account(self, role: str) -> User | None:
        """Return the account that holds only this right; a visitor has none."""
        return self.accounts.get(role)


class Standing(NamedTuple):
    """A world that stands in the database, as bytes, and where its files lie."""

    pickled: bytes
    files: Path

    def world(self) -> World:
        """Return it anew: what one test does to a row's object is its own."""
        made = pickle.loads(self.pickled)  # noqa: S301 - our own, of this run
        assert isinstance(made, World)
        return made


@once
def build() -> World:
    """Build it, by the services: one premises, four accounts, one of everything."""
    owner = make.set_up()
    accounts = {"owner": owner} | {
        role: make.account(by=owner, name=name, rights=[role])
        for role, name in (
            ("maker", "Mirja Aalto"),
            ("reviewer", "Rasmus Lind"),
            ("auditor", "Aune Koski"),
        )
    }
    crew = make.Crew(accounts["maker"], accounts["reviewer"])
    released = make.released_liquid(crew)
    filling_lot = bottling.bottled(crew, released, count=3, nominal_ul=250_000)
    bottling.looked_at(crew, filling_lot)
    here, sent, astray = make.bottles_of(filling_lot)
    lot = RawLot.objects.listed().get(material=make.potash(crew.maker))
    lab.titration(crew, lot.stock)
    liquids.set_aside(crew, released)
    liquids.measured(crew, released)
    # Before the can is found heavier: that holds the lot, and nothing of it leaves.
    dispatch = supplying.dispatch(
        by=crew.maker,
        bottles=[sent],
        consignee=make.consignee(crew.maker),
        note="by the carrier",
    )
    bottle_doubts.report(
        by=crew.maker, bottle=astray, kind="elsewhere", found="in the barn"
    )
    sprays.scene(crew)
    lab.container(crew, lot, gain_mg=100_000)
    make.strips(crew.maker)
    safety.record_note(
        by=crew.maker, kind="protection", topic="goggles", done_on=make.TODAY
    )
    scanned.unknown()
    labelled.own_format(crew)
    bottling.text(crew, released.formula_version.formula)
    label_texts.written(crew, released.formula_version.formula, "de")
    items.with_prefix(accounts["owner"])
    items.given(crew, released.formula_version.formula)
    rejected = _rejected(crew)
    return World(
        accounts=accounts,
        lot=lot,
        held=_in_tins(crew, make.held_lot(crew, make.sunflower(crew.maker))),
        cooking=_in_the_pot(crew),
        waiting=make.cooked_batch(crew),
        released=make.fresh(released),
        rejected=rejected,
        filling_lot=filling_lot,
        bottle=here,
        dispatch=dispatch,
        recall=_tried_out(crew, lot),
        deviation=faulty.looked_into(
            crew.maker, faulty.deviation(crew.maker, rejected.stock, "ph")
        ),
        complaint=_complained(crew, here),
        inspection=told.inspected(crew.reviewer),
    )


def _complained(crew: make.Crew, bottle: Bottle) -> Complaint:
    """Return a complaint of which two things are written down, one of them twice."""
    told.about(crew, bottle, was_hurt=True, nature="injury", who="a neighbour")
    row = told.opened(crew, filling_lot=bottle.filling_lot)
    told.stepped(crew.maker, row.complaint, "authority", reference="A/17")
    step = told.stepped(crew.maker, row.complaint, "found", "nothing to be seen")
    complaining.amend_step(
        by=crew.maker, row=step, text="it smells", reason="looked again"
    )
    return row.complaint


def _tried_out(crew: make.Crew, lot: RawLot) -> Recall:
    """Return a mock recall in which one holder would be called."""
    recall = recalling.open_recall(
        by=crew.reviewer,
        root=lot.stock,
        hazard_class="1",
        reason="the list is tried out",
        public_notice="Do not use it.",
        is_mock=True,
    )
    recall_contacts.record_contact(
        by=crew.maker,
        recall=recall,
        consignee=make.consignee(crew.maker),
        means="telephone",
        outcome="reached",
    )
    return recall


def _in_tins(crew: make.Crew, lot: RawLot) -> RawLot:
    """Return a lot that is kept in two tins, of which one was counted."""
    first, _ = containers.register(
        by=crew.maker,
        lot=lot,
        fillings=containers.alike(count=2, each_mg=make.KG, place="larder"),
    )
    counting.take_stock(
        by=crew.maker,
        counts=[counting.Counted(lot=lot, container=first, counted_mg=make.KG)],
    )
    return lot


def _in_the_pot(crew: make.Crew) -> Batch:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    half_weighings.take_back(
        by=crew.maker, start=lab.half_weighing(crew, batch), reason="wrong jug"
    )
    cooking.record_reading(
        by=crew.maker,
        batch=batch,
        characteristic="temperature",
        value=Decimal(71),
        instrument=make.thermometer(crew.maker),
    )
    lab.free_alkali(crew, batch)
    sheet = transcribing.begin(
        by=crew.maker,
        batch=batch,
        note="power out",
        upload=uploads.picture("sheet.png"),
    )
    losses.record_loss(
        by=crew.maker,
        batch=batch,
        kind="spill",
        mass_mg=9_000,
        transcription=sheet,
        observed_at=timezone.now(),
    )
    costs.record_cost(by=crew.maker, batch=batch, kind="energy", amount_hundredths=180)
    make.weigh_bulk(crew, batch)
    return make.fresh(batch)


def _rejected(crew: make.Crew) -> Batch:
    """Return a signed batch with an entry of every kind in it."""
    batch = make.cooked_batch(crew)
    lab.free_alkali(crew, batch)
    losses.record_loss(by=crew.maker, batch=batch, kind="spill", mass_mg=9_000)
    signed = make.signed(crew.reviewer, batch, "reject")
    kept.discrepancy(crew, signed)
    return signed


def all_rights(world: World) -> User:
    """Return an account of a further person that holds every right."""
    return make.account(
        by=world.accounts["owner"],
        name="Tove Rask",
        rights=["owner", "maker", "reviewer", "auditor"],
    )


def url_names() -> dict[str, URLPattern]:
    """Return every URL name of the site with its pattern, from the resolver."""
    return dict(_walk(get_resolver(), ""))


def _walk(resolver: URLResolver, namespace: str) -> Iterator[tuple[str, URLPattern]]:
    for entry in resolver.url_patterns:
        if isinstance(entry, URLResolver):
            yield from _walk(entry, f"{namespace}{entry.namespace or ''}:")
        else:
            assert entry.name, f"{entry.pattern} has no name"
            yield f"{namespace.strip(':')}:{entry.name}", entry


def addresses(world: World) -> dict[str, list[str]]:
    """Return the addresses to try for each URL name, none without a real record."""
    return {
        name: [reverse(name, args=arguments) for arguments in tries]
        for name, tries in arguments_of(world).items()
    }


def arguments_of(world: World) -> dict[str, list[Arguments]]:
    """Return real arguments for each URL name that takes any, () for the rest."""
    formula = world.cooking.formula_version.formula_id
    liquid = world.released.formula_version.formula_id
    issue = _pk(world.filling_lot.label_issues.first())
    count = _pk(world.filling_lot.label_counts.first())
    kept_sample = world.filling_lot.samples.first()
    look = _pk(kept_sample.looks.first() if kept_sample else None)
    version = world.cooking.formula_version_id
    pot = world.cooking.number
    charge, reading, weighing = (
        _pk(rows.first())
        for rows in (
            world.cooking.charges.order_by("pk"),
            world.cooking.readings.order_by("pk"),
            world.cooking.bulk_weighings.order_by("pk"),
        )
    )
    signed, titrated = world.rejected, world.rejected.stock.titrations.first()
    unfitting = _pk(signed.discrepancies.first())
    signed_charge, signed_reading, signed_weighing, signed_loss = (
        _pk(rows.first())
        for rows in (
            signed.charges.order_by("pk"),
            signed.readings.order_by("pk"),
            signed.bulk_weighings.order_by("pk"),
            signed.losses.order_by("pk"),
        )
    )
    entries = [
        ("suppliers", world.lot.supplier_id),
        ("consignees", world.dispatch.consignee_id),
        ("materials", world.lot.material_id),
        ("instruments", make.thermometer(world.accounts["maker"]).pk),
        ("vessels", make.vessel(world.accounts["maker"]).pk),
    ]
    other = world.accounts["auditor"].pk
    certificate = world.lot.certificates.get()
    container = _pk(world.lot.stock.container_weighings.first())
    attempt = _pk(world.recall.contacts.first())
    lot, roots = world.lot.code, [(world.lot.code,), (world.released.number,)]
    known: dict[str, list[Arguments]] = {
        "producer:register": [(kind,) for kind, _ in entries],
        "producer:register_new": [(kind,) for kind, _ in entries],
        "producer:register_entry": list(entries),
        "producer:account": [(other,)],
        "producer:account_rights": [(other,)],
        "producer:account_close": [(other,)],
        "producer:account_password": [(other,)],
        "producer:act": [(1,)],
        "producer:lot": [(lot,), (world.held.code,)],
        "quality:lot_certificate": [(lot,), (world.held.code,)],
        "quality:lot_decide": [(lot,), (world.held.code,)],
        "producer:lot_count": [(lot,)],
        "producer:lot_dispose": [(lot,)],
        "producer:containers": [(lot,), (world.held.code,)],
        "producer:container_change": [(world.held.code, 1)],
        "producer:stock_take": [(_pk(StockTake.objects.first()),)],
        "producer:lot_price": [(lot,)],
        "producer:safety_amend": [(_pk(SafetyNote.objects.first()),)],
        "producer:safety_void": [(_pk(SafetyNote.objects.first()),)],
        **_of_sprays(),
        "batches:costs": [(pot,), (world.released.number,)],
        "batches:cost_add": [(pot,)],
        "batches:cost_amend": [(pot, _pk(world.cooking.costs.first()))],
        "batches:cost_void": [(pot, _pk(world.cooking.costs.first()))],
        "quality:supplier": [(world.lot.supplier_id,)],
        "quality:consignee": [(world.dispatch.consignee_id,)],
        "quality:consignee_erase": [(world.dispatch.consignee_id,)],
        "quality:bottle_doubt_report": [(world.bottle.code,)],
        "quality:bottle_doubt_settle": [(_pk(BottleDiscrepancy.objects.first()),)],
        "producer:attachment": [(certificate.attachment_id or 0,)],
        "batches:formula": [(formula,)],
        "batches:formula_version": [(formula,)],
        "batches:classify": [(liquid,)],
        "batches:item_numbers": [(liquid,), (formula,)],
        "batches:item_number_give": [(liquid,)],
        "batches:item_number_amend": [(_pk(ItemNumber.objects.first()),)],
        "batches:item_number_void": [(_pk(ItemNumber.objects.first()),)],
        "batches:label_texts": [(liquid,), (formula,)],
        "batches:label_text_write": [(liquid, "en"), (formula, "de")],
        "batches:label_text": [(liquid, "en", 1), (liquid, "de", 1)],
        "batches:label_proof": [(_pk(LabelVersion.objects.first()),)],
        "batches:label_proof_picture": [(_pk(LabelVersion.objects.first()),)],
        "batches:label_text_approve": [(liquid, "de", 1)],
        "batches:label_text_withdraw": [(liquid, "en", 1)],
        "batches:batch": [(pot,), (world.waiting.number,), (world.released.number,)],
        "batches:lots": [(pot,)],
        "batches:discount": [(pot,)],
        "batches:paper": [(pot,)],
        "batches:paper_sheet": [(pot, _pk(world.cooking.transcriptions.first()))],
        "batches:charge": [(pot, 1), (pot, 4)],
        "batches:charge_begin": [(pot, 1), (pot, 4)],
        "batches:start_finish": [(pot, _pk(world.cooking.weighing_starts.first()))],
        "batches:start_void": [(pot, _pk(world.cooking.weighing_starts.first()))],
        "batches:undo": [(pot,), (world.released.number,)],
        "batches:charge_amend": [(pot, charge)],
        "batches:charge_void": [(pot, charge)],
        "batches:read": [(pot, one) for one in ("temperature", "ph", "clarity")],
        "batches:reading_amend": [(pot, reading)],
        "batches:discrepancy": [(signed.number, unfitting)],
        "batches:discrepancy_explain": [(signed.number, unfitting)],
        "batches:weigh": [(pot,)],
        "batches:weigh_amend": [(pot, weighing)],
        "batches:correct": [(pot, lot)],
        "batches:loss": [(pot,)],
        "batches:portion_add": [(world.released.number,)],
        "batches:portion_amend": [
            (world.released.number, _pk(world.released.portions.first()))
        ],
        "batches:portion_void": [
            (world.released.number, _pk(world.released.portions.first()))
        ],
        "batches:liquid_read": [
            (world.released.number, one) for one in ("hardness", "density")
        ],
        "batches:liquid_amend": [
            (world.released.number, _pk(world.released.liquid_readings.first()))
        ],
        "batches:liquid_void": [
            (world.released.number, _pk(world.released.liquid_readings.first()))
        ],
        "batches:loss_amend": [(pot, _pk(world.cooking.losses.first()))],
        "batches:loss_void": [(pot, _pk(world.cooking.losses.first()))],
        "batches:pot": [(pot,), (world.waiting.number,)],
        "batches:finish": [(pot,)],
        "batches:abandon": [(pot,)],
        "batches:fill": [(world.released.number,)],
        "batches:titrate": [
            (lot, "potash"),
            (world.held.code, "saponification_value"),
            (world.held.code, "acid_value"),
            (pot, "free_alkali"),
        ],
        "batches:titration_void": [(lot, _pk(world.lot.stock.titrations.first()))],
        "batches:container": [(lot,), (world.held.code,)],
        "batches:container_amend": [(lot, container)],
        "batches:container_void": [(lot, container)],
        "batches:history": [*roots],
        "batches:filling_lot": [(world.filling_lot.code,)],
        "batches:sample": [(world.filling_lot.code,)],
        "batches:sample_look": [(world.filling_lot.code, _pk(kept_sample))],
        "batches:sample_look_amend": [(world.filling_lot.code, look)],
        "batches:sample_look_void": [(world.filling_lot.code, look)],
        "batches:label_issue": [(world.filling_lot.code, issue)],
        "batches:label_issue_pdf": [(world.filling_lot.code, issue)],
        "batches:label_count": [(world.filling_lot.code,)],
        "batches:label_count_amend": [(world.filling_lot.code, count)],
        "batches:label_count_void": [(world.filling_lot.code, count)],
        "batches:label_format": [(_pk(SheetFormat.objects.first()),)],
        "quality:labels": [(world.filling_lot.code,)],
        "quality:bottle_move": [(world.bottle.code,)],
        "batches:dispatch": [(world.dispatch.code,)],
        "quality:dispatch_take_back": [(world.dispatch.code,)],
        "quality:dispatch_note": [(world.dispatch.code,)],
        "quality:dispatch_csv": [(world.dispatch.code,)],
        "quality:bottle": [(world.bottle.code,)],
        "quality:bottle_scanned": [(world.bottle.code,)],
        "quality:scan_alert": [(_pk(ScanAlert.objects.first()),)],
        "quality:limits": [(version,)],
        "quality:limit_set": [(version,)],
        "quality:material_limits": [(world.lot.material_id,)],
        "quality:material_limit_set": [(world.lot.material_id,)],
        "quality:review": [(world.waiting.number,), (world.released.number,)],
        "quality:batch_sheet": [(pot,), (world.released.number,)],
        "quality:blank_sheet": [(version,)],
        "quality:hold_points": [(pot,), (world.waiting.number,)],
        "quality:dossier": [(world.released.number,)],
        "quality:sign": [(world.waiting.number,)],
        "quality:doses": [(world.released.number,), (pot,)],
        "quality:fill_check": [(world.filling_lot.code,)],
        "quality:fill_check_take_back": [
            (world.filling_lot.code, _pk(world.filling_lot.fill_checks.first()))
        ],
        "quality:fill_free": [(world.filling_lot.code,)],
        "quality:fill_release": [(world.filling_lot.code,)],
        "quality:correction": [(pot,), (world.waiting.number,)],
        "quality:change_charge": [(signed.number, signed_charge)],
        "quality:void_charge": [(signed.number, signed_charge)],
        "quality:change_reading": [(signed.number, signed_reading)],
        "quality:void_reading": [(signed.number, signed_reading)],
        "quality:change_weighing": [(signed.number, signed_weighing)],
        "quality:change_loss": [(signed.number, signed_loss)],
        "quality:void_loss": [(signed.number, signed_loss)],
        "quality:void_titration": [(signed.number, _pk(titrated))],
        "quality:revision": [(lot,)],
        "quality:alkali": [(pot,), (world.waiting.number,), (world.released.number,)],
        "quality:affected": [*roots],
        "quality:affected_pdf": [(lot,)],
        "quality:affected_csv": [*roots],
        "quality:affected_json": [*roots],
        "quality:affected_bottles_pdf": [(lot,)],
        "quality:affected_bottles": [*roots],
        "quality:events_of": [*roots],
        "quality:flow": [*roots, (world.filling_lot.code,)],
        "quality:flow_pdf": [(world.filling_lot.code,)],
        "quality:deviation_open": [(pot,), (lot,)],
        "quality:deviation_open_instrument": [
            (make.scale(world.accounts["maker"]).pk,)
        ],
        "quality:deviation": [(world.deviation.code,)],
        "quality:deviation_step": [(world.deviation.code,)],
        "quality:deviation_close": [(world.deviation.code,)],
        **_of_complaints(world),
        "quality:recall_open": [(lot,)],
        "quality:recall": [(world.recall.code,)],
        "quality:recall_pdf": [(world.recall.code,)],
        **{
            f"quality:recall_{name}": [(world.recall.code,)]
            for name in (
                *("notices", "notices_pdf", "look_again", "hazard_new"),
                "all_clear",
            )
        },
        "quality:affected_by": [
            ("certificate", str(certificate.pk)),
            ("filling-lot", world.filling_lot.code),
            ("instrument", str(make.strips(world.accounts["maker"]).pk)),
            ("time", "20200101T0000Z.20300101T0000Z.both"),
        ],
        "quality:affected_pdf_by": [("filling-lot", world.filling_lot.code)],
        "quality:affected_csv_by": [("certificate", str(certificate.pk))],
        "quality:affected_json_by": [("filling-lot", world.filling_lot.code)],
        "quality:affected_bottles_pdf_by": [("filling-lot", world.filling_lot.code)],
        "quality:affected_bottles_by": [("filling-lot", world.filling_lot.code)],
        "quality:recall_open_by": [("filling-lot", world.filling_lot.code)],
        "quality:recall_csv": [(world.recall.code,)],
        "quality:recall_json": [(world.recall.code,)],
        "quality:recall_bottles_pdf": [(world.recall.code,)],
        "quality:recall_bottles": [(world.recall.code,)],
        "quality:recall_advance": [(world.recall.code,)],
        "quality:recall_close": [(world.recall.code,)],
        "quality:recall_report": [(world.recall.code,)],
        "quality:recall_report_pdf": [(world.recall.code,)],
        "quality:recall_contact_new": [(world.recall.code,)],
        "quality:recall_contact_amend": [(world.recall.code, attempt)],
        "quality:recall_contact_void": [(world.recall.code, attempt)],
        "quality:chart": [(formula, one) for one in _OF_FORMULAS],
        "quality:chart_pdf": [(formula, "ph")],
        "quality:material_chart": [
            (world.lot.material_id, "assay"),
            (world.held.material_id, "saponification_value"),
        ],
        "quality:material_chart_pdf": [(world.lot.material_id, "hydroxide")],
        "quality:instrument_chart": [
            (make.scale(world.accounts["maker"]).pk, "error"),
            (make.meter(world.accounts["maker"]).pk, "slope"),
        ],
        "quality:instrument_chart_pdf": [
            (make.scale(world.accounts["maker"]).pk, "error")
        ],
        "quality:instrument_impact": [
            (make.scale(world.accounts["maker"]).pk,),
            (make.strips(world.accounts["maker"]).pk,),
        ],
        "quality:instrument_impact_pdf": [(make.strips(world.accounts["maker"]).pk,)],
        "quality:instrument_impact_csv": [(make.strips(world.accounts["maker"]).pk,)],
        "quality:instrument": [
            (make.thermometer(world.accounts["maker"]).pk,),
            (make.scale(world.accounts["maker"]).pk,),
            (make.strips(world.accounts["maker"]).pk,),
        ],
        "quality:instrument_check": [
            (make.thermometer(world.accounts["maker"]).pk,),
            (make.meter(world.accounts["maker"]).pk,),
        ],
    }
    return {name: known.get(name, [()]) for name in url_names()}


def _of_complaints(world: World) -> dict[str, list[Arguments]]:
    """Return the arguments of the pages of complaints and audits."""
    first = Complaint.objects.earliest("pk")
    code, audit = world.complaint.code, world.inspection
    step = _pk(ComplaintStep.objects.current().filter(kind="found").first())
    of_one = ("complaint_amend", "complaint_step", "complaint_close")
    return {
        "quality:complaint": [(code,), (first.code,)],
        "quality:complaint_pdf": [(code,), (first.code,)],
        **{f"quality:{name}": [(code,)] for name in (*of_one, "complaint_reopen")},
        "quality:complaint_step_amend": [(code, step)],
        "quality:complaint_step_void": [(code, step)],
        **{
            f"quality:audit_{name}": [(audit.number,)]
            for name in ("drawn", "pdf", "held")
        },
        **{
            f"quality:inspection{name}": [(audit.pk,)]
            for name in ("", "_amend", "_void")
        },
    }


def _of_sprays() -> dict[str, list[Arguments]]:
    """Return the arguments of the pages of sprays, and of rules looked up."""
    mix, test = SprayMix.objects.latest("pk"), PatchTest.objects.latest("pk")
    of_batch = ("quality:mix_new", "quality:patch_test_new")
    of_mix = ("mix", "mix_amend", "mix_void", "mix_leftovers")
    of_test = ("patch_test_look", "patch_test_void")
    return {
        "producer:rules_amend": [(_pk(RulesCheck.objects.first()),)],
        "producer:rules_void": [(_pk(RulesCheck.objects.first()),)],
        **{name: [(mix.source.code,)] for name in of_batch},
        **{f"quality:{name}": [(mix.code,)] for name in of_mix},
        **{f"quality:{name}": [(test.code,)] for name in of_test},
    }


def _pk(row: Model | None) -> Any:
    assert row is not None
    return row.pk
