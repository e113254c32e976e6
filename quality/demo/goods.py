"""Goods in: the deliveries, their papers, and what was decided about them."""

from __future__ import annotations

import dataclasses
import datetime
from decimal import Decimal

from producer.models import Certificate, RawLot
from producer.services import intake, stock
from quality.demo import money, papers
from quality.demo.people import HELPER, OWNER, REVIEWER
from quality.demo.scene import Scene
from quality.services import goods as deciding
from quality.services import revising

KILOGRAM = 1_000_000  # milligrams
Values = intake.CertificateValues


@dataclasses.dataclass(frozen=True, kw_only=True)
class Delivery:
    """One delivery; the days of expiry and retest are counted ahead from today."""

    material: str
    supplier: str
    supplier_lot: str
    kilograms: str
    expires_in: int | None = None
    retest_in: int | None = None
    place: str
    maker: str = OWNER


def receive(scene: Scene, name: str, days_ago: int, goods: Delivery) -> RawLot:
    """Book a delivery in on the day and at the time the clock shows."""
    clock = scene.clock
    lot = intake.receive_lot(
        by=scene.users[goods.maker],
        material=scene.materials[goods.material],
        supplier=scene.suppliers[goods.supplier],
        supplier_lot=goods.supplier_lot,
        quantity_mg=int(Decimal(goods.kilograms) * KILOGRAM),
        received_on=clock.day(days_ago),
        expires_on=_day(scene, goods.expires_in),
        retest_on=_day(scene, goods.retest_in),
        place=goods.place,
        paid_hundredths=money.PAID.get(name),
    )
    scene.lots[name] = lot
    clock.wait(6)
    return lot


def add_certificate(
    scene: Scene,
    name: str,
    values: Values,
    *,
    maker: str = OWNER,
    reason: str = "",
    as_picture: bool = False,
) -> Certificate:
    """Record a version of a lot's certificate, with a paper drawn for it."""
    lot = scene.lot(name)
    upload = papers.certificate(
        name=f"certificate {values.reference or lot.supplier_lot}".replace("/", "-"),
        supplier=lot.supplier.name,
        lines=[
            f"Product: {lot.material.name}",
            f"Lot: {lot.supplier_lot}",
            *_lines(values),
        ],
        as_picture=as_picture,
    )
    certificate = revising.record_certificate(
        by=scene.users[maker], lot=lot, values=values, upload=upload, reason=reason
    )
    scene.clock.wait(4)
    return certificate


def decide(scene: Scene, name: str, new: RawLot.Status, reason: str) -> None:
    """Let the reviewer release, hold or reject a lot."""
    deciding.decide_lot(
        by=scene.users[REVIEWER], lot=scene.lot(name), new=new, reason=reason
    )
    scene.clock.wait(3)


def release(scene: Scene, *names: str) -> None:
    """Let the reviewer release lots whose papers and cans agree."""
    for name in names:
        with_paper = scene.lot(name).certificates.exists()
        decide(
            scene,
            name,
            RawLot.Status.RELEASED,
            "Seal whole; label, delivery note and certificate name the same lot."
            if with_paper
            else "Seal whole; label and delivery note name the same lot. It came"
            " without a certificate.",
        )


def count(scene: Scene, name: str, kilograms: str, reason: str) -> None:
    """Set the book to what was counted on the shelf."""
    stock.adjust(
        by=scene.users[HELPER],
        lot=scene.lot(name),
        counted_mg=int(Decimal(kilograms) * KILOGRAM),
        reason=reason,
    )


def throw_away_rest(scene: Scene, name: str, reason: str) -> None:
    """Dispose of what is left of a lot."""
    lot = scene.lot(name)
    stock.dispose(
        by=scene.users[OWNER],
        lot=lot,
        amount_mg=lot.stock.on_hand_mg,
        reason=reason,
    )


def _day(scene: Scene, days_ahead: int | None) -> datetime.date | None:
    return None if days_ahead is None else scene.clock.day(-days_ahead)


def _lines(values: Values) -> list[str]:
    lines = [f"Certificate number: {values.reference}"]
    if values.issued_on:
        lines.append(f"Date: {values.issued_on:%d %b %Y}")
    if values.assay_percent is not None:
        least = "min. " if values.assay_is_minimum else ""
        basis = Certificate.Basis(values.assay_basis).label
        lines.append(f"Assay ({basis}): {least}{values.assay_percent} %")
    if values.carbonate_percent is not None:
        lines.append(f"Carbonate as K2CO3: {values.carbonate_percent} %")
    if values.saponification_value is not None:
        lines.append(f"Saponification value: {values.saponification_value} mg KOH/g")
    return lines
