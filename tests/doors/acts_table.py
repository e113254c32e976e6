"""A valid form for every page that records something: whose, where and with what.

A page that takes POST and is not in :data:`ACTS` fails ``test_every_act.py``. To add
one: ``Act("app:name", "role", where)``, where ``where(world, crew)`` makes what the
page stands on and returns the arguments of its address and the fields to fill in.
What the page fills in by itself (hidden fields, what is initial) needs no entry.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping
from typing import Any

from batches.models import Batch, BottleDiscrepancy, ItemNumber, ScanAlert
from producer.models import RawLot, SafetyNote
from quality.services import goods
from tests import bottling, hands, items, lab, make, uploads
from tests.doors import complaint_acts, label_acts, recall_acts, sample_acts, spray_acts
from tests.doors.world import Arguments, World

Fields = Mapping[str, Any]
Where = Callable[[World, make.Crew], tuple[Arguments, Fields]]
WHY = {"reason": "as the test wants it"}
DEVIATION = {"classification": "minor", "what": "it stood in the sun"}

# Pages that take POST and write no act, each with the reason.
EXEMPT = {
    "producer:sign_in": "coming in changes no record; the lock-out counts wrong tries",
    "producer:sign_out": "leaving changes no record",
    "producer:set_up": "gone once there is an owner; has a test of its own",
}


@dataclasses.dataclass(frozen=True)
class Act:
    """One page, who fills its form in, and how."""

    name: str
    role: str
    where: Where
    variant: str = ""

    def __str__(self) -> str:
        return f"{self.name} {self.variant}".strip()


def fixed(*arguments: str | int, **fields: Any) -> Where:
    """Return a form that needs nothing of the world."""
    return lambda world, crew: (arguments, fields)


def of_auditor(**fields: Any) -> Where:
    """Return a form about the auditor's account."""
    return lambda world, crew: ((world.accounts["auditor"].pk,), fields)


def of_lot(**fields: Any) -> Where:
    """Return a form about the lot of potash."""
    return lambda world, crew: ((world.lot.code,), fields)


def of_held(**fields: Any) -> Where:
    """Return a form about the lot that waits for a decision."""
    return lambda world, crew: ((world.held.code,), fields)


def of_note(**fields: Any) -> Where:
    """Return a form about the note on goggles."""

    def where(world: World, crew: make.Crew) -> tuple[Arguments, Fields]:
        return (SafetyNote.objects.order_by("pk")[0].pk,), fields

    return where


def item_number(world: World, crew: make.Crew) -> tuple[Arguments, Fields]:
    """The number of another size."""
    formula = world.released.formula_version.formula_id
    return (formula,), {"nominal_ul": "250 ml", "gtin": items.number(8)}


def of_item(**fields: Any) -> Where:
    """Return a form about a number that stands."""
    return lambda world, crew: ((ItemNumber.objects.latest("pk").pk,), fields)


def of_liquid(*more: str | int, **fields: Any) -> Where:
    """Return a form about the labels of the liquid that is released."""

    def where(world: World, crew: make.Crew) -> tuple[Arguments, Fields]:
        return (world.released.formula_version.formula_id, *more), fields

    return where


def of_pot(*more: str | int, **fields: Any) -> Where:
    """Return a form about the batch that cooks."""
    return lambda world, crew: ((world.cooking.number, *more), fields)


def of_pots(rows: str, **fields: Any) -> Where:
    """Return a form about the first of the rows of the batch that cooks."""

    def where(world: World, crew: make.Crew) -> tuple[Arguments, Fields]:
        row = getattr(world.cooking, rows).order_by("pk").first()
        return (world.cooking.number, row.pk), fields

    return where


def of_signed(rows: str, **fields: Any) -> Where:
    """Return a form about the first of the rows of the batch that is signed."""

    def where(world: World, crew: make.Crew) -> tuple[Arguments, Fields]:
        batch = world.rejected
        owner = batch.stock if rows == "titrations" else batch
        row = getattr(owner, rows).order_by("pk").first()
        return (batch.number, row.pk), fields

    return where


