"""Builders: what a test needs to stand on, made by the services themselves.

An invented premises: one paste of sunflower and coconut oil, diluted to a wash or a
spray. Each builder makes what it stands on, unless it is given.
"""

from __future__ import annotations

import datetime
import zoneinfo
from collections.abc import Iterable, Mapping
from decimal import Decimal
from typing import Any, NamedTuple, TypeVar

from django.utils import timezone

from batches.models import (
    Batch,
    Bottle,
    Charge,
    FillingLot,
    Formula,
    FormulaLine,
    FormulaVersion,
)
from batches.services import (
    cooking,
    filling,
    formulas,
    hold_points,
    planning,
)
from batches.services.results import yield_of
from producer.models import (
    Consignee,
    Instrument,
    Material,
    Person,
    Premises,
    RawLot,
    Right,
    Stock,
    Supplier,
    User,
    Vessel,
)
from producer.services import intake, people, registers
from producer.services.checks import local_day
from quality.models import Characteristic, Signature
from quality.services import limits, signing
from tests import opened, uploads
from tests.once import once

PASSWORD = "seven kettles on the hob"
TODAY = datetime.datetime.now(tz=zoneinfo.ZoneInfo("Europe/London")).date()
KG = 1_000_000
TARE_MG = 350_000
SCENE = "so the scene wants it"


class Crew(NamedTuple):
    """The two people without whom nothing gets done."""

    maker: User
    reviewer: User


# ------------------------------------------------------------------ people


@once
def set_up(**changes: Any) -> User:
    """Set the premises up and return its owner, who has no further right."""
    premises = Premises(
        **{
            "name": "Hollow Beck Soapery",
            "address": "2 Beck Lane, Hollow",
            "phone": "555 0100",
            "poison_centre": "555 0199",
            **changes,
        }
    )
    return people.set_up(
        code=people.make_setup_code(),
        premises=premises,
        name="Odile Brandt",
        username="odile.brandt",
        password=PASSWORD,
        rights=[],
    )


@once
def account(
    *,
    by: User,
    name: str,
    rights: Iterable[str],
    username: str = "",
    person: Person | None = None,
) -> User:
    """Open an account, for a new person unless one is given."""
    return people.add_account(
        by=by,
        username=username or name.lower().replace(" ", "."),
        password=PASSWORD,
        rights=[Right(right) for right in rights],
        name=name,
        person=person,
    )


# ------------------------------------------------------------------ registers

Entry = TypeVar("Entry", Supplier, Consignee, Material, Instrument, Vessel)


def registered(by: User, entry: Entry) -> Entry:
    """Return the register's entry of this name, made now if there is none."""
    known = type(entry)._default_manager.filter(name=entry.name).first()
    return known or registers.save(by=by, entry=entry)


def supplier(by: User, name: str = "Fenwick Lye and Oil") -> Supplier:
    """Return a supplier."""
    return registered(by, Supplier(name=name, phone="555 0110"))


def consignee(
    by: User, name: str = "Corner Shop Lindqvist", kind: str = "reseller"
) -> Consignee:
    """Return somebody who takes bottles."""
    return registered(by, Consignee(name=name, kind=kind, phone="555 0120"))


def scale(by: User) -> Instrument:
    """Return a kitchen scale with steps of one gram."""
    return registered(
        by, Instrument(kind="scale", name="bench scale", resolution=Decimal(1))
    )


def thermometer(by: User) -> Instrument:
    """Return a thermometer."""
    entry = Instrument(kind="thermometer", name="pot probe", resolution=Decimal("0.1"))
    return registered(by, entry)


def meter(by: User) -> Instrument:
    """Return a pH meter, good to a few hundredths."""
    entry = Instrument(
        kind="ph_meter",
        name="pH meter",
        resolution=Decimal("0.01"),
        bias_half_width=Decimal("0.05"),
    )
    return registered(by, entry)


