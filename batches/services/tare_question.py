"""More came out than went in: a question of tare or unit, never a good batch.

No pot makes mass, so one of the weighings is wrong, and mostly it is the tare of the
last one. The vessel is weighed empty again; what that says stands beside the yield.
"""

from __future__ import annotations

from batches.lifecycle import CLOSED_TO_CHARGES
from batches.services.entries import Entries, standing
from batches.services.results import yield_of
from producer.models import TareWeighing
from producer.quantities import format_mass


def is_impossible(entries: Entries) -> bool:
    """Say whether more came out than went in, by the scale's figures alone."""
    variance = yield_of(entries.batch, entries).variance_percent
    return variance is not None and variance > 0


def tare_question(entries: Entries) -> str:
    """Return what to weigh again, and what was found if it was; for such a yield."""
    weighing = entries.weighing
    if weighing is None:
        return ""
    tare = format_mass(weighing.tare_mg)
    name = weighing.vessel.name if weighing.vessel else "the vessel"
    again = _weighed_since(entries)
    if again is not None:
        return (
            f"Its tare was taken as {tare}. The vessel was weighed empty again:"
            f" {format_mass(again.mass_mg)}. {again.sentence}"
        )
    where = (
        ""
        if entries.batch.status in CLOSED_TO_CHARGES
        else " under “Hold points, vessel and tare”"
    )
    return (
        f"Its tare was taken as {tare}: weigh {name} empty again{where}, then correct"
        " the tare, the gross or the charge that is wrong."
    )


def _weighed_since(entries: Entries) -> TareWeighing | None:
    """Return the last weighing of an empty vessel since the yield was weighed."""
    weighing = entries.weighing
    looked = [
        row.tare
        for row in standing(entries.hold_points)
        if row.tare is not None
        and weighing is not None
        and row.entered_at > weighing.entered_at
    ]
    return looked[-1] if looked else None
