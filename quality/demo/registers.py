"""The registers of the smallholding: suppliers, materials, instruments, consignees."""

from __future__ import annotations

import datetime
from decimal import Decimal

from producer.models import Consignee, Instrument, Material, Supplier, Vessel
from producer.services import registers
from quality.demo.people import HELPER, OWNER
from quality.demo.scene import Scene

JUG, PAN, BEAKER, POT = 412_000, 238_000, 64_300, 2_940_000  # milligrams, empty
CODEX = "Codex Alimentarius CXS 210-1999, as amended; read at second hand"


def _suppliers() -> dict[str, Supplier]:
    return {
        "laboratory": Supplier(
            name="Fennimore Laboratory Sundries",
            address="4 Kelter Yard, Owlswick",
            phone="01632 960231",
            email="orders@fennimore.example",
        ),
        "press": Supplier(
            name="Brackenwell Oil Press",
            address="Brackenwell Farm, Upper Hollinmere",
            phone="01632 960245",
        ),
        "wholefoods": Supplier(
            name="Tidewater Wholefoods",
            address="Unit 7, The Maltings, Owlswick",
            email="trade@tidewater.example",
        ),
        "still": Supplier(
            name="Clearbrook Still House",
            address="Mill Lane, Nether Hollinmere",
            phone="01632 960260",
        ),
    }


def _materials() -> dict[str, Material]:
    return {
        "potash": Material(
            name="Potash flakes (potassium hydroxide)", kind=Material.Kind.POTASH
        ),
        "sunflower": Material(
            name="Sunflower oil, refined",
            kind=Material.Kind.OIL,
            saponification_low=Decimal(187),
            saponification_high=Decimal(194),
            saponification_source="Codex Alimentarius CXS 210-1999, as amended in 2022",
        ),
        "coconut": Material(
            name="Coconut oil, deodorised",
            kind=Material.Kind.OIL,
            saponification_low=Decimal(248),
            saponification_high=Decimal(265),
            saponification_source=CODEX,
        ),
        "rapeseed": Material(
            name="Rapeseed oil, low erucic acid",
            kind=Material.Kind.OIL,
            saponification_low=Decimal(182),
            saponification_high=Decimal(193),
            saponification_source=CODEX,
        ),
        "water": Material(name="Distilled water", kind=Material.Kind.WATER),
        "citric": Material(
            name="Citric acid monohydrate",
            kind=Material.Kind.ADDITION,
            acid=Material.Acid.CITRIC_MONOHYDRATE,
        ),
    }


def _consignees() -> dict[str, Consignee]:
    return {
        "larder": Consignee(
            kind=Consignee.Kind.RESELLER,
            name="The Hollinmere Larder",
            address="2 Market Square, Nether Hollinmere",
            phone="01632 960301",
            email="counter@hollinmere-larder.example",
        ),
        "refill": Consignee(
            kind=Consignee.Kind.RESELLER,
            name="Owlswick Refill Room",
            address="19 Corn Street, Owlswick",
            email="hello@owlswick-refill.example",
        ),
        "neighbour": Consignee(
            kind=Consignee.Kind.PRIVATE,
            name="Mrs Dunnock, Quillbeck Lane",
            phone="01632 960377",
        ),
        "school": Consignee(
            kind=Consignee.Kind.PRIVATE, name="Visitor at the spring open day"
        ),
        "garden": Consignee(
            kind=Consignee.Kind.OWN_USE, name="Own glasshouse and garden"
        ),
    }


def _vessels() -> dict[str, Vessel]:
    steel = "stainless steel"
    return {
        "pot": Vessel(name="Pot, 20 l", made_of=steel, tare_mg=POT),
        "jug": Vessel(name="Jug, 3 l", made_of=steel, tare_mg=JUG),
        "pan": Vessel(name="Pan, 1 l", made_of="enamel", tare_mg=PAN),
        "beaker": Vessel(name="Beaker, 250 ml", made_of="PP", tare_mg=BEAKER),
    }


