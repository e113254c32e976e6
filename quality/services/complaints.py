"""Complaints as they stand: read with their steps, never written here."""

from __future__ import annotations

import dataclasses
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

from django.db import models
from django.db.models.functions import Coalesce
from django.utils import timezone

from batches.models import Batch, FillingLot
from batches.services import entries
from producer.codes import grouped, normalise
from quality import complaint_life
from quality.complaint_life import Conclusion, Step
from quality.models import Complaint, ComplaintAccount, ComplaintStep

Nature = ComplaintAccount.Nature
OF_BATCH: Final = Coalesce(
    "batch_id", "filling_lot__batch_id", "bottle__filling_lot__batch_id"
)
OF_LOT: Final = Coalesce("filling_lot_id", "bottle__filling_lot_id")
CONCLUDED: Final = "concluded"
# All of them, corrected ones too: which is the newest is asked of the first rows.
CONCLUSIONS: Final = models.Prefetch(
    "complaint__steps",
    queryset=ComplaintStep.objects.filter(kind=Step.CONCLUSION),
    to_attr=CONCLUDED,
)


@dataclasses.dataclass(frozen=True, kw_only=True)
class Standing:
    """A complaint with what was told and its steps that stand, in order.

    A corrected step keeps the place of what it corrects.
    ``earlier`` are the accounts that were corrected, and ``corrected`` the steps that
    were corrected or taken back, so that both stay legible.
    """

    complaint: Complaint
    account: ComplaintAccount
    earlier: Sequence[ComplaintAccount]
    steps: Sequence[ComplaintStep]
    corrected: Sequence[ComplaintStep]

    @property
    def code(self) -> str:
        """Its code."""
        return self.complaint.code

    @property
    def is_open(self) -> bool:
        """Say whether nothing has closed it, or somebody opened it again."""
        return complaint_life.is_open([one.kind for one in self.steps])

    @property
    def conclusion(self) -> str:
        """The newest conclusion as a slug, or nothing."""
        return _newest(self.steps)

    @property
    def status(self) -> str:
        """Open or closed, as a slug."""
        return "open" if self.is_open else "closed"

    @property
    def words(self) -> str:
        """Open, or what came of it."""
        if not self.conclusion:
            return self.status
        return f"{self.status}: {Conclusion(self.conclusion).label}"

    @property
    def lacking(self) -> list[complaint_life.Lack]:
        """What must stand before it is closed."""
        return complaint_life.lacking(
            {one.kind for one in self.steps},
            conclusion=self.conclusion,
            was_hurt=self.account.was_hurt,
        )

    def has(self, kind: str) -> bool:
        """Say whether there is a step of this kind."""
        return any(step.kind == kind for step in self.steps)


def standing(complaint: Complaint) -> Standing:
    """Return one complaint with its accounts and steps; two queries."""
    told = ComplaintAccount.objects.filter(complaint=complaint)
    accounts = list(_joined(told).order_by("pk"))
    rows = ComplaintStep.objects.filter(complaint=complaint).order_by("pk")
    steps = list(rows.select_related("entered_by__person"))
    now = entries.standing(steps)
    current = {one.pk for one in now}
    return Standing(
        complaint=complaint,
        account=accounts[-1],
        earlier=accounts[:-1],
        steps=now,
        corrected=[one for one in steps if one.pk not in current],
    )


def listed() -> models.QuerySet[Any]:
    """Return the accounts that stand, open complaints first, then the newest.

    Annotated with ``end`` (the kind of the last closing or opening again, empty
    where there is none), and with ``of_batch`` and ``of_lot``, ids or None.
    """
    steps = ComplaintStep.objects.current().filter(
        complaint=models.OuterRef("complaint")
    )
    # An end is never corrected, so that the newest row is the last one.
    ends = steps.filter(kind__in=complaint_life.ENDS).order_by("-pk")
    return (
        _joined(ComplaintAccount.objects.current())
        .annotate(
            end=Coalesce(models.Subquery(ends.values("kind")[:1]), models.Value("")),
            of_batch=OF_BATCH,
            of_lot=OF_LOT,
        )
        .order_by(
            models.Case(models.When(end=Step.CLOSED, then=1), default=0),
            "-complaint_id",
        )
    )


def still_open() -> models.QuerySet[Any]:
    """Return the open complaints: where somebody was hurt first, then the oldest."""
    return listed().exclude(_is_closed()).order_by("-was_hurt", "observed_at", "pk")


def found(text: str = "", status: str = "", nature: str = "") -> models.QuerySet[Any]:
    """Return those whose code, words, bottle, filling lot or batch contains ``text``.

    ``status`` narrows them to “open” or “closed”, ``nature`` to one of its slugs;
    anything else means all. Their conclusions come with them, in one query more.
    """
    rows = listed().prefetch_related(CONCLUSIONS)
    if status == "open":
        rows = rows.exclude(_is_closed())
    if status == "closed":
        rows = rows.filter(_is_closed())
    if nature in Nature:
        rows = rows.filter(nature=nature)
    return rows.filter(_with(text)) if text else rows


def of_batches(ids: Sequence[int]) -> list[ComplaintAccount]:
    """Return the complaints about these batches and their bottles, newest first."""
    return list(listed().filter(of_batch__in=list(ids)).order_by("-complaint_id"))


