"""What a chart is of: a subject, what was measured of it, the points, the limits."""

from __future__ import annotations

import dataclasses
import datetime
import enum
from decimal import Decimal


class Kind(enum.StrEnum):
    """Whose results they are."""

    FORMULA = "formula"
    MATERIAL = "material"
    INSTRUMENT = "instrument"


@dataclasses.dataclass(frozen=True, kw_only=True)
class Subject:
    """A formula, a material or an instrument, by key and name."""

    kind: Kind
    pk: int
    name: str

    @property
    def page(self) -> str:
        """The name of the address of its charts; that of the print ends in “_pdf”."""
        of_formula = self.kind == Kind.FORMULA
        return "quality:chart" if of_formula else f"quality:{self.kind}_chart"

    @property
    def print_page(self) -> str:
        """The name of the address of the same chart on paper."""
        return f"{self.page}_pdf"


class Chartable(enum.StrEnum):
    """What can be put on a chart."""

    PH = "ph"
    YIELD_VARIANCE = "yield_variance"
    FREE_ALKALI = "free_alkali"
    FILL = "fill"
    EVAPORATION = "evaporation"
    SOAP_CONTENT = "soap_content"
    ASSAY = "assay"
    HYDROXIDE = "hydroxide"
    SAPONIFICATION_VALUE = "saponification_value"
    ACID_VALUE = "acid_value"
    ERROR = "error"
    ERROR_ACID = "error_acid"
    ERROR_ALKALINE = "error_alkaline"
    SLOPE = "slope"

    @property
    def label(self) -> str:
        """The words inside a sentence."""
        return _WORDS[self][1]

    @property
    def heading(self) -> str:
        """The words at the head of something; pH keeps its small p.

        >>> Chartable.PH.heading, Chartable.SLOPE.heading
        ('pH', 'Slope by the pH shown')
        """
        if self is Chartable.PH:
            return self.label
        return self.label[:1].upper() + self.label[1:]

    @property
    def kind(self) -> Kind:
        """Whose result it is."""
        return _WORDS[self][0]

    @property
    def unit(self) -> str:
        """The unit of a value, empty for pH and where the instrument has it."""
        return _WORDS[self][2]

    @property
    def counted(self) -> str:
        """Which of several results of a record is the point, in a sentence."""
        return _COUNTED.get(self, "")

    @property
    def order(self) -> str:
        """The order in which the points stand, in words."""
        if self is Chartable.FILL:
            return "in the order in which the bottles were weighed"
        return _ORDER[self.kind]


_WORDS = {
    Chartable.PH: (Kind.FORMULA, "pH", ""),
    Chartable.YIELD_VARIANCE: (Kind.FORMULA, "yield variance", "%"),
    Chartable.FREE_ALKALI: (Kind.FORMULA, "free alkali by titration", "% KOH"),
    Chartable.FILL: (Kind.FORMULA, "mean content above the nominal one", "%"),
    Chartable.EVAPORATION: (Kind.FORMULA, "evaporation", "% of what went in"),
    Chartable.SOAP_CONTENT: (Kind.FORMULA, "soap content as signed", "%"),
    Chartable.ASSAY: (Kind.MATERIAL, "assay by the certificate", "%"),
    Chartable.HYDROXIDE: (Kind.MATERIAL, "hydroxide by own titration", "% KOH"),
    Chartable.SAPONIFICATION_VALUE: (
        Kind.MATERIAL,
        "saponification value",
        "mg KOH/g",
    ),
    Chartable.ACID_VALUE: (Kind.MATERIAL, "acid value", "mg KOH/g"),
    Chartable.ERROR: (Kind.INSTRUMENT, "error", ""),
    Chartable.ERROR_ACID: (Kind.INSTRUMENT, "error in the more acid buffer", "pH"),
    Chartable.ERROR_ALKALINE: (
        Kind.INSTRUMENT,
        "error in the more alkaline buffer",
        "pH",
    ),
    Chartable.SLOPE: (Kind.INSTRUMENT, "slope by the pH shown", "%"),
}
_COUNTED = {
    Chartable.PH: (
        "Of each batch one value counts: the signed one, or else the newest reading"
        " that nothing was weighed in after."
    ),
    Chartable.FREE_ALKALI: "Of each batch one value counts: the newest titration.",
    Chartable.FILL: "Of each filling lot one value counts: the newest check.",
}
_ORDER = {
    Kind.FORMULA: "in the order in which the batches were opened",
    Kind.MATERIAL: "in the order in which the lots were received",
    Kind.INSTRUMENT: "in the order of the checks",
}


@dataclasses.dataclass(frozen=True, kw_only=True)
class Other:
    """Another standing result of the record of a point: it does not count, but stands.

    ``method`` says how it was measured.
    """

    value: Decimal
    at: datetime.datetime
    method: str = ""


@dataclasses.dataclass(frozen=True, kw_only=True)
class Point:
    """One result: whose, of which record, when, and where the value comes from.

    ``of`` is the key of the subject. ``page`` names the address of the record and
    ``argument`` what it takes; ``anchor`` is a place on that page. ``method`` says how
    it was measured: another method is another quantity. ``others`` are the other
    results of the same record, oldest first. ``apart`` says why it should not set the
    limits of a chart, empty where it may.
    """

    of: int
    key: int
    label: str
    page: str
    argument: str | int
    at: datetime.datetime
    value: Decimal
    origin: str
    method: str = ""
    anchor: str = ""
    others: tuple[Other, ...] = ()
    apart: str = ""


@dataclasses.dataclass(frozen=True, kw_only=True)
class Limits:
    """What the points are held against, and in words where that stands."""

    lower: Decimal | None = None
    upper: Decimal | None = None
    words: str = ""


@dataclasses.dataclass(frozen=True, kw_only=True)
class Series:
    """The points of a subject and a characteristic, oldest first, with the limits.

    ``left_out`` are results by another method than that of the newest one.
    """

    subject: Subject
    characteristic: Chartable
    points: list[Point]
    left_out: int
    limits: Limits
    unit: str

    @property
    def values(self) -> list[float]:
        """The values as the statistics take them."""
        return [float(point.value) for point in self.points]

    @property
    def apart(self) -> set[int]:
        """The positions of the points that do not set limits unless somebody says."""
        return {place for place, point in enumerate(self.points) if point.apart}

    @property
    def with_others(self) -> set[int]:
        """The positions of the points whose record has other results too."""
        return {place for place, point in enumerate(self.points) if point.others}

    @property
    def name(self) -> str:
        """What it is of, inside a sentence."""
        return f"{self.characteristic.label} of {self.subject.name}"

    @property
    def heading(self) -> str:
        """What it is of, at the head of something."""
        return f"{self.characteristic.heading} of {self.subject.name}"

    @property
    def method(self) -> str:
        """How the points were measured, where there are several ways."""
        return self.points[-1].method if self.points else ""

    @property
    def by_day(self) -> bool:
        """Say whether the points have a day only, as a receipt has."""
        return self.characteristic.kind == Kind.MATERIAL


def series(
    subject: Subject,
    characteristic: Chartable,
    points: list[Point],
    limits: Limits,
    *,
    unit: str = "",
) -> Series:
    """Return points as a series: oldest first, by the method of the newest one."""
    ordered = sorted(points, key=lambda point: (point.at, point.key))
    kept = [point for point in ordered if point.method == ordered[-1].method]
    return Series(
        subject=subject,
        characteristic=characteristic,
        points=kept,
        left_out=len(ordered) - len(kept),
        limits=limits,
        unit=unit or characteristic.unit,
    )