def strips(by: User, **changes: Any) -> Instrument:
    """Return a lot of pH strips."""
    facts = {"name": "strips 41", "resolution": Decimal("0.5"), **changes}
    return registered(by, Instrument(kind="ph_strips", **facts))


def potash(by: User) -> Material:
    """Return potassium hydroxide, in flakes."""
    return registered(by, Material(name="potash flakes", kind="potash"))


def sunflower(by: User) -> Material:
    """Return sunflower oil; range of Codex CXS 210."""
    return _oil(by, "sunflower oil", 188, 194)


def coconut(by: User) -> Material:
    """Return coconut oil; range of Codex CXS 210."""
    return _oil(by, "coconut oil", 248, 265)


def water(by: User) -> Material:
    """Return distilled water."""
    return registered(by, Material(name="distilled water", kind="water"))


def _oil(by: User, name: str, low: int, high: int) -> Material:
    entry = Material(
        name=name,
        kind="oil",
        saponification_low=Decimal(low),
        saponification_high=Decimal(high),
        saponification_source="Codex CXS 210-1999",
    )
    return registered(by, entry)


# ------------------------------------------------------------------ goods in


@once
def held_lot(
    crew: Crew, material: Material, *, quantity_mg: int = 5 * KG, **changes: Any
) -> RawLot:
    """Return a lot that was received and not decided about."""
    facts = {
        "supplier": supplier(crew.maker),
        "supplier_lot": "SL-1",
        "received_on": local_day(timezone.now()),
        **changes,
    }
    return intake.receive_lot(
        by=crew.maker, material=material, quantity_mg=quantity_mg, **facts
    )


def certificate_values(material: Material, **changes: Any) -> intake.CertificateValues:
    """Return what a certificate of such a material states."""
    usual: Mapping[str, Mapping[str, Any]] = {
        "potash": {"assay_percent": Decimal(90), "assay_basis": "hydroxide"},
        "oil": {"saponification_value": Decimal("190.5")},
    }
    return intake.CertificateValues(**{**usual.get(material.kind, {}), **changes})


@once
def released_lot(
    crew: Crew,
    material: Material,
    *,
    quantity_mg: int = 5 * KG,
    certificate: Mapping[str, Any] | None = None,
    **changes: Any,
) -> RawLot:
    """Return a lot with a certificate, released by the reviewer.

    An oil gets its value from the certificate only where one is given; coconut oil
    then has that of its range.
    """
    lot = held_lot(crew, material, quantity_mg=quantity_mg, **changes)
    if material.kind == "potash" or certificate is not None:
        values = certificate_values(material, **(certificate or {}))
        intake.record_certificate(
            by=crew.maker, lot=lot, values=values, upload=uploads.pdf()
        )
    return intake.decide_lot(
        by=crew.reviewer, lot=lot, new="released", reason="certificate read"
    )


# ------------------------------------------------------------------ formulas


@once
def paste_version(
    crew: Crew,
    *,
    name: str = "Kitchen paste",
    ph: tuple[str, str] = ("8", "10"),
    yield_variance: tuple[str, str] = ("-20", "0"),
) -> FormulaVersion:
    """Return the newest version of a paste, written with limits if there is none."""
    known = Formula.objects.filter(name=name).first()
    if known:
        return formulas.newest_version(known)
    version = formulas.write_formula(
        by=crew.maker,
        name=name,
        kind="cook",
        purpose="paste",
        wording=formulas.Wording(product_name=name, shelf_life_days=365),
        lines=paste_lines(crew.maker),
    )
    set_limits(crew.reviewer, version, ph=ph, yield_variance=yield_variance)
    return version


def paste_lines(by: User, *, water_mg: int = 420_000) -> list[formulas.Line]:
    """Return what a paste consists of, per kilogram of oils."""
    return [
        formulas.Line(material=sunflower(by), per_kg_mg=800_000),
        formulas.Line(material=coconut(by), per_kg_mg=200_000),
        formulas.Line(material=water(by), per_kg_mg=water_mg),
        formulas.Line(material=potash(by)),
    ]


