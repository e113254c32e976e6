"""What stands on a certificate of analysis, and whether it can be of a material."""

from __future__ import annotations

import dataclasses
import datetime
from decimal import Decimal

from producer.errors import Refusal
from producer.models import Certificate, Material

LEAST_ASSAY = Decimal(40)  # percent; common practice, no source
# Grams of KOH that an assay by acid counts for each gram of K2CO3, by their molar
# masses in g/mol: IUPAC CIAAW, standard atomic weights, 2021.
KOH_PER_K2CO3 = 2 * Decimal("56.1053") / Decimal("138.2046")


@dataclasses.dataclass(frozen=True, kw_only=True)
class CertificateValues:
    """What stands on a certificate of analysis; every value may be missing."""

    reference: str = ""
    issued_on: datetime.date | None = None
    assay_percent: Decimal | None = None
    assay_basis: str = ""
    assay_is_minimum: bool = False
    assay_half_width: Decimal | None = None
    carbonate_percent: Decimal | None = None
    saponification_value: Decimal | None = None
    saponification_half_width: Decimal | None = None


def fit_material(material: Material, values: CertificateValues) -> None:
    """Raise :class:`Refusal` where the values cannot be those of this material."""
    if material.kind == Material.Kind.POTASH and values.assay_percent is None:
        raise Refusal(
            "A potash certificate states an assay. Without it no alkali charge can be"
            " computed.",
            field="assay_percent",
        )
    if values.assay_percent is not None and values.assay_percent < LEAST_ASSAY:
        raise Refusal(
            f"An assay of {values.assay_percent:f} % is no potash for soap: liquid"
            " potash has 45 to 50 %, flakes 85 to 92 %. Read the certificate again.",
            field="assay_percent",
        )
    for value, half_width, field in (
        (values.assay_percent, values.assay_half_width, "assay_half_width"),
        (
            values.saponification_value,
            values.saponification_half_width,
            "saponification_half_width",
        ),
    ):
        if value is None and half_width is not None:
            raise Refusal("A ± needs the value that it belongs to.", field=field)
        if half_width is not None and half_width <= 0:
            raise Refusal(
                "A ± is above 0; leave it empty when none is stated.", field=field
            )
    if material.kind == Material.Kind.POTASH:
        _can_be_potash(values)
    if material.kind != Material.Kind.OIL and values.saponification_value is not None:
        raise Refusal(
            "Only oils and fats have a saponification value.",
            field="saponification_value",
        )


def _can_be_potash(values: CertificateValues) -> None:
    """Refuse an assay and a carbonate content that cannot stand beside each other.

    As the computation would refuse them once the lot is on the scale, only earlier.
    """
    if values.assay_percent is None or values.carbonate_percent is None:
        return
    carbonate = values.carbonate_percent
    usable = values.assay_percent
    if values.assay_basis == Certificate.Basis.TOTAL_ALKALI:
        usable -= carbonate * KOH_PER_K2CO3
    if usable <= 0:
        raise Refusal(
            f"With {carbonate:f} % of carbonate this potash has no hydroxide left and"
            " makes no soap. Read the certificate again.",
            field="carbonate_percent",
        )
    if usable + carbonate > 100:  # noqa: PLR2004 - percent
        raise Refusal(
            f"Hydroxide of {usable:.1f} % and carbonate of {carbonate:f} % together are"
            " more than 100 %. Read the certificate again, above all what its assay"
            " counts.",
            field="carbonate_percent",
        )
