"""The pot screen: one thing at a time, for a phone propped up at the stove."""

from __future__ import annotations

import dataclasses
import datetime
from collections.abc import Hashable, Sequence
from functools import cached_property
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone

from batches.forms.charging import FinishForm, UndoForm
from batches.forms.making import ChargeForm, LotsForm, ReadingForm, YieldForm
from batches.forms.mending import LossForm
from batches.forms.typed import typed
from batches.lifecycle import AT_THE_POT
from batches.models import Batch, WeighingStart
from batches.services import at_the_pot, planning, undoing
from batches.services.at_the_pot import Pot, pot_of
from batches.services.discrepancies import open_discrepancies, said
from batches.services.results import yield_of
from batches.services.tare_question import tare_question
from batches.views.at_hand import AtHand
from batches.views.batches import batch_by_number
from batches.views.charging import is_by_difference
from producer.forms.base import ActForm, PlainForm
from producer.models import Right, Vessel
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
    what the folded fields say already, in words. ``blocked`` says why nothing may be
    drawn, ``warning`` what stands in the way of weighing it, and ``next_tare`` is the
    last gross of the same vessel, as it would be typed.
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
    blocked: str = ""
    warning: str = ""
    next_tare: str = ""


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
    offer = undoing.offered(found.batch, user_of(request))
    undoable = offer.row
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
            "peak": offer.above,
            "unread": found.is_unread(timezone.now()),
            "read_every": at_the_pot.READ_EVERY // datetime.timedelta(minutes=1),
            "vessels": Vessel.objects.filter(in_use=True),
            "discrepancies": [
                (row, said(row)) for row in open_discrepancies(found.batch)
            ],
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
        self._at_hand = AtHand(found)
        self._choices: dict[Hashable, list[Any]] = {}

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

    def _form(self, form: ActForm) -> ActForm:
        """Return a form whose choices are read once, with those of the other forms."""
        for each in form.fields.values():
            field: Any = each
            rows = getattr(field, "queryset", None)
            if rows is None or rows.query.is_empty():
                continue
            key = (type(field), field.empty_label, str(rows.query))
            if key not in self._choices:
                self._choices[key] = list(field.choices)
            field.choices = self._choices[key]
        return form

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
            form=self._form(form),
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
            target=next(
                (one for one in self._found.plan.lines if one.line.pk == start.line_id),
                None,
            ),
            blocked=self._found.blocked.get(start.source_id, ""),
        )

    def _charge(self, target: planning.PlanLine) -> Section:
        position = target.line.position
        slug = at_the_pot.charge_step(position)
        at_hand, remaining_mg = self._at_hand, target.remaining_mg
        scale = at_hand.scale_for(remaining_mg)
        by_difference = is_by_difference(self._request, target)
        vessel = None if by_difference else at_hand.vessel
        next_tare_mg = at_hand.last_gross_mg if vessel else None
        form = ChargeForm(
            batch=self._batch,
            line=target.line,
            on=self._today,
            auto_id=f"{slug}-%s",
            initial={
                "source": target.source and target.source.pk,
                "scale": scale and scale.pk,
                "by_difference": by_difference,
                **({} if by_difference else at_hand.in_vessel()),
            },
        )
        return Section(
            slug=slug,
            kind="charge",
            label=target.name,
            action=self._address("charge", position),
            form=self._form(form),
            large="gross_mg,tare_mg",
            chosen=[
                *([target.source.code] if target.source else []),
                *([scale.name] if scale else []),
                *([vessel.name] if vessel else []),
            ],
            target=target,
            blocked=self._blocked(target),
            warning="" if by_difference else at_hand.too_heavy(remaining_mg),
            next_tare=typed(next_tare_mg) if next_tare_mg else "",
        )

    def _blocked(self, target: planning.PlanLine) -> str:
        source = target.source
        return self._found.blocked.get(source.pk, "") if source else ""

    def _reading(self, characteristic: str) -> Section:
        instrument = self._at_hand.instrument_for(characteristic)
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
            form=self._form(form),
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
        weighing = self._found.entries.weighing
        if weighing is not None:
            return [
                Section(
                    slug=at_the_pot.CAME_OUT,
                    kind=at_the_pot.CAME_OUT,
                    label="What came out: correct it",
                    action=self._address("weigh_amend", weighing.pk),
                    warning=tare_question(self._found.entries)
                    if self._found.is_impossible
                    else "",
                ),
                Section(
                    slug="finish",
                    kind="finish",
                    label="Finish",
                    action=self._address("finish"),
                    form=PlainForm(auto_id="finish-%s"),
                ),
            ]
        made_mg = yield_of(self._batch, self._found.entries).theoretical_mg
        scale, vessel = self._at_hand.scale_for(made_mg), self._at_hand.vessel
        return [
            Section(
                slug="yield",
                kind="yield",
                label="What came out",
                action=self._address("weigh"),
                form=self._form(
                    YieldForm(
                        auto_id="yield-%s",
                        initial={
                            "scale": scale and scale.pk,
                            **self._at_hand.in_vessel(),
                        },
                    )
                ),
                large="gross_mg,tare_mg",
                chosen=[
                    *([scale.name] if scale else []),
                    *([vessel.name] if vessel else []),
                ],
                warning=self._at_hand.too_heavy(made_mg),
            )
        ]

    def _address(self, name: str, *arguments: object) -> str:
        return reverse(f"batches:{name}", args=[self._batch.number, *arguments])

    @cached_property
    def _today(self) -> datetime.date:
        return local_day(timezone.now())