@once
def liquid_version(
    crew: Crew,
    *,
    name: str = "Laundry liquid",
    purpose: str = "wash",
    source: Formula | None = None,
    **wording: Any,
) -> FormulaVersion:
    """Return the newest version of a dilution, 1 part of paste to 1.5 of water."""
    known = Formula.objects.filter(name=name).first()
    if known:
        return formulas.newest_version(known)
    paste = source or paste_version(crew).formula
    version = formulas.write_formula(
        by=crew.maker,
        name=name,
        kind="dilution",
        purpose=purpose,
        wording=formulas.Wording(
            **{"product_name": name, "shelf_life_days": 180, **wording}
        ),
        lines=[
            formulas.Line(source_formula=paste, per_kg_mg=KG),
            formulas.Line(material=water(crew.maker), per_kg_mg=1_500_000),
        ],
    )
    set_limits(crew.reviewer, version)
    return version


def spray_version(crew: Crew, **wording: Any) -> FormulaVersion:
    """Return a spray against pests."""
    name = "Greenfly spray"
    return liquid_version(crew, name=name, purpose="spray", **wording)


def blend_version(crew: Crew, *, name: str = "Blended paste") -> FormulaVersion:
    """Return a blend of batches of the paste."""
    known = Formula.objects.filter(name=name).first()
    if known:
        return formulas.newest_version(known)
    version = formulas.write_formula(
        by=crew.maker,
        name=name,
        kind="blend",
        purpose="paste",
        wording=formulas.Wording(product_name=name, shelf_life_days=365),
        lines=[formulas.Line(source_formula=paste_version(crew).formula, per_kg_mg=KG)],
    )
    set_limits(crew.reviewer, version)
    return version


def set_limits(
    by: User,
    version: FormulaVersion,
    *,
    ph: tuple[str, str] = ("8", "10"),
    yield_variance: tuple[str, str] = ("-20", "0"),
) -> None:
    """Set every limit that a batch of this kind is held against."""
    sides = {
        Characteristic.PH: ph,
        Characteristic.YIELD_VARIANCE: yield_variance,
        Characteristic.CLARITY: None,
    }
    for characteristic in limits.REQUIRED[version.formula.kind]:
        lower, upper = sides[characteristic] or (None, None)
        limits.set_limit(
            by=by,
            formula_version=version,
            characteristic=characteristic,
            reason="as agreed",
            lower=Decimal(lower) if lower else None,
            upper=Decimal(upper) if upper else None,
        )


# ------------------------------------------------------------------ batches


@once
def open_batch(
    crew: Crew, version: FormulaVersion | None = None, **changes: Any
) -> Batch:
    """Open a batch, of a kilogram of oils of the paste unless told otherwise.

    It was opened a week ago: a scene may tell what was done before it is entered.
    """
    opened_at = timezone.now() - datetime.timedelta(days=7)
    return planning.open_batch(
        by=crew.maker,
        formula_version=version or paste_version(crew),
        **{"basis_mg": KG, "opened_at": opened_at, **changes},
    )


def vessel(by: User) -> Vessel:
    """Return the pot, with the tare it has in every weighing here."""
    return registered(by, Vessel(name="steel pot", tare_mg=TARE_MG))


def go_through(
    crew: Crew, batch: Batch, observed_at: datetime.datetime | None = None
) -> None:
    """Find every hold point in order, unless they were gone through already."""
    if not hold_points.open_points(batch, at=observed_at):
        return
    bench = scale(crew.maker)
    pot = hold_points.EmptyVessel(
        vessel=vessel(crew.maker), scale=bench, mass_mg=TARE_MG
    )
    seen: Mapping[str, Mapping[str, Any]] = {
        "scale": {"scale": bench, "found": "500 g: 500 g shown"},
        "tare": {"tare": pot},
    }
    hold_points.go_through(
        by=crew.maker,
        batch=batch,
        looks=[
            hold_points.Look(point=point, **seen.get(point, {}))
            for point in hold_points.Point
        ],
        observed_at=observed_at,
    )


