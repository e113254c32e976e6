"""A supplier by its record: what came, on what papers, and what went wrong with it."""

from __future__ import annotations

import dataclasses
import datetime
from collections import Counter
from decimal import Decimal

from django.db.models import Count, OuterRef, Q, Subquery
from django.utils import timezone

from batches.lifecycle import BottleStatus
from batches.models import Bottle, BottleEvent, Dispatch, FillingLot
from producer.models import Certificate, Consignee, Material, RawLot, Supplier
from quality.models import Deviation, Recall, RecallItem

# A paper that came more than a week after the goods is late: ours, no source.
LATE_AFTER = datetime.timedelta(days=7)
MOST_SHOWN = 25
Status = RawLot.Status


@dataclasses.dataclass(frozen=True, kw_only=True)
class LotRecord:
    """A lot with what its newest certificate says and how the paper came.

    ``characteristic`` is the slug of the chart its value stands on, or empty;
    ``outside`` says that the value lies outside the range of the material.
    """

    lot: RawLot
    papers: list[Certificate]
    is_late: bool

    @property
    def newest(self) -> Certificate | None:
        """The newest version of the certificate."""
        return self.papers[-1] if self.papers else None

    @property
    def is_missing(self) -> bool:
        """Say whether a potash or an oil came without any paper."""
        needed = {Material.Kind.POTASH, Material.Kind.OIL}
        return not self.papers and self.lot.material.kind in needed

    @property
    def is_revised(self) -> bool:
        """Say whether the paper was corrected."""
        return len(self.papers) > 1

    @property
    def characteristic(self) -> str:
        """The chart of the value, as a slug."""
        kinds = {
            Material.Kind.POTASH.value: "assay",
            Material.Kind.OIL.value: "saponification_value",
        }
        return kinds.get(self.lot.material.kind, "")

    @property
    def value(self) -> Decimal | None:
        """Assay of a potash, saponification value of an oil, as the paper states it."""
        if self.newest is None:
            return None
        if self.characteristic == "assay":
            return self.newest.assay_percent
        return self.newest.saponification_value

    @property
    def outside(self) -> bool:
        """Say whether a saponification value lies outside the material's range."""
        value, material = self.value, self.lot.material
        if value is None or self.characteristic != "saponification_value":
            return False
        low, high = material.saponification_low, material.saponification_high
        return (low is not None and value < low) or (high is not None and value > high)


@dataclasses.dataclass(frozen=True, kw_only=True)
class SupplierRecord:
    """What is known of a supplier from its lots."""

    supplier: Supplier
    lots: list[LotRecord]
    deviations: list[Deviation]
    recalls: list[Recall]

    @property
    def accepted(self) -> int:
        """Lots that were released and still stand so."""
        return self._counts[Status.RELEASED]

    @property
    def held(self) -> int:
        """Lots that wait for a decision, at first or again."""
        return self._counts[Status.QUARANTINE] + self._counts[Status.ON_HOLD]

    @property
    def rejected(self) -> int:
        """Lots that were refused."""
        return self._counts[Status.REJECTED]

    @property
    def missing(self) -> int:
        """Lots without the paper they need."""
        return sum(one.is_missing for one in self.lots)

    @property
    def late(self) -> int:
        """Lots whose paper came late."""
        return sum(one.is_late for one in self.lots)

    @property
    def revised(self) -> int:
        """Lots whose paper was corrected."""
        return sum(one.is_revised for one in self.lots)

    @property
    def outside(self) -> int:
        """Lots whose value lies outside the range of the material."""
        return sum(one.outside for one in self.lots)

    @property
    def shown(self) -> list[LotRecord]:
        """The newest lots."""
        return self.lots[:MOST_SHOWN]

    @property
    def _counts(self) -> Counter[str]:
        return Counter(one.lot.status for one in self.lots)


@dataclasses.dataclass(frozen=True, kw_only=True)
class Held:
    """Bottles of a filling lot that a consignee holds."""

    lot: FillingLot
    bottles: int


