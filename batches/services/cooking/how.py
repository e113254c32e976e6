"""How a mass was weighed, beyond the figures themselves."""

from __future__ import annotations

import dataclasses

from batches.models import Portion, Transcription, WeighingStart
from producer.models import Container, Vessel


@dataclasses.dataclass(frozen=True, kw_only=True)
class How:
    """In which vessel, from which container or portion, begun when, from which paper.

    ``by_difference``: gross is the container before, tare the same one after.
    ``passed_over`` is why a lot that expires earlier was left.
    """

    by_difference: bool = False
    container: Container | None = None
    portion: Portion | None = None
    vessel: Vessel | None = None
    start: WeighingStart | None = None
    passed_over: str = ""
    transcription: Transcription | None = None


PLAIN = How()