def line_of(batch: Batch, name: str) -> FormulaLine:
    """Return the line of the batch's formula for a material or formula of this name."""
    for line in batch.formula_version.lines.select_related(
        "material", "source_formula"
    ):
        if name == str(line.material or line.source_formula):
            return line
    raise LookupError(name)


def charge(
    crew: Crew,
    batch: Batch,
    source: Stock,
    net_mg: int,
    *,
    line: FormulaLine | None = None,
    is_rework: bool = False,
    **changes: Any,
) -> Charge:
    """Weigh ``net_mg`` of a stock into a batch, on the line it fits.

    Where that passes over a lot that expires earlier, so the scene wants it.
    """
    if line is None and not is_rework:
        line = line_of(batch, name_of(source))
    if batch.status == "planned":
        go_through(crew, batch, changes.get("observed_at"))
    opened.weigh(
        crew.maker, batch, source, scale(crew.maker), changes.get("observed_at")
    )
    return cooking.charge(
        by=crew.maker,
        batch=batch,
        line=line,
        source=source,
        scale=scale(crew.maker),
        gross_mg=net_mg + TARE_MG,
        tare_mg=TARE_MG,
        **{"unusual": SCENE, "how": cooking.How(passed_over=SCENE), **changes},
    )


def name_of(source: Stock) -> str:
    """Return what the line of a formula for this stock is called."""
    if source.kind == Stock.Kind.LOT:
        return source.lot.material.name
    return source.batch.formula_version.formula.name


def stock_of(crew: Crew, line: FormulaLine) -> Stock:
    """Return something released that fits the line, made now if there is nothing."""
    if line.material is None:
        return released_paste(crew).stock
    lot = RawLot.objects.usable(TODAY).filter(material=line.material).first()
    return (lot or released_lot(crew, line.material)).stock


def charge_all(
    crew: Crew,
    batch: Batch,
    sources: Mapping[str, Stock] | None = None,
    *,
    unusual: str = "",
) -> None:
    """Choose lots for every line and weigh what the plan says; oils come first.

    Nothing about that is unusual unless a reason is given. ``sources`` overrides the
    choice by kind: potash, oil, water or batch.
    """
    sources = sources or {}
    lines = batch.formula_version.lines.select_related("material", "source_formula")
    chosen: dict[int, Stock | None] = {}
    for line in lines:
        kind = line.material.kind if line.material else "batch"
        chosen[line.pk] = sources.get(kind) or stock_of(crew, line)
    planning.choose_lots(by=crew.maker, batch=batch, choices=chosen)
    for planned in planning.plan_of(batch).lines:
        source = chosen[planned.line.pk]
        assert source is not None
        assert planned.target_mg is not None
        charge(
            crew,
            batch,
            source,
            planned.target_mg,
            line=planned.line,
            unusual=unusual,
        )


def read_ph(crew: Crew, batch: Batch, value: str = "9.2", **changes: Any) -> None:
    """Record a pH by the method of the formula, with the meter."""
    facts = {
        "method": batch.formula_version.ph_method,
        "instrument": meter(crew.maker),
        **changes,
    }
    cooking.record_reading(
        by=crew.maker, batch=batch, characteristic="ph", value=Decimal(value), **facts
    )


def read_clarity(crew: Crew, batch: Batch, clarity: str = "clear") -> None:
    """Record how a portion looks in hot water."""
    cooking.record_reading(
        by=crew.maker, batch=batch, characteristic="clarity", clarity=clarity
    )


