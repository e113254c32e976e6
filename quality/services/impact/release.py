"""What the instruments of a batch mean for its release: obstacles, notes, and a record.

A failed check says nothing of one batch by itself; it does where a result that counts
was taken between the good checks around it. Until a deviation about the instrument is
closed after the check, nobody has decided what that means.
"""

from __future__ import annotations

import dataclasses
import datetime
from collections.abc import Iterator, Sequence
from typing import Any

from producer.quantities import format_number
from quality.services.deviations import Standing
from quality.services.impact.carried import Judged, carried
from quality.services.impact.plain import Doubt
from quality.services.impact.tools import Tool
from quality.services.judgement import zone_here
from quality.services.tolerances import UNITS

WHAT_TO_DO = (
    "Measure again with an instrument that is good, or open a deviation about this one,"
    " find out what its error means for the batch, and close it."
)


@dataclasses.dataclass(frozen=True, kw_only=True)
class InDoubt:
    """A time of doubt that touches a batch, what was decided, and what it can do.

    ``decided`` is the deviation about the instrument that was closed after the failed
    checks; ``crossing`` says in words what can lie outside its limit.
    """

    doubt: Doubt
    results: int
    decided: Standing | None
    crossing: list[str]
    sentence: str

    @property
    def stops(self) -> bool:
        """Say whether it stands in the way of a release."""
        return self.decided is None and bool(self.crossing)


@dataclasses.dataclass(frozen=True, kw_only=True)
class AboutTools:
    """What is to be said of the instruments of a batch.

    ``open_about`` are the open deviations that concern what was measured, ``unsure``
    the sentences about instruments that were never checked or are worse than their ±.
    """

    tools: Sequence[Tool]
    in_doubt: list[InDoubt]
    open_about: list[Standing]
    unsure: list[str]

    @property
    def obstacles(self) -> list[str]:
        """The sentences that stand in the way of a release."""
        return [one.sentence for one in self.in_doubt if one.stops]

    @property
    def notes(self) -> list[str]:
        """What a reviewer should weigh besides."""
        return [
            *(one.sentence for one in self.in_doubt if not one.stops),
            *(
                f"Deviation {one.code} of {one.name} is open, and it was used in this"
                " batch: weigh what that means for its results."
                for one in self.open_about
            ),
            *self.unsure,
        ]

    def signed(self) -> dict[str, Any]:
        """Return what a signature keeps of it; no key where there is nothing."""
        parts: dict[str, list[Any]] = {
            "instruments_in_doubt": [
                {
                    "instrument": one.doubt.instrument.pk,
                    "name": one.doubt.instrument.name,
                    "checks": [check.pk for check in one.doubt.failed],
                    "decided_by": one.decided.code if one.decided else None,
                    "can_cross": one.crossing,
                }
                for one in self.in_doubt
            ],
            "open_deviations_of_instruments": [one.code for one in self.open_about],
        }
        return {name: value for name, value in parts.items() if value}


def about_tools(
    tools: Sequence[Tool], deviations: Sequence[Standing], judged: Judged
) -> AboutTools:
    """Return what is to be said; ``deviations`` are those about these instruments."""
    zone = zone_here()
    return AboutTools(
        tools=tools,
        in_doubt=[
            _in_doubt(doubt, tool, deviations, judged, zone)
            for tool in tools
            for doubt in tool.doubts
        ],
        open_about=[
            one
            for one in deviations
            if one.is_open
            for tool in tools
            if tool.instrument.pk == one.deviation.instrument_id
            and _concerns(one, tool, deviations)
        ],
        unsure=[*_unchecked(tools), *_beyond(tools, zone)],
    )


