"""Series: one of them, or all there are with what stands out last in each.

A fixed number of queries for any number of batches, lots, checks and subjects.
"""

from __future__ import annotations

import dataclasses
from collections import defaultdict
from collections.abc import Callable, Iterable
from typing import Final

from batches.models import Formula
from producer.models import Instrument, Material
from quality.services.charting import formulas, instruments, materials
from quality.services.charting.analysis import Analysis, Found, analysis_of
from quality.services.charting.plain import (
    Chartable,
    Kind,
    Limits,
    Point,
    Series,
    Subject,
    series,
)

Things = Formula | Material | Instrument
_SOURCES: Final[dict[Kind, Callable[[Chartable, int | None], Iterable[Point]]]] = {
    Kind.FORMULA: formulas.points,
    Kind.MATERIAL: materials.points,
    Kind.INSTRUMENT: instruments.points,
}
_LIMITS: Final[dict[Kind, Callable[[Chartable, int | None], dict[int, Limits]]]] = {
    Kind.FORMULA: formulas.limits,
    Kind.MATERIAL: materials.limits,
    Kind.INSTRUMENT: instruments.limits,
}


def subject_of(thing: Things) -> Subject:
    """Return a formula, a material or an instrument as the subject of a chart."""
    kind = {
        Formula: Kind.FORMULA,
        Material: Kind.MATERIAL,
        Instrument: Kind.INSTRUMENT,
    }[type(thing)]
    return Subject(kind=kind, pk=thing.pk, name=thing.name)


def series_of(thing: Things, characteristic: Chartable) -> Series:
    """Return one series; raises ValueError where no such thing has this."""
    subject = subject_of(thing)
    if characteristic.kind != subject.kind:
        raise ValueError(f"A {subject.kind} has no {characteristic.label}.")
    return series(
        subject,
        characteristic,
        list(_SOURCES[subject.kind](characteristic, subject.pk)),
        _LIMITS[subject.kind](characteristic, subject.pk).get(subject.pk)
        or _usual(characteristic),
        unit=_unit(thing, characteristic),
    )


@dataclasses.dataclass(frozen=True, kw_only=True)
class Listed:
    """A series in the list of charts."""

    series: Series
    analysis: Analysis

    @property
    def standing(self) -> str:
        """How firm its limits are, in words."""
        chart = self.analysis.chart
        return "none yet" if chart is None else chart.standing.value

    @property
    def newest(self) -> Found | None:
        """What stands out last: of the newest point of all findings."""
        return max(
            self.analysis.found, key=lambda found: found.points[-1], default=None
        )

    @property
    def newest_point(self) -> Point | None:
        """The record at which that finding ends."""
        if self.newest is None:
            return None
        return self.series.points[self.newest.points[-1] + self.analysis.offset]


def listed() -> list[tuple[Subject, list[Listed]]]:
    """Return everything of which there are points: formulas, materials, instruments."""
    found: dict[tuple[Kind, int], list[Listed]] = defaultdict(list)
    things: dict[tuple[Kind, int], Things] = {
        (subject_of(thing).kind, thing.pk): thing
        for model in (Formula, Material, Instrument)
        for thing in model._default_manager.all()
    }
    for characteristic in Chartable:
        kind = characteristic.kind
        by_subject: dict[int, list[Point]] = defaultdict(list)
        for point in _SOURCES[kind](characteristic, None):
            by_subject[point.of].append(point)
        limits, usual = _LIMITS[kind](characteristic, None), _usual(characteristic)
        for pk, points in by_subject.items():
            thing = things[kind, pk]
            one = series(
                subject_of(thing),
                characteristic,
                points,
                limits.get(pk, usual),
                unit=_unit(thing, characteristic),
            )
            found[kind, pk].append(Listed(series=one, analysis=analysis_of(one)))
    return [
        (subject_of(thing), found[key]) for key, thing in things.items() if key in found
    ]


def of_formula(formula: Formula) -> list[Listed]:
    """Return the series of one formula of which there are points."""
    found = [
        series_of(formula, characteristic)
        for characteristic in Chartable
        if characteristic.kind == Kind.FORMULA
    ]
    return [
        Listed(series=one, analysis=analysis_of(one)) for one in found if one.points
    ]


def _usual(characteristic: Chartable) -> Limits:
    if characteristic.kind == Kind.FORMULA:
        return formulas.usual_limits(characteristic)
    return Limits()


def _unit(thing: Things, characteristic: Chartable) -> str:
    if isinstance(thing, Instrument):
        return instruments.unit_of(thing, characteristic)
    return characteristic.unit
