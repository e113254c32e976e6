"""The pot screen: one thing at a time, for a phone propped up at the stove."""

from __future__ import annotations

import dataclasses
import datetime
from collections.abc import Sequence
from functools import cached_property
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone

from batches.forms.charging import FinishForm, UndoForm
from batches.forms.making import ChargeForm, LotsForm, ReadingForm, YieldForm, scales
from batches.forms.mending import LossForm
from batches.forms.typed import typed
from batches.models import (
    Batch,
    BulkWeighing,
    Charge,
    HoldPoint,
    Reading,
    WeighingStart,
)
from batches.services import at_the_pot, planning, undoing
from batches.services.at_the_pot import AT_THE_POT, Pot, pot_of
from batches.services.results import yield_of
from batches.views.batches import batch_by_number
from batches.views.charging import is_by_difference
from producer.forms.base import ActForm, PlainForm
from producer.models import Instrument, Right, Vessel
from producer.quantities import milligrams
from producer.services.checks import local_day
from producer.views.acts import needs, read_only, user_of

LABELS = {
    at_the_pot.TEMPERATURE: "Temperature",
    at_the_pot.CLARITY: "Clarity",
    at_the_pot.PH: "pH",
}


@dataclasses.dataclass(frozen=True, kw_only=True)
class Section:
    """One step with its form: where it is sent, which fields are typed, what is chosen.

    ``kind`` says how it is drawn, ``large`` names the fields to type, ``chosen`` is
    what the folded fields say already, in words.
    """

    slug: str
    kind: str
    label: str
    action: str = ""
    form: ActForm | None = None
    large: str = ""
    chosen: Sequence[str] = ()
    target: planning.PlanLine | None = None
    start: WeighingStart | None = None


@read_only
@needs(Right.MAKER)
def pot(request: HttpRequest, number: str) -> HttpResponse:
    """Show the one thing to do next, and everything else behind one tap.

    All forms are on the one page, so that it goes on without a network; each is sent
    to the address of its act and comes back here.
    """
    found = pot_of(batch_by_number(number))
    sections = _Sections(found, request).all()
    asked = request.GET.get("step", "")
    undoable = undoing.last_undoable(found.batch, user_of(request))
    known = {section.slug for section in sections}
    step = asked if asked in known else found.next
    return render(
        request,
        "batches/pot.html",
        {
            "batch": found.batch,
            "pot": found,
            "plan": found.plan,
            "result": yield_of(found.batch, found.entries),
            "sections": sections,
            "shown": _shown(step),
            "step": step,
            "here": reverse("batches:pot", args=[found.batch.number]),
            "undo": undoable
            and UndoForm(
                auto_id="undo-%s", initial={"entry": undoing.key_of(undoable)}
            ),
            "unread": found.is_unread(timezone.now()),
            "read_every": at_the_pot.READ_EVERY // datetime.timedelta(minutes=1),
            "vessels": Vessel.objects.filter(in_use=True),
        },
    )


def _shown(step: str) -> set[str]:
    """Return the sections to see: a cook is read, and looked at whether it is clear."""
    return {step, at_the_pot.CLARITY} if step == at_the_pot.TEMPERATURE else {step}


