"""What is at hand at the pot: vessel, scale and instrument to begin a form with."""

from __future__ import annotations

from functools import cached_property
from typing import Any

from batches.forms.making import ReadingForm, scales
from batches.forms.typed import typed
from batches.models import Batch, BulkWeighing, Charge, HoldPoint, Reading
from batches.services.at_the_pot import Pot
from producer.models import Instrument, Vessel
from producer.quantities import milligrams
from producer.templatetags.kettlebook import mass


class AtHand:
    """What was used last in a batch, as far as it serves again."""

    def __init__(self, found: Pot) -> None:
        self._found = found
        self._batch: Batch = found.batch

    @cached_property
    def vessel(self) -> Vessel | None:
        """The vessel that was last weighed in this batch, empty or with a charge."""
        weighed = [row for row in self._weighings if row.vessel_id is not None]
        if weighed:
            last = max(weighed, key=lambda row: row.entered_at).vessel
            return last if last and last.in_use else None
        point = self._tare_point
        return point.tare.vessel if point and point.tare else None

    @cached_property
    def last_gross_mg(self) -> int | None:
        """What the scale last showed with that vessel and a charge still in it.

        To go on pouring into the same vessel, that is the next tare.
        """
        charges = self._found.entries.standing_charges
        last = max(charges, key=lambda row: (row.entered_at, row.pk), default=None)
        if last is None or last.by_difference or self.vessel is None:
            return None
        if not last.tare_mg:
            return None  # the scale was tared, and shows something else now
        return last.gross_mg if last.vessel_id == self.vessel.pk else None

    def in_vessel(self) -> dict[str, Any]:
        """Return the vessel and its tare to begin with, as they would be typed."""
        if self.vessel is None:
            return {}
        return {"vessel": self.vessel.pk, "tare_mg": typed(self.vessel.tare_mg)}

    def scale_for(self, net_mg: int | None) -> Instrument | None:
        """Return the scale used last in this batch if it carries this, else another.

        Where none carries it, the one that carries most.
        """
        used = [row.scale_id for row in self._weighings]
        point = self._tare_point
        last = used[-1] if used else point and point.scale_id
        load_mg = self._load_mg(net_mg)
        carry = [one for one in self._scales if _carries(one, load_mg)]
        known = [one for one in carry if one.pk == last]
        largest = sorted(self._scales, key=_capacity_mg, reverse=True)
        return next(iter([*known, *carry, *largest]), None)

    def too_heavy(self, net_mg: int | None) -> str:
        """Say that no scale in use carries this, vessel and load together, or nothing.

        Without the vessel nothing is known of the load but what goes in.
        """
        scale, load_mg = self.scale_for(net_mg), self._load_mg(net_mg)
        if not net_mg or scale is None or _carries(scale, load_mg):
            return ""
        with_vessel = f" with the {self.vessel.name}" if self.vessel else ""
        return (
            f"No scale in use carries {mass(load_mg)}{with_vessel}: {scale.name}"
            f" carries {mass(_capacity_mg(scale))} at most. Weigh it in parts, or in a"
            " lighter vessel."
        )

    def instrument_for(self, characteristic: str) -> Instrument | None:
        """Return what it was read from last in this batch, else any day, if in use."""
        rows = Reading.objects.filter(
            characteristic=characteristic, instrument__in_use=True
        ).select_related("instrument")
        own = rows.filter(batch=self._batch).order_by("-pk").first()
        row = own or rows.order_by("-pk").first()
        if row is not None:
            return row.instrument
        kinds = ReadingForm.INSTRUMENTS[characteristic]
        return Instrument.objects.filter(kind__in=kinds, in_use=True).first()

    @cached_property
    def _scales(self) -> list[Instrument]:
        return list(scales())

    @cached_property
    def _weighings(self) -> list[Charge | BulkWeighing]:
        return [*self._found.entries.charges, *self._found.entries.weighings]

    @cached_property
    def _tare_point(self) -> HoldPoint | None:
        return self._found.points.get(HoldPoint.Point.TARE)

    def _load_mg(self, net_mg: int | None) -> int:
        return (net_mg or 0) + (self.vessel.tare_mg if self.vessel else 0)


def _carries(scale: Instrument, load_mg: int) -> bool:
    return scale.capacity is None or milligrams(scale.capacity) >= load_mg


def _capacity_mg(scale: Instrument) -> int:
    return milligrams(scale.capacity) if scale.capacity is not None else 0