def fill_registers(scene: Scene) -> None:
    """Register everything that lots, batches and dispatches will name."""
    owner, helper = scene.users[OWNER], scene.users[HELPER]
    for name, supplier in _suppliers().items():
        scene.suppliers[name] = registers.save(by=owner, entry=supplier)
    for name, material in _materials().items():
        scene.materials[name] = registers.save(by=owner, entry=material)
    for name, consignee in _consignees().items():
        scene.consignees[name] = registers.save(by=helper, entry=consignee)
    for name, vessel in _vessels().items():
        scene.vessels[name] = registers.save(by=owner, entry=vessel)
    for name, instrument in _instruments(scene).items():
        scene.instruments[name] = registers.save(by=owner, entry=instrument)


def open_new_strips(scene: Scene) -> None:
    """Register the lot of strips that replaced the expired one, and retire that."""
    owner = scene.users[OWNER]
    scene.instruments["new strips"] = registers.save(
        by=owner, entry=_strips("S-3108", scene.clock.day(-400))
    )
    old = scene.instruments["old strips"]
    old.in_use = False
    registers.save(by=owner, entry=old)


def _instruments(scene: Scene) -> dict[str, Instrument]:
    return {
        "bench scale": Instrument(
            kind=Instrument.Kind.SCALE,
            name="Bench scale, 15 kg",
            serial_or_lot="BS-0417",
            resolution=Decimal(1),
            bias_half_width=Decimal(1),
            capacity=Decimal(15_000),
            check_every_days=60,
        ),
        "small scale": Instrument(
            kind=Instrument.Kind.SCALE,
            name="Small scale, 2 kg",
            serial_or_lot="SS-1183",
            resolution=Decimal("0.1"),
            bias_half_width=Decimal("0.1"),
            capacity=Decimal(2_000),
        ),
        "fine scale": Instrument(
            kind=Instrument.Kind.SCALE,
            name="Fine scale, 50 g",
            serial_or_lot="FS-0092",
            resolution=Decimal("0.001"),
            bias_half_width=Decimal("0.002"),
            capacity=Decimal(50),
        ),
        # Class M1 of OIML R 111: 250 mg at 5 kg (from memory).
        "check weight": Instrument(
            kind=Instrument.Kind.CHECK_WEIGHT,
            name="Check weight of 5 kg, class M1",
            serial_or_lot="CW-5",
            nominal=Decimal(5000),
            bias_half_width=Decimal("0.25"),
        ),
        # The same class: 25 mg at 500 g (from memory).
        "small weight": Instrument(
            kind=Instrument.Kind.CHECK_WEIGHT,
            name="Check weight of 500 g, class M1",
            serial_or_lot="CW-500",
            nominal=Decimal(500),
            bias_half_width=Decimal("0.025"),
        ),
        "buffer 7": _buffer(scene, "7.00", "BF-7031"),
        "buffer 10": _buffer(scene, "10.01", "BF-1009"),
        "indicator": Instrument(
            kind=Instrument.Kind.INDICATOR,
            name="Phenolphthalein, 1 % in alcohol, lot PH-118",
            serial_or_lot="PH-118",
            opened_on=scene.clock.day(178),
            days_after_opening=365,
            expires_on=scene.clock.day(-500),
        ),
        "thermometer": Instrument(
            kind=Instrument.Kind.THERMOMETER,
            name="Probe thermometer",
            serial_or_lot="T-22",
            resolution=Decimal("0.1"),
            bias_half_width=Decimal("0.5"),
        ),
        "meter": Instrument(
            kind=Instrument.Kind.PH_METER,
            name="Pocket pH meter",
            serial_or_lot="P-5096",
            resolution=Decimal("0.01"),
            bias_half_width=Decimal("0.05"),
            check_every_days=90,
        ),
        "old strips": _strips("S-2740", scene.clock.day(40)),
    }


def _buffer(scene: Scene, nominal: str, lot: str) -> Instrument:
    return Instrument(
        kind=Instrument.Kind.BUFFER,
        name=f"Buffer {nominal}, lot {lot}",
        serial_or_lot=lot,
        nominal=Decimal(nominal),
        bias_half_width=Decimal("0.02"),
        opened_on=scene.clock.day(178),
        days_after_opening=365,
        expires_on=scene.clock.day(-300),
    )


def _strips(lot: str, expires_on: datetime.date) -> Instrument:
    return Instrument(
        kind=Instrument.Kind.PH_STRIPS,
        name=f"pH strips 8.0 to 12.0, lot {lot}",
        serial_or_lot=lot,
        resolution=Decimal("0.5"),
        bias_half_width=Decimal("0.3"),
        expires_on=expires_on,
    )