def _in_doubt(
    doubt: Doubt,
    tool: Tool,
    deviations: Sequence[Standing],
    judged: Judged,
    zone: datetime.tzinfo,
) -> InDoubt:
    decided = _decided(doubt, deviations)
    results = sum(doubt.covers(row) for row in tool.rows)
    crossing = list(carried(doubt, tool, judged))
    said = (
        f"{doubt.instrument.name} failed its check of {_when(doubt, zone)},"
        f" {_off(doubt)} off, and showed {results}"
        f" {'result' if results == 1 else 'results'} of this batch while it was in"
        " doubt."
    )
    if crossing:
        said += f" By that error {'; '.join(crossing)}."
    else:
        said += " By that error no judged result leaves its limits."
    if decided is not None:
        said += f" Deviation {decided.code} about it was closed: {decided.words}."
    elif crossing:
        said += f" {WHAT_TO_DO}"
    return InDoubt(
        doubt=doubt,
        results=results,
        decided=decided,
        crossing=crossing,
        sentence=said,
    )


def _decided(doubt: Doubt, deviations: Sequence[Standing]) -> Standing | None:
    """Return the last deviation about it that was closed after all failed checks."""
    failed_at = max(check.entered_at for check in doubt.failed)
    closed = [
        one
        for one in deviations
        if one.deviation.instrument_id == doubt.instrument.pk
        and one.closing is not None
        and one.closing.entered_at > failed_at
    ]
    return closed[-1] if closed else None


def _concerns(one: Standing, tool: Tool, deviations: Sequence[Standing]) -> bool:
    """Say whether an open deviation of an instrument concerns what it showed here.

    It follows the newest failed check that was entered before it and that no other
    deviation had decided by then: so what lies in the doubt of that one. Without such
    a check it concerns what was measured since the last good check before it was
    noticed, up to the next one.
    """
    deviation = one.deviation
    failed = [
        check
        for check in tool.checks
        if not check.passed
        and check.entered_at <= deviation.entered_at
        and not _was_decided(check.entered_at, one, deviations)
    ]
    if failed:
        newest = max(failed, key=lambda check: check.pk)
        return any(newest in doubt.failed for doubt in tool.doubts)
    good = [check for check in tool.checks if check.passed]
    before = [
        check.observed_at
        for check in good
        if check.observed_at <= deviation.observed_at
        and check.entered_at <= deviation.entered_at
    ]
    after = [
        check.observed_at
        for check in good
        if check.observed_at > deviation.observed_at
        and check.entered_at > deviation.entered_at
    ]
    return any(
        (not before or row.observed_at >= before[-1])
        and (not after or row.observed_at <= after[0])
        for row in tool.rows
    )


def _was_decided(
    failed_at: datetime.datetime, one: Standing, deviations: Sequence[Standing]
) -> bool:
    """Say whether another deviation about it was closed between check and this one."""
    return any(
        other.closing is not None
        and other.deviation.instrument_id == one.deviation.instrument_id
        and failed_at < other.closing.entered_at <= one.deviation.entered_at
        for other in deviations
    )


def _unchecked(tools: Sequence[Tool]) -> Iterator[str]:
    names = [tool.instrument.name for tool in tools if tool.is_never_checked]
    if names:
        yield f"Never checked against anything known: {', '.join(names)}."


def _beyond(tools: Sequence[Tool], zone: datetime.tzinfo) -> Iterator[str]:
    for tool in tools:
        if tool.beyond is None:
            continue
        check, error = tool.beyond
        unit = UNITS[tool.instrument.kind]
        registered = format_number(tool.instrument.bias_half_width)
        at = check.observed_at.astimezone(zone)
        yield (
            f"{tool.instrument.name} has ± {registered} {unit} in the register, but was"
            f" {format_number(abs(error))} {unit} off at its good check of"
            f" {at.day} {at:%b %Y, %H:%M}: the ± of what it showed is too small."
        )


def _when(doubt: Doubt, zone: datetime.tzinfo) -> str:
    at = (doubt.check or doubt.failed[-1]).observed_at.astimezone(zone)
    return f"{at.day} {at:%b %Y, %H:%M}"


def _off(doubt: Doubt) -> str:
    size = f"{format_number(doubt.size)} {doubt.unit}"
    if doubt.is_scale and doubt.check is not None:
        return f"{size} of {format_number(doubt.check.reference)} {doubt.unit}"
    return f"pH {format_number(doubt.size)}" if doubt.unit == "pH" else size