def of_filling_lot(lot: FillingLot) -> list[ComplaintAccount]:
    """Return the complaints about this filling lot and its bottles, newest first."""
    return list(listed().filter(of_lot=lot.pk).order_by("-complaint_id"))


def is_open(row: ComplaintAccount) -> bool:
    """Say of a row of :func:`listed` whether it is open."""
    return bool(getattr(row, "end", None) != Step.CLOSED)


def conclusion_of(row: ComplaintAccount) -> str:
    """Return the newest conclusion of a row of :func:`found` as a slug, or nothing."""
    return _newest(entries.standing(getattr(row.complaint, CONCLUDED)))


def batch_of(account: ComplaintAccount) -> Batch | None:
    """Return the batch it is about, at any distance, or None."""
    if account.batch is not None:
        return account.batch
    lot = lot_of(account)
    return lot.batch if lot else None


def lot_of(account: ComplaintAccount) -> FillingLot | None:
    """Return the filling lot it is about, or None."""
    if account.filling_lot is not None:
        return account.filling_lot
    return account.bottle.filling_lot if account.bottle else None


def about(account: ComplaintAccount) -> str:
    """Return what it is about, in words, with the nearest code that is known."""
    if account.bottle is not None:
        return f"bottle {grouped(account.bottle.code)}"
    if account.filling_lot is not None:
        return f"filling lot {account.filling_lot.code}"
    if account.batch is not None:
        return f"batch {account.batch.number}"
    return f"code unknown: {account.said_of_it}"


IN_ALL: Final = "in all"
Counts = Sequence[tuple[str, int]]


@dataclasses.dataclass(frozen=True, kw_only=True)
class Trend:
    """How many complaints came, by what they are about and by year of the premises.

    A row is the name of a nature and its counts, each with its head: a year, or all.
    """

    heads: Sequence[str]
    rows: Sequence[tuple[str, Counts]]
    total: Counts

    @property
    def count(self) -> int:
        """How many in all."""
        return dict(self.total)[IN_ALL]


def trend() -> Trend:
    """Return the trend of all complaints; one query."""
    pairs = ComplaintAccount.objects.current().values_list("nature", "observed_at")
    counts = Counter(
        (nature, timezone.localtime(at).year)
        for nature, at in pairs.order_by().iterator()
    )
    years = sorted({year for _, year in counts})
    by_year: Counter[int] = Counter()
    for (_, year), count in counts.items():
        by_year[year] += count
    return Trend(
        heads=[*map(str, years), IN_ALL],
        rows=[
            (nature.label, line)
            for nature in Nature
            if (line := _line(years, {y: counts[nature.value, y] for y in years}))[-1][
                1
            ]
        ],
        total=_line(years, by_year),
    )


def faults() -> Iterator[str]:
    """Yield a fault for a complaint without one account, or closed with steps lacking.

    What was closed stays closed with all that was asked for: after a closing no step
    is taken back until it is opened again.
    """
    told = dict(
        Complaint.objects.annotate(
            n=models.Count(
                "accounts", filter=models.Q(accounts__superseded_by__isnull=True)
            )
        ).values_list("pk", "n")
    )
    for complaint in Complaint.objects.order_by("pk").iterator():
        if told[complaint.pk] != 1:
            yield f"Complaint {complaint.code}: {told[complaint.pk]} accounts stand."
            continue
        now = standing(complaint)
        if not now.is_open and now.lacking:
            yield (
                f"Complaint {complaint.code} is closed, and this is lacking:"
                f" {' '.join(one.sentence for one in now.lacking)}"
            )


def _newest(steps: Sequence[ComplaintStep]) -> str:
    """Return the last conclusion of steps that stand, in their order, or nothing."""
    given = [one.conclusion for one in steps if one.kind == Step.CONCLUSION]
    return given[-1] if given else ""


def _line(years: Sequence[int], counts: Mapping[int, int]) -> Counts:
    line = [(str(year), counts[year]) for year in years]
    return [*line, (IN_ALL, sum(count for _, count in line))]


def _is_closed() -> models.Q:
    return models.Q(end=Step.CLOSED)


def _with(text: str) -> models.Q:
    code = normalise(text)
    return (
        models.Q(complaint__code__icontains=text)
        | models.Q(words__icontains=text)
        | models.Q(said_of_it__icontains=text)
        | models.Q(bottle__code__icontains=code)
        | models.Q(filling_lot__code__icontains=text)
        | models.Q(bottle__filling_lot__code__icontains=text)
        | models.Q(batch__stock__code__icontains=text)
        | models.Q(filling_lot__batch__stock__code__icontains=text)
        | models.Q(bottle__filling_lot__batch__stock__code__icontains=text)
    )


def _joined(
    rows: models.QuerySet[ComplaintAccount],
) -> models.QuerySet[ComplaintAccount]:
    names = ("batch__", "filling_lot__batch__", "bottle__filling_lot__batch__")
    return rows.select_related(
        "complaint",
        "consignee",
        "entered_by__person",
        *(f"{name}stock" for name in names),
        *(f"{name}formula_version__formula" for name in names),
    )
