"""Registers, people and the journal."""

from __future__ import annotations

import dataclasses
import functools
from collections.abc import Callable
from typing import Any

import django_tables2 as tables
from django.db import models
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse

from producer.forms import registers as forms
from producer.models import (
    Consignee,
    Instrument,
    Material,
    Place,
    Premises,
    Right,
    Supplier,
    TareWeighing,
    Vessel,
)
from producer.services import registers as service
from producer.tables.base import (
    DayColumn,
    MassColumn,
    NumberColumn,
    YesNoColumn,
    link,
    show,
)
from producer.views import acts
from producer.views.acts import needs, read_only, user_of


@dataclasses.dataclass(frozen=True)
class Register:
    """A register: its model, form and the columns of its list."""

    model: type[models.Model]
    form: type[forms.RegisterForm]
    one: str
    many: str
    columns: tuple[str, ...]


REGISTERS = {
    "suppliers": Register(
        Supplier,
        forms.SupplierForm,
        "supplier",
        "Suppliers",
        ("name", "phone", "email"),
    ),
    "consignees": Register(
        Consignee,
        forms.ConsigneeForm,
        "consignee",
        "Consignees",
        ("name", "kind", "phone", "email"),
    ),
    "materials": Register(
        Material,
        forms.MaterialForm,
        "material",
        "Materials",
        ("name", "kind", "saponification_low", "saponification_high"),
    ),
    "instruments": Register(
        Instrument,
        forms.InstrumentForm,
        "instrument",
        "Instruments and test strips",
        ("name", "kind", "serial_or_lot", "resolution", "nominal", "in_use"),
    ),
    "vessels": Register(
        Vessel,
        forms.VesselForm,
        "vessel",
        "Vessels and their tares",
        ("name", "made_of", "tare_mg", "in_use"),
    ),
    "places": Register(
        Place,
        forms.PlaceForm,
        "place",
        "Places",
        ("name", "conditions", "in_use"),
    ),
}


# Registers whose entries have a page that everybody may read: its name, and words.
RECORDS = {
    "suppliers": ("quality:supplier", "lots and papers"),
    "consignees": ("quality:consignee", "what they hold"),
}


# Columns that are not shown as they are kept.
COLUMNS: dict[str, Callable[[], tables.Column]] = {
    "tare_mg": functools.partial(MassColumn, verbose_name="Tare, as written on it"),
    "resolution": NumberColumn,
    "nominal": NumberColumn,
    "in_use": YesNoColumn,
}


# Registers whose entries show more than their form.
TEMPLATES = {"vessels": "producer/vessel.html"}


def register_of(kind: str) -> Register:
    """Return the register with this name, or answer 404."""
    try:
        return REGISTERS[kind]
    except KeyError as error:
        raise Http404 from error


@read_only
def registers(request: HttpRequest) -> HttpResponse:
    """Show the way to every register."""
    return render(request, "producer/registers.html", {"registers": REGISTERS})


@read_only
def register(request: HttpRequest, kind: str) -> HttpResponse:
    """List a register."""
    found = register_of(kind)
    return render(
        request,
        "producer/register.html",
        {
            "kind": kind,
            "register": found,
            "table": show(request, _table(kind, found)),
        },
    )


def _table(kind: str, found: Register) -> tables.Table:
    columns: list[tuple[str, tables.Column]] = [
        (name, COLUMNS.get(name, tables.Column)()) for name in found.columns
    ]
    if kind == "instruments":
        columns.append(("good_until", DayColumn(orderable=False)))
        columns.append(
            ("checks", tables.Column(accessor="pk", orderable=False, empty_values=()))
        )
    if kind in RECORDS:
        columns.append(
            ("record", tables.Column(accessor="pk", orderable=False, empty_values=()))
        )
    made = tables.Table(
        found.model._default_manager.all(),
        extra_columns=columns,
        empty_text=f"No {found.one} is registered yet.",
    )
    made.columns["name"].render = lambda value, record: link(
        reverse("producer:register_entry", args=[kind, record.pk]), value
    )
    if kind in RECORDS:
        page, words = RECORDS[kind]
        made.columns["record"].render = lambda value: link(
            reverse(page, args=[value]), words
        )
    if kind == "instruments":
        made.columns["checks"].render = lambda value: link(
            reverse("quality:instrument", args=[value]), "± and checks"
        )
    return made


@needs(Right.MAKER)
def register_new(request: HttpRequest, kind: str) -> HttpResponse:
    """Add an entry to a register."""
    found = register_of(kind)
    return _edit(request, kind, found, found.form(request.POST or None), "registered")


@needs(Right.MAKER)
def register_entry(request: HttpRequest, kind: str, pk: int) -> HttpResponse:
    """Change an entry of a register; the journal keeps the old values."""
    found = register_of(kind)
    entry = get_object_or_404(found.model, pk=pk)
    form = found.form(request.POST or None, instance=entry)
    return _edit(request, kind, found, form, "changed")


def _edit(
    request: HttpRequest,
    kind: str,
    found: Register,
    form: forms.RegisterForm,
    done: str,
) -> HttpResponse:
    home = reverse("producer:register", args=[kind])
    return acts.handle(
        request,
        form,
        do=lambda facts, submission: _save(request, facts, submission),
        then=lambda _: home,
        said=lambda entry: f"{entry} is {done}.",
        home=home,
        title=f"{found.one.capitalize()}: {form.instance}".rstrip(": "),
        submit="Save",
        template=TEMPLATES.get(kind, "act.html"),
        context={
            "lead": _elsewhere(form.instance),
            "entry": form.instance,
            "weighings": _weighings(form.instance),
        },
    )


def _weighings(entry: models.Model) -> models.QuerySet[TareWeighing] | None:
    """Return what a vessel weighed empty, newest first; None for other entries."""
    if not isinstance(entry, Vessel) or entry._state.adding:
        return None
    rows = TareWeighing.objects.filter(vessel=entry).order_by("-pk")
    return rows.select_related("scale", "entered_by__person")


def _elsewhere(entry: models.Model) -> str:
    """Return a link to what else is known of an entry, where there is anything."""
    if entry._state.adding:
        return ""
    if isinstance(entry, Material):
        address = reverse("quality:material_limits", args=[entry.pk])
        return link(address, "The limits that its lots are held against")
    if isinstance(entry, Supplier):
        address = reverse("quality:supplier", args=[entry.pk])
        return link(address, "Their lots, papers and what went wrong")
    if isinstance(entry, Consignee):
        address = reverse("quality:consignee", args=[entry.pk])
        return link(address, "What they hold now")
    if not isinstance(entry, Instrument):
        return ""
    address = reverse("quality:instrument", args=[entry.pk])
    return link(address, "What its readings are worth, and its checks")


def _save(request: HttpRequest, facts: Any, submission: Any) -> Any:
    return service.save(by=user_of(request), submission=submission, **facts)


@needs(Right.OWNER)
def premises(request: HttpRequest) -> HttpResponse:
    """Change the premises: name, contact, poison centre, one-person rule."""
    entry = get_object_or_404(Premises, pk=1)
    return acts.handle(
        request,
        forms.PremisesForm(request.POST or None, instance=entry),
        do=lambda facts, submission: _save(request, facts, submission),
        then=lambda _: reverse("producer:registers"),
        said="The premises is changed.",
        home=reverse("producer:registers"),
        title="Premises",
        submit="Save",
    )
