"""What cannot be, or hardly can: a mass far from its target, a reading off any scale.

Each of these is mostly a slip of unit, vessel, tare or decimal mark. The bounds are
ours, common practice without a source.
"""

from __future__ import annotations

from decimal import Decimal

from batches.chemistry.constants import PERCENT
from batches.chemistry.correction import MOST_OF_POT
from batches.models import Batch, Charge, Reading
from batches.services import hold_points, planning
from batches.services.results import yield_of
from producer.errors import Refusal
from producer.models import Instrument, Material
from producer.quantities import (
    format_computed_mass,
    format_mass,
    format_number,
    milligrams,
)

# A slip of unit is a factor of a thousand, a forgotten tare a few hundred grams; a
# charge in a few portions stays inside.
LEAST_OF_TARGET = Decimal("0.1")
MOST_OF_TARGET = Decimal("1.1")
# Potash is computed to the gram from what is in the pot, and a few percent more of it
# is caustic soap: asked about much earlier. All portions together.
MOST_OF_POTASH = Decimal("1.02")

# What comes out is what went in, less the steam. A few percent more is a weighing
# error and is judged as one; beyond this it is a forgotten tare or another unit.
MOST_OF_YIELD = Decimal("1.2")

BOUNDS = {
    # °C: below, the pot is frozen; above, no soap in an open pot gets so hot.
    Reading.Characteristic.TEMPERATURE: (Decimal(-20), Decimal(150)),
    Reading.Characteristic.PH: (Decimal(1), Decimal(14)),
}
SLIPS = {
    Reading.Characteristic.TEMPERATURE: (
        "A temperature of {value} °C is outside −20 to 150 °C, where no pot of soap"
        " is. Check the decimal mark, the probe, and that it shows °C, not °F."
    ),
    Reading.Characteristic.PH: (
        "A pH of {value} is outside 1 to 14, where no soap solution lies. Check the"
        " decimal mark, and that pH was read and not temperature or millivolts."
    ),
}


def target_words(mg: int) -> str:
    """Return a mass that is aimed at, from a gram on to a tenth of a gram.

    For what was computed, never for what was weighed: that is shown exactly.

    >>> target_words(466_058), target_words(350)
    ('466.1 g', '350 mg')
    """
    return format_computed_mass(mg)


def check_load(scale: Instrument, gross_mg: int) -> None:
    """Refuse a gross mass above the largest load of a scale, where that is known."""
    if scale.capacity is None or gross_mg <= milligrams(scale.capacity):
        return
    raise Refusal(
        f"The {scale.name} carries up to {format_mass(milligrams(scale.capacity))},"
        f" vessel and load together, so it cannot have shown {format_mass(gross_mg)}."
        " Check the unit and which scale it was.",
        field="gross_mg",
    )


def check_in_use(instrument: Instrument, *, field: str) -> None:
    """Refuse what is out of use now: it failed a check, or was taken out by hand.

    Read anew, because a check may just have taken it out.
    """
    if not Instrument.objects.filter(pk=instrument.pk, in_use=True).exists():
        raise Refusal(
            f"{instrument.name} is out of use. Take another one; or check it first,"
            " and it is in use again once it passes.",
            field=field,
        )


def check_tare(row: Charge) -> None:
    """Refuse a tare that is not that of the vessel named, as its register has it.

    Beyond U of two readings of that scale; a scale that was tared shows 0. Nor the
    gross of the last charge in this batch, if that was weighed in the same vessel: then
    it was poured on top.
    """
    if row.vessel is None or row.by_difference or not row.tare_mg:
        return
    doubt = hold_points.expanded_uncertainty_mg(row.scale)
    if abs(row.tare_mg - row.vessel.tare_mg) > doubt:
        last = Charge.objects.current().filter(batch=row.batch).order_by("-pk").first()
        if (
            last is not None
            and last.vessel_id == row.vessel.pk
            and not last.by_difference
            and abs(row.tare_mg - last.gross_mg) <= doubt
        ):
            return
        raise Refusal(
            f"{row.vessel} is written down as {format_mass(row.vessel.tare_mg)} empty,"
            f" not {format_mass(row.tare_mg)}. Check which vessel stood on the scale."
            " If the tare is right, say why below, and correct the register.",
            field="tare_mg",
        )


def check_target(batch: Batch, row: Charge) -> None:
    """Refuse a mass that is far from what is still to be weighed for its line."""
    planned = {one.line.pk: one for one in planning.plan_of(batch).lines}
    target = planned.get(row.line_id or 0)
    if target is None or not target.target_mg:
        return
    is_potash = target.kind == Material.Kind.POTASH
    most = MOST_OF_POTASH if is_potash else MOST_OF_TARGET
    open_mg = max(target.target_mg - target.charged_mg, 0)
    too_much = target.charged_mg + row.net_mg > target.target_mg * most
    too_little = row.net_mg < open_mg * LEAST_OF_TARGET
    if too_much or too_little:
        raise Refusal(
            f"{format_mass(row.net_mg)} is far from the {target_words(open_mg)} of"
            f" {target.name} still to be weighed. Check the unit, the vessel and the"
            " tare. If it is right, say why below.",
            field="unusual",
        )


def check_correction(batch: Batch, net_mg: int, *, instead_of_mg: int = 0) -> None:
    """Refuse a correction of more than a twentieth of what else is in the pot.

    ``instead_of_mg`` is what the pot already counts of it, when it is amended.
    """
    in_pot = yield_of(batch).theoretical_mg - instead_of_mg
    if net_mg > in_pot * MOST_OF_POT:
        raise Refusal(
            f"{format_mass(net_mg)} is more than {MOST_OF_POT * PERCENT:.0f} % of"
            f" the {target_words(in_pot)} in the pot, so it is no correction. Check the"
            " unit, the vessel and the tare. What the formula asks for is weighed on"
            " its own line.",
            field="gross_mg",
        )


def check_yield(batch: Batch, net_mg: int) -> None:
    """Refuse what came out if it is far more than what went in."""
    went_in = yield_of(batch).theoretical_mg
    if net_mg > went_in * MOST_OF_YIELD:
        raise Refusal(
            f"{format_mass(net_mg)} cannot have come out of {target_words(went_in)}"
            " that went in. Check the unit and the tare: the pot or containers that"
            " stood on the scale. If a charge is wrong, correct that first.",
            field="gross_mg",
        )


def check_reading(row: Reading) -> None:
    """Refuse a temperature or pH that no pot of soap and no solution of it has."""
    characteristic = Reading.Characteristic(row.characteristic)
    if row.value is None or characteristic not in BOUNDS:
        return
    low, high = BOUNDS[characteristic]
    if not low <= row.value <= high:
        raise Refusal(
            SLIPS[characteristic].format(value=format_number(row.value)), field="value"
        )