class _Sections:
    """The sections of a batch, each form with what is most likely chosen already."""

    def __init__(self, found: Pot, request: HttpRequest) -> None:
        self._found = found
        self._request = request
        self._batch: Batch = found.batch

    def all(self) -> list[Section]:
        """Return every section, in the order of the work."""
        if self._batch.status not in AT_THE_POT:
            return []
        begun = map(self._start, self._found.entries.open_starts)
        sections = [*self._before(), *begun, *map(self._charge, self._in_order())]
        if self._batch.status == "planned":
            return sections
        sections += [self._reading(one) for one in LABELS]
        sections += [self._loss(), *self._after()]
        return sections

    def _before(self) -> list[Section]:
        found = []
        if self._found.next == at_the_pot.LOTS:
            found.append(self._lots())
        if self._batch.status == "planned" and self._found.open_points:
            found.append(
                Section(slug="hold_points", kind="hold_points", label="Hold points")
            )
        return found

    def _in_order(self) -> list[planning.PlanLine]:
        lines = self._found.plan.lines
        return sorted(lines, key=lambda line: line.kind == "potash")

    def _lots(self) -> Section:
        lines = self._found.plan.lines
        chosen = {line.line.pk: line.source for line in lines}
        form = LotsForm(
            lines=[line.line for line in lines],
            on=self._today,
            batch=self._batch,
            auto_id="lots-%s",
            initial={f"line_{pk}": one.pk for pk, one in chosen.items() if one},
        )
        return Section(
            slug="lots",
            kind="lots",
            label="Lots",
            action=self._address("lots"),
            form=form,
        )

    def _start(self, start: WeighingStart) -> Section:
        return Section(
            slug=at_the_pot.start_step(start.pk),
            kind="start",
            label=f"Finish {start.source.code}",
            action=self._address("start_finish", start.pk),
            form=FinishForm(start=start, auto_id=f"start-{start.pk}-%s"),
            large="other_mg",
            start=start,
        )

    def _charge(self, target: planning.PlanLine) -> Section:
        position = target.line.position
        slug = at_the_pot.charge_step(position)
        scale = self._scale_for(target.remaining_mg)
        by_difference = is_by_difference(self._request, target)
        vessel = None if by_difference else self._vessel
        form = ChargeForm(
            batch=self._batch,
            line=target.line,
            on=self._today,
            auto_id=f"{slug}-%s",
            initial={
                "source": target.source and target.source.pk,
                "scale": scale and scale.pk,
                "by_difference": by_difference,
                **({} if by_difference else self._in_vessel()),
            },
        )
        return Section(
            slug=slug,
            kind="charge",
            label=target.name,
            action=self._address("charge", position),
            form=form,
            large="gross_mg,tare_mg",
            chosen=[
                *([target.source.code] if target.source else []),
                *([scale.name] if scale else []),
                *([vessel.name] if vessel else []),
            ],
            target=target,
        )

    def _reading(self, characteristic: str) -> Section:
        instrument = self._instrument_for(characteristic)
        form = ReadingForm(
            characteristic=characteristic,
            version=self._batch.formula_version,
            auto_id=f"{characteristic}-%s",
            initial={"instrument": instrument and instrument.pk},
        )
        return Section(
            slug=characteristic,
            kind=characteristic,
            label=LABELS[characteristic],
            action=self._address("read", characteristic),
            form=form,
            large="value",
            chosen=[instrument.name] if instrument else [],
        )

    def _loss(self) -> Section:
        return Section(
            slug="loss",
            kind="loss",
            label="A loss",
            action=self._address("loss"),
            form=LossForm(auto_id="loss-%s"),
            large="kind,mass_mg",
        )

    def _after(self) -> list[Section]:
        if self._found.entries.weighing is not None:
            return [
                Section(
                    slug="finish",
                    kind="finish",
                    label="Finish",
                    action=self._address("finish"),
                    form=PlainForm(auto_id="finish-%s"),
                )
            ]
        made_mg = yield_of(self._batch, self._found.entries).theoretical_mg
        scale = self._scale_for(made_mg)
        return [
            Section(
                slug="yield",
                kind="yield",
                label="What came out",
                action=self._address("weigh"),
                form=YieldForm(
                    auto_id="yield-%s",
                    initial={"scale": scale and scale.pk, **self._in_vessel()},
                ),
                large="gross_mg,tare_mg",
                chosen=[
                    *([scale.name] if scale else []),
                    *([self._vessel.name] if self._vessel else []),
                ],
            )
        ]

    def _address(self, name: str, *arguments: object) -> str:
        return reverse(f"batches:{name}", args=[self._batch.number, *arguments])

    @cached_property
    def _today(self) -> datetime.date:
        return local_day(timezone.now())

    @cached_property
    def _scales(self) -> list[Instrument]:
        return list(scales())

    @cached_property
    def _weighings(self) -> list[Charge | BulkWeighing]:
        return [*self._found.entries.charges, *self._found.entries.weighings]

    @cached_property
    def _vessel(self) -> Vessel | None:
        """The vessel that was last weighed in this batch, empty or with a charge."""
        weighed = [row for row in self._weighings if row.vessel_id is not None]
        if weighed:
            last = max(weighed, key=lambda row: row.entered_at).vessel
            return last if last and last.in_use else None
        point = self._tare_point
        return point.tare.vessel if point and point.tare else None

    @cached_property
    def _tare_point(self) -> HoldPoint | None:
        return self._found.points.get(HoldPoint.Point.TARE)

    def _in_vessel(self) -> dict[str, Any]:
        """Return the vessel and its tare to begin with, as they would be typed."""
        if self._vessel is None:
            return {}
        return {"vessel": self._vessel.pk, "tare_mg": typed(self._vessel.tare_mg)}

    def _scale_for(self, net_mg: int | None) -> Instrument | None:
        """Return the scale used last in this batch if it carries this, else another."""
        used = [row.scale_id for row in self._weighings]
        point = self._tare_point
        last = used[-1] if used else point and point.scale_id
        gross_mg = (net_mg or 0) + (self._vessel.tare_mg if self._vessel else 0)
        carry = [
            one
            for one in self._scales
            if one.capacity is None or milligrams(one.capacity) >= gross_mg
        ]
        known = [one for one in carry if one.pk == last]
        return next(iter([*known, *carry, *self._scales]), None)

    def _instrument_for(self, characteristic: str) -> Instrument | None:
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
