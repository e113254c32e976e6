"""What the parts of the story share: the clock, the dice, and who and what there is."""

from __future__ import annotations

import dataclasses
import random

from batches.models import Batch, FillingLot, FormulaVersion
from producer.models import (
    Consignee,
    Instrument,
    Material,
    RawLot,
    Supplier,
    User,
    Vessel,
)
from quality.demo.clock import Clock

# One seed, so that every demo weighs the same grams. Passwords and bottle codes are
# not taken from it: those must be new and not to be guessed.
SEED = 2026


@dataclasses.dataclass(kw_only=True)
class Scene:
    """Everything by short names of our own, filled as the story goes on."""

    clock: Clock
    # S311: the dice are for grams and degrees, not for secrets
    dice: random.Random = dataclasses.field(
        default_factory=lambda: random.Random(SEED)  # noqa: S311
    )
    users: dict[str, User] = dataclasses.field(default_factory=dict)
    passwords: dict[str, str] = dataclasses.field(default_factory=dict)
    suppliers: dict[str, Supplier] = dataclasses.field(default_factory=dict)
    consignees: dict[str, Consignee] = dataclasses.field(default_factory=dict)
    materials: dict[str, Material] = dataclasses.field(default_factory=dict)
    instruments: dict[str, Instrument] = dataclasses.field(default_factory=dict)
    vessels: dict[str, Vessel] = dataclasses.field(default_factory=dict)
    formulas: dict[str, FormulaVersion] = dataclasses.field(default_factory=dict)
    lots: dict[str, RawLot] = dataclasses.field(default_factory=dict)
    batches: dict[str, Batch] = dataclasses.field(default_factory=dict)
    fillings: dict[str, FillingLot] = dataclasses.field(default_factory=dict)

    def lot(self, name: str) -> RawLot:
        """Return a raw lot as it stands in the database now."""
        return RawLot.objects.listed().get(pk=self.lots[name].pk)

    def batch(self, name: str) -> Batch:
        """Return a batch as it stands in the database now."""
        return Batch.objects.listed().get(pk=self.batches[name].pk)