def weigh_bulk(crew: Crew, batch: Batch, *, share: str = "0.95", **changes: Any) -> int:
    """Weigh what came out: this share of what went in. Return milligrams."""
    net = int(yield_of(batch).theoretical_mg * Decimal(share))
    cooking.weigh_bulk(
        by=crew.maker,
        batch=batch,
        scale=scale(crew.maker),
        gross_mg=net + TARE_MG,
        tare_mg=TARE_MG,
        **changes,
    )
    return net


def complete(
    crew: Crew,
    batch: Batch,
    *,
    ph: str = "9.2",
    clarity: str = "clear",
    share: str = "0.95",
) -> Batch:
    """Take the readings, weigh the bulk and hand the batch over for review."""
    read_ph(crew, batch, ph)
    if batch.kind == Formula.Kind.COOK:
        read_clarity(crew, batch, clarity)
    weigh_bulk(crew, batch, share=share)
    return cooking.finish(by=crew.maker, batch=batch)


@once
def cooked_batch(
    crew: Crew,
    version: FormulaVersion | None = None,
    *,
    sources: Mapping[str, Stock] | None = None,
    ph: str = "9.2",
    clarity: str = "clear",
    share: str = "0.95",
    **changes: Any,
) -> Batch:
    """Return a batch that awaits review: charged, measured and weighed."""
    batch = open_batch(crew, version, **changes)
    charge_all(crew, batch, sources)
    return complete(crew, batch, ph=ph, clarity=clarity, share=share)


def sign(by: User, batch: Batch, meaning: str = "release", **changes: Any) -> Signature:
    """Sign a decision with the right password."""
    facts = {"password": PASSWORD, "reason": "looked at it all", **changes}
    return signing.sign(by=by, batch=batch, meaning=meaning, **facts)


def signed(by: User, batch: Batch, *meanings: str) -> Batch:
    """Sign one decision after the other; return the batch as it then stands."""
    for meaning in meanings:
        sign(by, batch, meaning)
    return fresh(batch)


def fresh(batch: Batch) -> Batch:
    """Return the batch as it stands in the database."""
    return Batch.objects.listed().get(pk=batch.pk)


@once
def released_paste(crew: Crew, **changes: Any) -> Batch:
    """Return a released batch of paste."""
    return signed(crew.reviewer, cooked_batch(crew, **changes), "release")


def failed_paste(crew: Crew, *meanings: str, **changes: Any) -> Batch:
    """Return a paste of pH 11 that was rejected, with further decisions if given."""
    batch = cooked_batch(crew, **{"ph": "11", **changes})
    return signed(crew.reviewer, batch, "reject", *meanings)


@once
def diluted_batch(
    crew: Crew,
    version: FormulaVersion | None = None,
    *,
    paste: Batch | None = None,
    basis_mg: int = 500_000,
    **changes: Any,
) -> Batch:
    """Return a dilution of a paste that awaits review."""
    return cooked_batch(
        crew,
        version or liquid_version(crew),
        sources={"batch": (paste or released_paste(crew)).stock},
        basis_mg=basis_mg,
        **{"share": "0.99", **changes},
    )


@once
def released_liquid(
    crew: Crew, version: FormulaVersion | None = None, **changes: Any
) -> Batch:
    """Return a released dilution."""
    return signed(crew.reviewer, diluted_batch(crew, version, **changes), "release")


@once
def filled(
    crew: Crew, batch: Batch | None = None, *, count: int = 2, **changes: Any
) -> FillingLot:
    """Return a filling lot of half-litre bottles."""
    return filling.fill(
        by=crew.maker,
        batch=batch or released_liquid(crew),
        count=count,
        **{
            "nominal_ul": 500_000,
            "density": Decimal("1.02"),
            "density_reason": "100 ml weighed twice",
            **changes,
        },
    )


def bottles_of(lot: FillingLot) -> list[Bottle]:
    """Return the bottles of a filling lot, as a page would load them."""
    return list(lot.bottles.listed().order_by("number"))