def of_released(rows: str = "", **fields: Any) -> Where:
    """Return a form about the liquid that is released, or the first of its rows."""

    def where(world: World, crew: make.Crew) -> tuple[Arguments, Fields]:
        batch = world.released
        if not rows:
            return (batch.number,), fields
        return (batch.number, getattr(batch, rows).order_by("pk")[0].pk), fields

    return where


def of_pot_of_liquid(kind: str, **fields: Any) -> Where:
    """Return a form about a dilution that waits for review."""
    return lambda world, crew: (
        (make.diluted_batch(crew).number, kind),
        fields,
    )


def of_lots(rows: str, **fields: Any) -> Where:
    """Return a form about the first of the rows of the lot of potash."""

    def where(world: World, crew: make.Crew) -> tuple[Arguments, Fields]:
        row = getattr(world.lot.stock, rows).order_by("pk").first()
        return (world.lot.code, row.pk), fields

    return where


# --------------------------------------------------------------- what is made for it


def receipt(world: World, crew: make.Crew) -> tuple[Arguments, Fields]:
    return (), {
        "material": make.water(crew.maker).pk,
        "supplier": make.supplier(crew.maker).pk,
        "supplier_lot": "W 12",
        "quantity_mg": "5 kg",
    }


def changed_supplier(world: World, crew: make.Crew) -> tuple[Arguments, Fields]:
    return ("suppliers", make.supplier(crew.maker).pk), {"phone": "555 0111"}


def certificate(world: World, crew: make.Crew) -> tuple[Arguments, Fields]:
    fields = {"file": uploads.pdf(), "saponification_value": "190.5"}
    return (world.held.code,), fields


def formula(world: World, crew: make.Crew) -> tuple[Arguments, Fields]:
    return (), {
        "name": "Another paste",
        "kind": "cook",
        "purpose": "paste",
        "product_name": "Paste",
        "shelf_life_days": "365",
        "ingredient_1": f"m{make.sunflower(crew.maker).pk}",
        "per_kg_1": "1 kg",
        "ingredient_2": f"m{make.water(crew.maker).pk}",
        "per_kg_2": "420 g",
        "ingredient_3": f"m{make.potash(crew.maker).pk}",
    }


def version(world: World, crew: make.Crew) -> tuple[Arguments, Fields]:
    formula_id = world.cooking.formula_version.formula_id
    return (formula_id,), {**WHY, "shelf_life_days": "300"}


def of_tin(world: World, crew: make.Crew) -> tuple[Arguments, Fields]:
    return (world.held.code, 1), {"place": "by the door", "tare_mg": "120,5 g"}


def counts(world: World, crew: make.Crew) -> tuple[Arguments, Fields]:
    tin = world.held.containers.get(number=1)
    return (), {f"counted_{world.held.pk}_{tin.pk}": "1 kg"}


def opening(world: World, crew: make.Crew) -> tuple[Arguments, Fields]:
    formula_id = world.cooking.formula_version.formula_id
    return (), {"formula": formula_id, "basis_mg": "1 kg"}


def choice(world: World, crew: make.Crew) -> tuple[Arguments, Fields]:
    batch = make.open_batch(crew)
    line = make.line_of(batch, "distilled water")
    return (batch.number,), {f"line_{line.pk}": make.stock_of(crew, line).pk}


def of_new_pot(**fields: Any) -> Where:
    """Return a form about a batch that was just opened."""
    return lambda world, crew: ((make.open_batch(crew).number,), fields)


def charge(world: World, crew: make.Crew) -> tuple[Arguments, Fields]:
    batch = make.open_batch(crew)
    make.go_through(crew, batch)
    line = make.line_of(batch, "sunflower oil")
    source = make.stock_of(crew, line)
    return (batch.number, line.position), {
        "source": source.pk,
        "scale": make.scale(crew.maker).pk,
        "gross_mg": "1 150 g",
        "tare_mg": "350 g",
    }


def beginning(world: World, crew: make.Crew) -> tuple[Arguments, Fields]:
    arguments, typed = charge(world, crew)
    return arguments, {
        name: value for name, value in typed.items() if name != "gross_mg"
    }


