"""What a batch was weighed and read with, and the checks around that."""

from __future__ import annotations

import dataclasses
import datetime
from collections.abc import Iterable, Sequence

from producer.models import Instrument
from quality.models import InstrumentCheck
from quality.services.impact import Doubt
from quality.services.impact.tools import Tool
from quality.services.tolerances import UNITS


@dataclasses.dataclass(frozen=True, kw_only=True)
class Used:
    """An instrument in a batch: from when to when, how often, and its checks.

    ``before`` is the last check before it was first used, ``after`` the first one after
    it was last used; None where there is none. Strips are never checked.
    ``was_expired`` says that its date had passed on the day it was last used, and
    ``doubts`` are the times of doubt in which it was used here.
    """

    instrument: Instrument
    times: int
    first_at: datetime.datetime
    last_at: datetime.datetime
    before: InstrumentCheck | None
    after: InstrumentCheck | None
    was_expired: bool
    doubts: Sequence[Doubt]

    @property
    def unit(self) -> str:
        """The unit of its step and its ±."""
        return UNITS[self.instrument.kind]

    @property
    def is_never_checked(self) -> bool:
        """Say whether nothing is held against it: strips are used up by reading."""
        return self.instrument.kind == Instrument.Kind.PH_STRIPS

    @property
    def doubt(self) -> str:
        """What a reviewer must weigh about it, as a sentence; or nothing."""
        name = self.instrument.name
        if self.was_expired:
            return f"{name} was past its date when it was used."
        if self.before is not None and not self.before.passed:
            return f"{name} had failed its last check before it was used."
        if self.after is not None and not self.after.passed:
            return (
                f"{name} failed the first check after it was used: what was measured"
                " with it is in doubt."
            )
        if self.doubts:
            return f"{name} failed a check around the time when it was used."
        return ""


def instruments_of(tools: Iterable[Tool], zone: datetime.tzinfo) -> list[Used]:
    """Return the instruments of a batch by first use; ``zone`` is of the premises."""
    return sorted((_used(one, zone) for one in tools), key=lambda one: one.first_at)


def _used(tool: Tool, zone: datetime.tzinfo) -> Used:
    times = [row.observed_at for row in tool.rows]
    first_at, last_at = min(times), max(times)
    earlier = [one for one in tool.checks if one.observed_at <= first_at]
    later = [one for one in tool.checks if one.observed_at > last_at]
    return Used(
        instrument=tool.instrument,
        times=len(times),
        first_at=first_at,
        last_at=last_at,
        before=earlier[-1] if earlier else None,
        after=later[0] if later else None,
        was_expired=tool.instrument.is_expired(last_at.astimezone(zone).date()),
        doubts=tool.doubts,
    )