@dataclasses.dataclass(frozen=True, kw_only=True)
class CameBack:
    """Bottles of a filling lot that a consignee had, and what became of them."""

    at: datetime.datetime
    lot: FillingLot
    word: str
    bottles: int
    reason: str


def record_of(supplier: Supplier) -> SupplierRecord:
    """Return a supplier's record, the newest lot first; a fixed number of queries."""
    zone = timezone.get_current_timezone()  # that of the premises, in every request
    lots = list(
        RawLot.objects.listed()
        .filter(supplier=supplier)
        .prefetch_related("certificates")
        .order_by("-received_on", "-pk")
    )
    about = Q(stock__lot__supplier=supplier)
    items = RecallItem.objects.standing().filter(stock__lot__supplier=supplier)
    touched = Q(root__lot__supplier=supplier) | Q(pk__in=items.values("recall"))
    return SupplierRecord(
        supplier=supplier,
        lots=[lot_record(lot, zone) for lot in lots],
        deviations=list(
            Deviation.objects.filter(about).select_related("stock").order_by("-pk")
        ),
        recalls=list(Recall.objects.filter(touched).with_beginning().order_by("-pk")),
    )


def held_by(consignee: Consignee) -> list[Held]:
    """Return what a consignee holds now, by filling lot, the newest first."""
    bottles = Bottle.objects.filter(
        consignee=consignee, status=BottleStatus.DISPATCHED
    ).values_list("filling_lot_id", flat=True)
    counts = Counter(bottles)
    lots = FillingLot.objects.filter(pk__in=counts).select_related(
        "batch__stock", "batch__formula_version__formula"
    )
    return [Held(lot=lot, bottles=counts[lot.pk]) for lot in lots.order_by("-pk")]


def dispatches_to(consignee: Consignee) -> list[Dispatch]:
    """Return the newest dispatches to a consignee, each with its ``bottles``.

    Those that were taken back are among them, and say so.
    """
    own = Dispatch.objects.filter(consignee=consignee)
    rows = own.select_related("taken_back__entered_by__person").annotate(
        bottles=Count("events", filter=Q(events__new=BottleStatus.DISPATCHED))
    )
    return list(rows[:MOST_SHOWN])


def came_back_from(consignee: Consignee) -> list[CameBack]:
    """Return what became of bottles that a consignee had, the newest first.

    Of each the last dispatch before it says who had it.
    """
    before = BottleEvent.objects.filter(
        bottle=OuterRef("bottle"), new=BottleStatus.DISPATCHED, pk__lt=OuterRef("pk")
    ).order_by("-pk")
    rows = (
        BottleEvent.objects.filter(old=BottleStatus.DISPATCHED)
        .exclude(new=BottleStatus.FILLED)  # taken back: they never had it
        .annotate(had=Subquery(before.values("dispatch__consignee")[:1]))
        .filter(had=consignee.pk)
        .select_related("bottle__filling_lot")
        .order_by("-observed_at", "bottle__filling_lot", "bottle__number")
    )
    groups: dict[tuple[int, str, str, datetime.datetime], list[BottleEvent]] = {}
    for row in rows:
        moment = row.observed_at.replace(second=0, microsecond=0)
        key = (row.bottle.filling_lot_id, row.new, row.reason, moment)
        groups.setdefault(key, []).append(row)
    return [
        CameBack(
            at=events[0].observed_at,
            lot=events[0].bottle.filling_lot,
            word=events[0].get_new_display(),
            bottles=len(events),
            reason=events[0].reason,
        )
        for events in list(groups.values())[:MOST_SHOWN]
    ]


def lot_record(lot: RawLot, zone: datetime.tzinfo) -> LotRecord:
    """Return a lot with its papers; ``zone`` is of the premises."""
    papers = sorted(lot.certificates.all(), key=lambda paper: paper.version)
    return LotRecord(
        lot=lot,
        papers=papers,
        is_late=bool(papers)
        and papers[0].entered_at.astimezone(zone).date() > lot.received_on + LATE_AFTER,
    )