def half_weighed(**fields: Any) -> Where:
    """Return a form about a weighing that was begun and not finished."""

    def where(world: World, crew: make.Crew) -> tuple[Arguments, Fields]:
        row = lab.half_weighing(crew, make.open_batch(crew))
        return (row.batch.number, row.pk), fields

    return where


def just_entered(world: World, crew: make.Crew) -> tuple[Arguments, Fields]:
    return (charged(crew).number,), {}


def charged(crew: make.Crew) -> Batch:
    """Return a batch with everything in it and nothing weighed out."""
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    return batch


def yield_(world: World, crew: make.Crew) -> tuple[Arguments, Fields]:
    return (charged(crew).number,), {"gross_mg": "1.6 kg", "tare_mg": "350 g"}


def correction(world: World, crew: make.Crew) -> tuple[Arguments, Fields]:
    batch = charged(crew)
    oil = RawLot.objects.usable(make.TODAY).get(material=make.sunflower(crew.maker))
    fields = {**WHY, "gross_mg": "20 g", "tare_mg": "0"}
    return (batch.number, oil.code), fields


def filling(world: World, crew: make.Crew) -> tuple[Arguments, Fields]:
    fields = {"count": "1", "nominal_ul": "100 ml", "density": "1.02"}
    return (world.released.number,), fields


def titration(kind: str, **fields: str) -> Where:
    """Return a titration of that kind, of what is titrated so."""

    def where(world: World, crew: make.Crew) -> tuple[Arguments, Fields]:
        code = {
            "potash": world.lot.code,
            "free_alkali": world.cooking.number,
        }.get(kind, world.held.code)
        return (code, kind), {"half_width": "0.0005", **fields}

    return where


def container(world: World, crew: make.Crew) -> tuple[Arguments, Fields]:
    return (world.lot.code,), {"gross_mg": "5 kg", "tare_mg": "350 g"}


def putting(world: World, crew: make.Crew) -> tuple[Arguments, Fields]:
    """A bottle that is put on a shelf."""
    return (), {"place": hands.place(crew).pk, "codes": world.bottle.code}


def forgotten(world: World, crew: make.Crew) -> tuple[Arguments, Fields]:
    """Somebody who wants to be forgotten."""
    return (make.consignee(crew.maker, name="Ida Norrgård", kind="private").pk,), WHY


def doubted(world: World, crew: make.Crew) -> tuple[Arguments, Fields]:
    """A bottle whose code another one has too."""
    return (world.bottle.code,), {"kind": "duplicate", "found": "at the stall"}


def settled(world: World, crew: make.Crew) -> tuple[Arguments, Fields]:
    """A doubt about a bottle, and what it was."""
    return (BottleDiscrepancy.objects.latest("pk").pk,), WHY


def scanned_code(world: World, crew: make.Crew) -> tuple[Arguments, Fields]:
    """A code that was never issued and that somebody asked for."""
    return (ScanAlert.objects.latest("pk").pk,), WHY


def broken_bottle(world: World, crew: make.Crew) -> tuple[Arguments, Fields]:
    return (world.bottle.code,), {**WHY, "new": "destroyed"}


def broken_bottles(world: World, crew: make.Crew) -> tuple[Arguments, Fields]:
    return (), {**WHY, "new": "destroyed", "codes": world.bottle.code}


def sending(world: World, crew: make.Crew) -> tuple[Arguments, Fields]:
    # Its potash is on hold since the can was found heavier; nothing leaves till then.
    goods.decide_lot(
        by=crew.reviewer,
        lot=RawLot.objects.listed().get(pk=world.lot.pk),
        new="released",
        reason="dry again",
    )
    return (), {
        "consignee": make.consignee(crew.maker).pk,
        "codes": world.bottle.code,
    }


def wrongly_sent(world: World, crew: make.Crew) -> tuple[Arguments, Fields]:
    """A dispatch that was meant for somebody else."""
    return (world.dispatch.code,), WHY


def limit(world: World, crew: make.Crew) -> tuple[Arguments, Fields]:
    return (world.cooking.formula_version_id,), {
        **WHY,
        "characteristic": "ph",
        "lower": "8",
        "upper": "10.5",
    }


