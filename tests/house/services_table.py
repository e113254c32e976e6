"""What each service takes in a scene of its own: a row of :data:`SERVICES` each."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import Any

from batches.models import Batch, BulkWeighing, Charge, Reading
from batches.services import (
    bottle_moves,
    containers,
    cooking,
    costs,
    discounting,
    discrepancies,
    dispatching,
    filling,
    formulas,
    half_weighings,
    hold_points,
    losses,
    planning,
    titrating,
    transcribing,
    undoing,
)
from producer.models import Premises, RawLot, Right, Supplier, User
from producer.services import containers as tins
from producer.services import (
    counting,
    intake,
    people,
    prices,
    registers,
    safety,
    stock,
)
from quality.services import (
    changing,
    checking,
    deviating,
    filling_checks,
    goods,
    hold_pointing,
    limits,
    revising,
    signing,
)
from tests import kept, lab, leaving, make, uploads
from tests.house import (
    bottle_services,
    complaint_services,
    liquid_services,
    recall_services,
    spray_services,
)
from tests.quality import faulty

Service = Callable[..., Any]
Facts = dict[str, Any]


@dataclasses.dataclass(frozen=True, kw_only=True)
class Cast:
    """Who is there."""

    owner: User
    crew: make.Crew
    auditor: User


def premises_facts(cast: Cast) -> Facts:
    return {
        "code": people.make_setup_code(),
        "premises": Premises(name="Hollow Beck Soapery"),
        "name": "Odile Brandt",
        "username": "odile.brandt",
        "password": make.PASSWORD,
        "rights": [],
    }


def account_facts(cast: Cast) -> Facts:
    return {
        "by": cast.owner,
        "username": "new.helper",
        "name": "New Helper",
        "password": make.PASSWORD,
        "rights": [Right.MAKER],
    }


def other_account(cast: Cast, **facts: Any) -> Facts:
    return {"by": cast.owner, "user": cast.auditor, **facts}


def lot_facts(cast: Cast, **facts: Any) -> Facts:
    lot = make.held_lot(cast.crew, make.water(cast.crew.maker))
    return {"by": cast.crew.maker, "lot": lot, **facts}


def receipt_facts(cast: Cast) -> Facts:
    by = cast.crew.maker
    return {
        "by": by,
        "material": make.water(by),
        "supplier": make.supplier(by),
        "supplier_lot": "A",
        "quantity_mg": 5,
        "received_on": make.TODAY,
    }


def formula_facts(cast: Cast) -> Facts:
    return {
        "by": cast.crew.maker,
        "name": "Another paste",
        "kind": "cook",
        "purpose": "paste",
        "wording": formulas.Wording(product_name="P", shelf_life_days=9),
        "lines": make.paste_lines(cast.crew.maker),
    }


def version_facts(cast: Cast) -> Facts:
    facts = formula_facts(cast)
    return {
        "by": cast.crew.maker,
        "formula": make.paste_version(cast.crew).formula,
        "wording": facts["wording"],
        "lines": facts["lines"],
        "reason": "stiffer",
    }


def opening_facts(cast: Cast) -> Facts:
    version = make.paste_version(cast.crew)
    return {"by": cast.crew.maker, "formula_version": version, "basis_mg": 5}


def choice_facts(cast: Cast) -> Facts:
    batch = make.open_batch(cast.crew)
    line = make.line_of(batch, "distilled water")
    source = make.stock_of(cast.crew, line)
    return {"by": cast.crew.maker, "batch": batch, "choices": {line.pk: source}}


def correction_facts(cast: Cast) -> Facts:
    batch = make.open_batch(cast.crew)
    make.charge_all(cast.crew, batch)
    oil = make.line_of(batch, "sunflower oil")
    return {
        "by": cast.crew.maker,
        "batch": batch,
        "source": make.stock_of(cast.crew, oil),
        "scale": make.scale(cast.crew.maker),
        "gross_mg": 20_000,
        "tare_mg": 0,
        "reason": "alkali by titration",
    }


def loss_facts(cast: Cast) -> Facts:
    cooking.charge(**charge_facts(cast))
    return {
        "by": cast.crew.maker,
        "batch": Charge.objects.get().batch,
        "kind": "spill",
        "mass_mg": 3,
    }


def loss_correction(cast: Cast) -> Facts:
    loss = losses.record_loss(**loss_facts(cast))
    return {"by": cast.crew.maker, "loss": loss, "mass_mg": 2, "reason": "weighed"}


def discount_facts(cast: Cast) -> Facts:
    return {
        "by": cast.crew.maker,
        "batch": make.open_batch(cast.crew),
        "discount": Decimal("0.02"),
        "reason": "only a range is known",
    }


def charge_facts(cast: Cast) -> Facts:
    batch = make.open_batch(cast.crew)
    make.go_through(cast.crew, batch)
    line = make.line_of(batch, "distilled water")
    return {
        "by": cast.crew.maker,
        "batch": batch,
        "line": line,
        "source": make.stock_of(cast.crew, line),
        "scale": make.scale(cast.crew.maker),
        "gross_mg": 10,
        "tare_mg": 5,
        "unusual": "a trial",
    }


def beginning_facts(cast: Cast) -> Facts:
    left_out = {"gross_mg", "tare_mg", "unusual"}
    facts = {k: v for k, v in charge_facts(cast).items() if k not in left_out}
    return {**facts, "first_mg": 5}


def beginning_taken_back(cast: Cast) -> Facts:
    start = half_weighings.begin(**beginning_facts(cast))
    return {"by": cast.crew.maker, "start": start, "reason": "wrong jug"}


def undo_facts(cast: Cast) -> Facts:
    cooking.charge(**charge_facts(cast))
    return {"by": cast.crew.maker, "batch": Charge.objects.get().batch}


def charge_correction(cast: Cast) -> Facts:
    cooking.charge(**charge_facts(cast))
    return {
        "by": cast.crew.maker,
        "charge": Charge.objects.get(),
        "gross_mg": 9,
        "tare_mg": 5,
        "reason": "misread",
    }


def reading_facts(cast: Cast) -> Facts:
    cooking.charge(**charge_facts(cast))
    return {
        "by": cast.crew.maker,
        "batch": Charge.objects.get().batch,
        "characteristic": "temperature",
        "value": Decimal(60),
        "instrument": make.thermometer(cast.crew.maker),
    }


def reading_correction(cast: Cast) -> Facts:
    cooking.record_reading(**reading_facts(cast))
    return {
        "by": cast.crew.maker,
        "reading": Reading.objects.get(),
        "value": Decimal(61),
        "reason": "misread",
    }


def bulk_facts(cast: Cast) -> Facts:
    cooking.charge(**charge_facts(cast))
    return {
        "by": cast.crew.maker,
        "batch": Charge.objects.get().batch,
        "scale": make.scale(cast.crew.maker),
        "gross_mg": 9,
        "tare_mg": 5,
    }


def bulk_correction(cast: Cast) -> Facts:
    cooking.weigh_bulk(**bulk_facts(cast))
    return {
        "by": cast.crew.maker,
        "weighing": BulkWeighing.objects.get(),
        "gross_mg": 8,
        "tare_mg": 5,
        "reason": "misread",
    }


def finishing_facts(cast: Cast) -> Facts:
    batch = make.open_batch(cast.crew)
    make.charge_all(cast.crew, batch)
    make.weigh_bulk(cast.crew, batch)
    return {"by": cast.crew.maker, "batch": batch}


def abandoning_facts(cast: Cast) -> Facts:
    batch = make.open_batch(cast.crew)
    return {"by": cast.crew.maker, "batch": batch, "reason": "no gas"}


def filling_facts(cast: Cast) -> Facts:
    return {
        "by": cast.crew.maker,
        "batch": make.released_liquid(cast.crew),
        "nominal_ul": 250_000,
        "density": Decimal("1.02"),
        "count": 3,
    }


def fill_check_facts(cast: Cast) -> Facts:
    return {
        "by": cast.crew.maker,
        "filling_lot": make.filled(cast.crew),
        "scale": make.scale(cast.crew.maker),
        "tare_mg": 42_000,
        "net_mg": [512_000, 511_000],
    }


def dispatch_facts(cast: Cast) -> Facts:
    return {
        "by": cast.crew.maker,
        "bottles": leaving.bottles(cast.crew),
        "consignee": make.consignee(cast.crew.maker),
    }


def moves_facts(cast: Cast) -> Facts:
    bottles = make.bottles_of(make.filled(cast.crew))
    by = cast.crew.maker
    return {"by": by, "bottles": bottles, "new": "destroyed", "reason": "frozen"}


def limit_facts(cast: Cast) -> Facts:
    return {
        "by": cast.crew.reviewer,
        "formula_version": make.paste_version(cast.crew),
        "characteristic": "ph",
        "lower": Decimal(8),
        "upper": Decimal(10),
        "reason": "as agreed",
    }


def hold_point_facts(cast: Cast) -> Facts:
    by = cast.crew.maker
    return {
        "by": by,
        "batch": make.open_batch(cast.crew),
        "cleared": hold_pointing.Seen(in_order=True),
        "scale": hold_pointing.Held(
            scale=make.scale(by), weight=lab.check_weight(by), shown=Decimal(500)
        ),
        "lots": True,
        "pot": hold_points.EmptyVessel(
            vessel=make.vessel(by), scale=make.scale(by), mass_mg=make.TARE_MG
        ),
    }


def check_facts(cast: Cast) -> Facts:
    return {
        "by": cast.crew.maker,
        "instrument": make.scale(cast.crew.maker),
        "held": checking.Known(
            against="500 g, class M1", reference=Decimal(500), shown=Decimal(500)
        ),
        "tolerance": Decimal(2),
    }


def titration_facts(cast: Cast) -> Facts:
    lot = make.released_lot(cast.crew, make.potash(cast.crew.maker))
    return {
        "by": cast.crew.maker,
        "stock": lot.stock,
        "kind": "potash",
        "replicates": [lab.POTASH_SAMPLE],
        "setup": titrating.Setup(
            concentration=Decimal(1),
            burette_half_width=Decimal("0.05"),
            scale=lab.balance(cast.crew.maker),
        ),
    }


def titration_taken_back(cast: Cast) -> Facts:
    titration = titrating.record_titration(**titration_facts(cast))
    return {"by": cast.crew.maker, "titration": titration, "reason": "wrong acid"}


def tins_facts(cast: Cast) -> Facts:
    return lot_facts(cast, fillings=tins.alike(count=2, each_mg=1_000_000))


def tin_facts(cast: Cast) -> Facts:
    first, _ = tins.register(**tins_facts(cast))
    return {
        "by": cast.crew.maker,
        "container": first,
        "place": "by the door",
        "tare_mg": 120_500,
    }


def count_facts(cast: Cast) -> Facts:
    lot = make.held_lot(cast.crew, make.sunflower(cast.crew.maker))
    one = counting.Counted(lot=lot, counted_mg=5, reason="spilt")
    return {"by": cast.crew.maker, "counts": [one]}


def container_facts(cast: Cast) -> Facts:
    return lot_facts(
        cast, scale=make.scale(cast.crew.maker), gross_mg=5_400_000, tare_mg=400_000
    )


def container_correction(cast: Cast) -> Facts:
    weighing = containers.weigh_container(**container_facts(cast))
    return {
        "by": cast.crew.maker,
        "weighing": weighing,
        "gross_mg": 5_390_000,
        "tare_mg": 400_000,
        "reason": "misread",
    }


def signing_facts(cast: Cast) -> Facts:
    return {
        "by": cast.crew.reviewer,
        "batch": make.cooked_batch(cast.crew),
        "meaning": "release",
        "password": make.PASSWORD,
    }


def signed_batch(cast: Cast) -> Batch:
    """Return a signed batch with a titration and a loss in it."""
    batch = make.cooked_batch(cast.crew)
    lab.free_alkali(cast.crew, batch)
    losses.record_loss(by=cast.crew.maker, batch=batch, kind="spill", mass_mg=3)
    return make.signed(cast.crew.reviewer, batch, "reject")


def changing_facts(cast: Cast, name: str, rows: str, **facts: Any) -> Facts:
    row = getattr(signed_batch(cast), rows).order_by("pk")[0]
    return {"by": cast.crew.maker, name: row, "reason": "misread", **facts}


def void_titration_facts(cast: Cast) -> Facts:
    titration = signed_batch(cast).stock.titrations.get()
    return {"by": cast.crew.reviewer, "titration": titration, "reason": "wrong acid"}


def revised_facts(cast: Cast) -> Facts:
    lot = make.released_lot(cast.crew, make.potash(cast.crew.maker))
    batch = make.cooked_batch(cast.crew, sources={"potash": lot.stock})
    make.sign(cast.crew.reviewer, batch)
    values = make.certificate_values(lot.material, assay_percent=Decimal(87))
    return {
        "by": cast.crew.maker,
        "lot": RawLot.objects.listed().get(pk=lot.pk),
        "values": values,
        "upload": None,
        "reason": "the supplier corrected it",
    }


def deviation_facts(cast: Cast) -> Facts:
    return {
        "by": cast.crew.maker,
        "stock": make.cooked_batch(cast.crew).stock,
        "classification": "minor",
        "what": "stood open",
    }


def closing_facts(cast: Cast) -> Facts:
    found = deviating.open_deviation(**deviation_facts(cast))
    return {
        "by": cast.crew.reviewer,
        "deviation": faulty.looked_into(cast.crew.maker, found),
        "decision": "no_effect",
        "text": "the lid was on",
        "password": make.PASSWORD,
    }


def cost_facts(cast: Cast) -> Facts:
    return {
        "by": cast.crew.maker,
        "batch": make.open_batch(cast.crew),
        "kind": "energy",
        "amount_hundredths": 90,
    }


def note_facts(cast: Cast) -> Facts:
    return {
        "by": cast.crew.maker,
        "kind": "rules",
        "topic": "read again",
        "done_on": make.TODAY,
    }


def of_crew(facts: Callable[[make.Crew], Facts]) -> Callable[[Cast], Facts]:
    """Return facts that need nobody but the crew."""
    return lambda cast: facts(cast.crew)


SERVICES: Mapping[Service, Callable[[Cast], Facts]] = {
    people.set_up: premises_facts,
    people.add_account: account_facts,
    people.change_rights: lambda c: other_account(c, rights=[], reason="rest"),
    people.deactivate: lambda c: other_account(c, reason="moved away"),
    people.change_password: lambda c: {
        "by": c.auditor,
        "user": c.auditor,
        "current_password": make.PASSWORD,
        "password": "a new kettle 1",
    },
    people.set_password: lambda c: other_account(c, password="a new kettle 1"),
    registers.save: lambda c: {"by": c.crew.maker, "entry": Supplier(name="New")},
    intake.receive_lot: receipt_facts,
    intake.record_certificate: lambda c: lot_facts(
        c, values=intake.CertificateValues(reference="A"), upload=uploads.pdf()
    ),
    intake.decide_lot: lambda c: (
        lot_facts(c, new="released", reason="fine") | {"by": c.crew.reviewer}
    ),
    prices.set_price: lambda c: lot_facts(c, paid_hundredths=350),
    safety.record_note: note_facts,
    safety.amend_note: lambda c: {
        "by": c.crew.maker,
        "note": safety.record_note(**note_facts(c)),
        "void": True,
        "reason": "the wrong page",
    },
    costs.record_cost: cost_facts,
    costs.amend_cost: lambda c: {
        "by": c.crew.maker,
        "cost": costs.record_cost(**cost_facts(c)),
        "amount_hundredths": 95,
        "reason": "read wrongly",
    },
    stock.adjust: lambda c: lot_facts(c, counted_mg=5, reason="counted"),
    stock.dispose: lambda c: lot_facts(c, amount_mg=5, reason="spilt"),
    tins.register: tins_facts,
    tins.change: tin_facts,
    counting.take_stock: count_facts,
    formulas.write_formula: formula_facts,
    formulas.write_version: version_facts,
    planning.open_batch: opening_facts,
    planning.choose_lots: choice_facts,
    discounting.set_lye_discount: discount_facts,
    cooking.charge: charge_facts,
    transcribing.begin: lambda c: {
        "by": c.crew.maker,
        "batch": make.open_batch(c.crew),
        "note": "power out",
    },
    cooking.amend_charge: charge_correction,
    half_weighings.begin: beginning_facts,
    half_weighings.take_back: beginning_taken_back,
    undoing.undo: undo_facts,
    cooking.correct: correction_facts,
    losses.record_loss: loss_facts,
    losses.amend_loss: loss_correction,
    **liquid_services.SERVICES,
    cooking.record_reading: reading_facts,
    cooking.amend_reading: reading_correction,
    cooking.weigh_bulk: bulk_facts,
    cooking.amend_bulk: bulk_correction,
    cooking.finish: finishing_facts,
    discrepancies.record: lambda c: kept.facts(c.crew),
    discrepancies.enter: lambda c: kept.entering(c.crew),
    discrepancies.explain: lambda c: kept.explaining(c.crew),
    cooking.abandon: abandoning_facts,
    filling.fill: filling_facts,
    dispatching.dispatch: lambda c: {**dispatch_facts(c), "barred": lambda _: {}},
    bottle_moves.move_bottles: moves_facts,
    titrating.record_titration: titration_facts,
    titrating.take_back_titration: titration_taken_back,
    containers.weigh_container: container_facts,
    containers.amend_container: container_correction,
    limits.set_limit: limit_facts,
    checking.record_check: check_facts,
    hold_points.go_through: lambda c: {
        "by": c.crew.maker,
        "batch": make.open_batch(c.crew),
        "looks": [hold_points.Look(point=hold_points.Point.LOTS)],
    },
    hold_pointing.go_through: hold_point_facts,
    filling_checks.record_fill_check: fill_check_facts,
    filling_checks.free_bottles: lambda c: {
        "by": c.crew.reviewer,
        "filling_lot": lab.topped_up_bottles(c.crew),
        "reason": "topped up",
    },
    goods.decide_lot: lambda c: (
        lot_facts(c, new="released", reason="fine") | {"by": c.crew.reviewer}
    ),
    signing.sign: signing_facts,
    changing.change_charge: lambda c: changing_facts(
        c, "charge", "charges", gross_mg=1_150_000, tare_mg=350_500
    ),
    changing.change_reading: lambda c: changing_facts(
        c, "reading", "readings", void=True
    ),
    changing.change_weighing: lambda c: changing_facts(
        c, "weighing", "bulk_weighings", gross_mg=1_000_000, tare_mg=5
    ),
    changing.change_loss: lambda c: changing_facts(c, "loss", "losses", mass_mg=2),
    changing.void_titration: void_titration_facts,
    revising.record_certificate: revised_facts,
    deviating.open_deviation: deviation_facts,
    deviating.add_step: lambda c: {
        "by": c.crew.maker,
        "deviation": deviating.open_deviation(**deviation_facts(c)),
        "kind": "cause",
        "text": "a bad strip",
    },
    deviating.close_deviation: closing_facts,
    **{
        service: of_crew(facts)
        for table in (
            bottle_services,
            complaint_services,
            recall_services,
            spray_services,
        )
        for service, facts in table.SERVICES.items()
    },
}