def limit_of_material(world: World, crew: make.Crew) -> tuple[Arguments, Fields]:
    fields = {**WHY, "characteristic": "assay", "lower": "85", "effect": "warn"}
    return (world.lot.material_id,), fields


def topped_up(world: World, crew: make.Crew) -> tuple[Arguments, Fields]:
    return (lab.topped_up_bottles(crew).code,), WHY


def signature(world: World, crew: make.Crew) -> tuple[Arguments, Fields]:
    return (world.waiting.number,), {
        **WHY,
        "meaning": "release",
        "password": make.PASSWORD,
    }


def weighed_bottles(world: World, crew: make.Crew) -> tuple[Arguments, Fields]:
    return (world.filling_lot.code,), {
        "scale": make.scale(crew.maker).pk,
        "tare_mg": "40 g",
        "masses": "296\n"
        * world.filling_lot.bottles.exclude(
            status__in=("destroyed", "dispatched", "returned", "recovered")
        ).count(),
    }


def wrongly_weighed(world: World, crew: make.Crew) -> tuple[Arguments, Fields]:
    """The weighing of another lot."""
    check = world.filling_lot.fill_checks.latest("pk")
    return (world.filling_lot.code, check.pk), WHY


def kept_sample(world: World, crew: make.Crew) -> tuple[Arguments, Fields]:
    """A bottle that is kept here."""
    place = bottling.shelf(crew)
    return (world.filling_lot.code,), {"bottle": world.bottle.code, "place": place.pk}


def ready_lot(world: World, crew: make.Crew) -> tuple[Arguments, Fields]:
    """A filling lot with which all is done but the release."""
    lot = bottling.ready(crew, world.released, count=1, nominal_ul=100_000)
    return (lot.code,), {}


def of_deviation(**fields: Any) -> Where:
    """Return a form about the deviation that is looked into."""
    return lambda world, crew: ((world.deviation.code,), fields)


def faulty_scale(world: World, crew: make.Crew) -> tuple[Arguments, Fields]:
    return (make.scale(crew.maker).pk,), DEVIATION


def check(instrument: Callable[..., Any], **fields: str) -> Where:
    """Return a check of that instrument."""
    return lambda world, crew: ((instrument(crew.maker).pk,), fields)


OWNER, MAKER, REVIEWER = "owner", "maker", "reviewer"
NEW_PASSWORD = "eight kettles and a ladle"

ACTS: tuple[Act, ...] = (
    Act(
        "producer:password",
        MAKER,
        fixed(current_password=make.PASSWORD, password=NEW_PASSWORD),
    ),
    Act("producer:register_new", MAKER, fixed("suppliers", name="New oils"), "of one"),
    Act(
        "producer:register_new",
        MAKER,
        fixed(
            "instruments",
            kind="scale",
            name="jewel scale",
            resolution="0.01",
            bias_half_width="0",
        ),
        "of another",
    ),
    Act("producer:register_entry", MAKER, changed_supplier),
    Act("producer:premises", OWNER, fixed(phone="555 0102")),
    Act(
        "producer:account_new",
        OWNER,
        fixed(
            name="New Hand",
            username="new.hand",
            password=NEW_PASSWORD,
            rights=["maker"],
        ),
    ),
    Act("producer:account_rights", OWNER, of_auditor(**WHY, rights=["maker"])),
    Act("producer:account_close", OWNER, of_auditor(**WHY)),
    Act("producer:account_password", OWNER, of_auditor(password=NEW_PASSWORD)),
    Act("producer:lot_receive", MAKER, receipt),
    Act("quality:lot_certificate", MAKER, certificate),
    Act("quality:lot_decide", REVIEWER, of_held(**WHY, new="released")),
    Act("producer:lot_count", MAKER, of_lot(**WHY, counted_mg="1 kg")),
    Act("producer:lot_dispose", MAKER, of_lot(**WHY, amount_mg="10 g")),
    Act("producer:containers", MAKER, of_lot(count="2", each_mg="400 g")),
    Act("producer:container_change", MAKER, of_tin),
    Act("producer:stock_take_new", MAKER, counts),
    Act("batches:formula_new", MAKER, formula),
    Act("batches:formula_version", MAKER, version),
    Act("batches:classify", MAKER, of_liquid(signal="none", basis="data sheet")),
    Act("batches:item_number_give", MAKER, item_number),
    Act("batches:item_number_amend", MAKER, of_item(**WHY, gtin=items.number(9))),
    Act("batches:item_number_void", MAKER, of_item(**WHY)),
    Act("batches:label_text_write", MAKER, of_liquid("de", **WHY, doses="on")),
    Act("batches:label_text_approve", REVIEWER, of_liquid("de", 1)),
    Act("batches:label_text_withdraw", REVIEWER, of_liquid("en", 1, **WHY)),
    Act("batches:batch_open", MAKER, opening),
    Act("batches:lots", MAKER, choice),
    Act("batches:discount", MAKER, of_new_pot(**WHY, discount="2")),
    Act("batches:paper", MAKER, of_pot(note="both sides; the power was out")),
    Act("quality:hold_points", MAKER, of_new_pot(cleared="on")),
    Act("batches:charge", MAKER, charge),
    Act("batches:charge_begin", MAKER, beginning),
    Act("batches:start_finish", MAKER, half_weighed(other_mg="1 150 g")),
    Act("batches:start_void", MAKER, half_weighed(**WHY)),
    Act("batches:undo", MAKER, just_entered),
    Act(
        "batches:charge_amend",
        MAKER,
        of_pots("charges", **WHY, gross_mg="1 151 g", tare_mg="350 g"),
    ),
    Act("batches:charge_void", MAKER, of_pots("charges", **WHY)),
    Act("batches:read", MAKER, of_pot("temperature", value="72"), "temperature"),
    Act("batches:read", MAKER, of_pot("ph", value="9.3"), "pH"),
    Act("batches:read", MAKER, of_pot("clarity", clarity="clear"), "clarity"),
    Act("batches:reading_amend", MAKER, of_pots("readings", **WHY, value="70")),
    Act("batches:discrepancy_explain", REVIEWER, of_signed("discrepancies", **WHY)),
    Act("batches:weigh", MAKER, yield_),
    Act(
        "batches:weigh_amend",
        MAKER,
        of_pots("bulk_weighings", **WHY, gross_mg="1.7 kg", tare_mg="350 g"),
    ),
    Act("batches:correct", MAKER, correction),
    Act("batches:loss", MAKER, of_pot(kind="spill", mass_mg="3 g")),
    Act("batches:loss_amend", MAKER, of_pots("losses", **WHY, mass_mg="8 g")),
    Act("batches:loss_void", MAKER, of_pots("losses", **WHY)),
    Act("batches:portion_add", MAKER, of_released(mass_mg="20 g", purpose="gifts")),
    Act("batches:portion_amend", MAKER, of_released("portions", **WHY, purpose="own")),
    Act("batches:portion_void", MAKER, of_released("portions", **WHY)),
    Act(
        "batches:liquid_read",
        MAKER,
        of_pot_of_liquid("hardness", value="14", unit="°dH", method="strip"),
        "hardness",
    ),
    Act(
        "batches:liquid_read",
        MAKER,
        of_pot_of_liquid("density", value="1,021", temperature="20"),
        "density",
    ),
    Act(
        "batches:liquid_amend",
        MAKER,
        of_released("liquid_readings", **WHY, value="1.022", temperature="20"),
    ),
    Act("batches:liquid_void", MAKER, of_released("liquid_readings", **WHY)),
    Act("batches:cost_add", MAKER, of_pot(kind="hours", amount_hundredths="36,50")),
    Act("batches:cost_amend", MAKER, of_pots("costs", **WHY, amount_hundredths="2")),
    Act("batches:cost_void", MAKER, of_pots("costs", **WHY)),
    Act("producer:lot_price", MAKER, of_held(paid_hundredths="21.90")),
    Act("producer:safety_new", MAKER, fixed(kind="rules", topic="detergents, read")),
    Act("producer:safety_amend", MAKER, of_note(**WHY, topic="goggles replaced")),
    Act("producer:safety_void", MAKER, of_note(**WHY)),
    Act("batches:finish", MAKER, of_pot()),
    Act("batches:abandon", MAKER, of_new_pot(**WHY)),
    Act("batches:fill", MAKER, filling),
    Act(
        "batches:titrate",
        MAKER,
        titration(
            "potash",
            concentration="1",
            sample_1="1.5",
            volume_1="24.1",
            second_1="24.2",
        ),
        "potash",
    ),
    Act(
        "batches:titrate",
        MAKER,
        titration("free_alkali", concentration="0.1", sample_1="10 g", volume_1="1.2"),
        "free alkali",
    ),
    Act(
        "quality:change_charge",
        MAKER,
        of_signed("charges", **WHY, gross_mg="1 151 g", tare_mg="350 g"),
    ),
    Act("quality:void_charge", REVIEWER, of_signed("charges", **WHY)),
    Act("quality:change_reading", MAKER, of_signed("readings", **WHY, value="9.4")),
    Act("quality:void_reading", REVIEWER, of_signed("readings", **WHY)),
    Act(
        "quality:change_weighing",
        MAKER,
        of_signed("bulk_weighings", **WHY, gross_mg="1.7 kg", tare_mg="350 g"),
    ),
    Act("quality:change_loss", MAKER, of_signed("losses", **WHY, mass_mg="8 g")),
    Act("quality:void_loss", REVIEWER, of_signed("losses", **WHY)),
    Act("quality:void_titration", REVIEWER, of_signed("titrations", **WHY)),
    Act("batches:titration_void", MAKER, of_lots("titrations", **WHY)),
    Act("batches:container", MAKER, container),
    Act(
        "batches:container_amend",
        MAKER,
        of_lots("container_weighings", **WHY, gross_mg="4 kg", tare_mg="350 g"),
    ),
    Act("batches:container_void", MAKER, of_lots("container_weighings", **WHY)),
    Act("quality:bottle_move", MAKER, broken_bottle),
    Act("batches:place_put", MAKER, putting),
    Act("quality:consignee_erase", MAKER, forgotten),
    Act("quality:bottle_doubt_report", MAKER, doubted),
    Act("quality:bottle_doubt_settle", REVIEWER, settled),
    Act("quality:scan_alert", MAKER, scanned_code),
    Act("quality:dispatch_new", MAKER, sending),
    Act("quality:dispatch_take_back", MAKER, wrongly_sent),
    Act("quality:bottles_move", MAKER, broken_bottles),
    Act("quality:limit_set", REVIEWER, limit),
    Act("quality:material_limit_set", REVIEWER, limit_of_material),
    Act("quality:sign", REVIEWER, signature),
    Act("quality:fill_check", MAKER, weighed_bottles),
    Act("quality:fill_check_take_back", REVIEWER, wrongly_weighed),
    Act("quality:fill_free", REVIEWER, topped_up),
    Act("batches:sample", MAKER, kept_sample),
    Act("quality:labels", MAKER, label_acts.labels),
    Act("batches:label_count", MAKER, label_acts.label_count),
    Act("batches:label_count_amend", MAKER, label_acts.of_label_count(count="2")),
    Act("batches:label_count_void", MAKER, label_acts.of_label_count()),
    Act("batches:label_format_new", MAKER, label_acts.new_format),
    Act("batches:label_format", MAKER, label_acts.sheet_format),
    Act("quality:fill_release", REVIEWER, ready_lot),
    Act("quality:deviation_open", MAKER, of_pot(**DEVIATION, characteristic="ph")),
    Act("quality:deviation_open_instrument", REVIEWER, faulty_scale),
    Act("quality:deviation_step", MAKER, of_deviation(kind="test", text="pH 9.8")),
    Act(
        "quality:deviation_close",
        REVIEWER,
        of_deviation(decision="mended", text="it is well", password=make.PASSWORD),
    ),
    Act(
        "quality:instrument_check",
        MAKER,
        check(make.thermometer, shown="0.2"),
        "thermometer",
    ),
    Act(
        "quality:instrument_check",
        MAKER,
        check(make.meter, shown="7.02", second_shown="10.03", temperature="25"),
        "pH meter",
    ),
    *(Act(*row) for row in (*spray_acts.ROWS, *sample_acts.ROWS, *recall_acts.ROWS)),
    *(Act(*row) for row in complaint_acts.ROWS),
)
