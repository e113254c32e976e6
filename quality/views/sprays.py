"""Sprays for own use: the log, a tank that was mixed, a leaf that was tried."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django.http import HttpRequest, HttpResponse, StreamingHttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone

from batches.chemistry.doses import spray_rate_words
from batches.chemistry.errors import ChemistryError
from batches.models import Batch, PatchTest, SprayMix
from batches.services import spraying
from batches.views.batches import batch_by_number, page_of
from producer.forms.base import ReasonForm
from producer.models import Premises, Right
from producer.quantities import grams
from producer.tables.base import show
from producer.templatetags.kettlebook import mass, moment, number, volume
from producer.views import acts
from producer.views.acts import Mind, needs, read_only, user_of
from quality.documents import sprays as documents
from quality.forms.liquids import SprayForm
from quality.forms.sprays import (
    AmendMixForm,
    LeftoversForm,
    LookForm,
    MixForm,
    PatchTestForm,
)
from quality.services import dosing, spray_mixes
from quality.tables.sprays import MixTable, PatchTestTable

LOG = "quality:sprays"


@read_only
def sprays(request: HttpRequest) -> HttpResponse:
    """Show the log: tanks mixed and leaves tried."""
    return render(
        request,
        "quality/sprays.html",
        {
            "mixes": show(request, MixTable(documents.standing_mixes())),
            "tests": show(
                request,
                PatchTestTable(
                    documents.standing_tests(),
                    may=user_of(request).may(Right.MAKER),
                    now=timezone.now(),
                ),
            ),
        },
    )


@read_only
def sprays_csv(request: HttpRequest) -> StreamingHttpResponse:
    """Stream the log as CSV, a mix a line."""
    return StreamingHttpResponse(
        documents.log_csv(),
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": 'attachment; filename="sprays.csv"'},
    )


@read_only
def sprays_pdf(request: HttpRequest) -> HttpResponse:
    """Print the log."""
    return HttpResponse(
        documents.log_pdf(printed_by=user_of(request).person.name),
        content_type="application/pdf",
        headers={"Content-Disposition": 'inline; filename="sprays.pdf"'},
    )


@needs(Right.MAKER)
def mix_new(request: HttpRequest, number: str) -> HttpResponse:
    """Reckon a tank (by GET), and record the one that was mixed (by POST)."""
    batch = batch_by_number(number)
    page: dict[str, Any] = {
        "batch": batch,
        "version": batch.formula_version,
        "not_now": spray_mixes.why_not_mixed(batch, timezone.now()),
    }
    initial: dict[str, Any] = {"hardness": Premises.objects.get().water_hardness}
    reckoned = _reckoned(request, batch, page, initial)
    return acts.handle(
        request,
        MixForm(request.POST or None, batch=batch, initial=initial | reckoned),
        do=lambda facts, submission: spray_mixes.mix(
            by=user_of(request), source=batch, submission=submission, **facts
        ),
        then=_page_of_mix,
        said=_said,
        home=page_of(batch),
        title=f"Mix a spray of {batch.number}",
        submit="Record this tank",
        template="quality/mix_new.html",
        context=page,
    )


def _reckoned(
    request: HttpRequest, batch: Batch, page: dict[str, Any], first: dict[str, Any]
) -> dict[str, Any]:
    """Put question and answer of a tank on the page; return what was asked for."""
    asked = request.method != "POST" and request.GET.get("of") == SprayForm.KIND
    form = SprayForm(request.GET if asked else None, initial=first)
    page["spray"] = form
    try:
        page["product"] = product = dosing.product_of(batch)
    except dosing.NotKnownError as reason:
        page["not_known"] = str(reason)
        return {}
    if not form.is_bound or not form.is_valid():
        return {}
    facts = form.facts()
    try:
        page["spray_answer"] = dosing.spray(product, **facts)
    except ChemistryError as error:
        form.add_error(None, str(error))
        return {}
    return {
        "tank_ul": f"{facts['litres']:f} l",
        "target_g_per_l": facts["rate"],
        "hardness": facts["hardness"],
        "unit": facts["unit"],
    }


def _said(row: SprayMix) -> str:
    done = f"{row.code} is recorded: {mass(row.mass_mg)} of {row.source.code}."
    found = spray_mixes.minds(row)
    return Mind(" ".join([done, *found])) if found else done


def _page_of_mix(row: SprayMix) -> str:
    return reverse("quality:mix", args=[row.code])


def mix_by_code(code: str) -> SprayMix:
    """Return the row of a mix that stands, or was taken back; or answer 404."""
    rows = SprayMix.objects.select_related(
        "source__batch", "portion", "entered_by__person"
    )
    return get_object_or_404(rows, code=code.upper(), superseded_by__isnull=True)


@read_only
def mix(request: HttpRequest, code: str) -> HttpResponse:
    """Show a mix: what was weighed and why, and what it said before."""
    row = mix_by_code(code)
    earlier = SprayMix.objects.filter(code=row.code).exclude(pk=row.pk)
    return render(
        request,
        "quality/mix.html",
        {
            "mix": row,
            "rate": None if row.is_void else spray_mixes.rate_of(row),
            "soap_mg": round(row.mass_mg * row.soap_percent / 100),
            "words": spray_rate_words(row.target_g_per_l),
            "minds": spray_mixes.minds(row),
            "earlier": earlier.select_related("entered_by__person").order_by("-pk"),
        },
    )


@needs(Right.MAKER)
def mix_amend(request: HttpRequest, code: str) -> HttpResponse:
    """Correct a mix."""
    row = mix_by_code(code)
    return acts.handle(
        request,
        AmendMixForm(request.POST or None, initial=_of(row)),
        do=lambda facts, submission: spray_mixes.amend_mix(
            by=user_of(request),
            mix=row,
            reason=facts["reason"],
            changes={name: facts[name] for name in spray_mixes.CORRECTABLE},
            submission=submission,
        ),
        then=_page_of_mix,
        said=_said,
        home=_page_of_mix(row),
        title=f"Correct {row.code}",
        submit="Record the correction",
        context={"lead": "The stock follows what you write.", "cautions": ["spray"]},
    )


def _of(row: SprayMix) -> dict[str, Any]:
    kept = {name: getattr(row, name) for name in spray_mixes.CORRECTABLE}
    litres = Decimal(row.tank_ul) / spray_mixes.MICROLITRES
    return {
        **kept,
        "mass_mg": f"{grams(row.mass_mg).normalize():f} g",
        "tank_ul": f"{litres.normalize():f} l",
        "target_g_per_l": f"{row.target_g_per_l.normalize():f}",
        "hardness": f"{row.hardness.normalize():f}",
    }


@needs(Right.MAKER)
def mix_void(request: HttpRequest, code: str) -> HttpResponse:
    """Take a mix back."""
    row = mix_by_code(code)
    return acts.handle(
        request,
        ReasonForm(request.POST or None),
        do=lambda facts, submission: spray_mixes.amend_mix(
            by=user_of(request), mix=row, void=True, submission=submission, **facts
        ),
        then=_page_of_mix,
        said=lambda made: f"{made.code} is taken back; what it drew is in stock again.",
        home=_page_of_mix(row),
        title=f"Take {row.code} back",
        submit="Take it back",
        context={
            "lead": "Only what was never mixed is taken back.",
            "facts": [
                ("Plant and pest", f"{row.plant}, {row.pest}"),
                ("Product", f"{mass(row.mass_mg)} of {row.source.code}"),
                ("Tank", volume(row.tank_ul)),
                ("When", moment(row.observed_at)),
            ],
            "danger": True,
        },
    )


@needs(Right.MAKER)
def mix_leftovers(request: HttpRequest, code: str) -> HttpResponse:
    """Write down what was left of a tank."""
    row = mix_by_code(code)
    return acts.handle(
        request,
        LeftoversForm(request.POST or None, initial={"leftovers": row.leftovers}),
        do=lambda facts, submission: spray_mixes.note_leftovers(
            by=user_of(request), mix=row, submission=submission, **facts
        ),
        then=_page_of_mix,
        said="What was left is written down.",
        home=_page_of_mix(row),
        title=f"Leftovers of {row.code}",
        context={
            "lead": "A mixed spray is for the day. It goes on the plants it was mixed"
            " for, not into a drain, a ditch or a pond."
        },
    )


@needs(Right.MAKER)
def patch_test_new(request: HttpRequest, number: str) -> HttpResponse:
    """Record that one leaf was sprayed."""
    batch = batch_by_number(number)
    return acts.handle(
        request,
        PatchTestForm(
            request.POST or None,
            initial={"plant": request.GET.get("plant", "")[:120]},
        ),
        do=lambda facts, submission: spraying.begin_patch_test(
            by=user_of(request), source=batch, submission=submission, **facts
        ),
        then=lambda _: reverse(LOG),
        said=lambda row: f"{row.code} is begun. Look at the leaf after 24 to 48 hours.",
        home=page_of(batch),
        title=f"Try a spray of {batch.number} on one leaf",
        submit="Record the leaf",
        context={"cautions": ["spray"]},
    )


def patch_test_by_code(code: str) -> PatchTest:
    """Return the row of a patch test that stands, or was taken back; or answer 404."""
    rows = PatchTest.objects.select_related("source__batch")
    return get_object_or_404(rows, code=code.upper(), superseded_by__isnull=True)


@needs(Right.MAKER)
def patch_test_look(request: HttpRequest, code: str) -> HttpResponse:
    """Record how the leaf looks."""
    row = patch_test_by_code(code)
    return acts.handle(
        request,
        LookForm(request.POST or None),
        do=lambda facts, submission: spraying.look_at_patch_test(
            by=user_of(request), test=row, submission=submission, **facts
        ),
        then=lambda _: reverse(LOG),
        said=lambda made: (
            Mind(
                f"{made.code}: do not spray {made.plant} at"
                f" {number(made.target_g_per_l)} g/l or more."
            )
            if made.result == PatchTest.Result.HARMED
            else f"{made.code}: {made.plant} was unharmed at"
            f" {number(made.target_g_per_l)} g/l."
        ),
        home=reverse(LOG),
        title=f"Look at the leaf of {row.code}",
        context={"facts": _facts_of(row)},
    )


@needs(Right.MAKER)
def patch_test_void(request: HttpRequest, code: str) -> HttpResponse:
    """Take a patch test back."""
    row = patch_test_by_code(code)
    return acts.handle(
        request,
        ReasonForm(request.POST or None),
        do=lambda facts, submission: spraying.take_back_patch_test(
            by=user_of(request), test=row, submission=submission, **facts
        ),
        then=lambda _: reverse(LOG),
        said="The test is taken back; it stays in the journal.",
        home=reverse(LOG),
        title=f"Take {row.code} back",
        submit="Take it back",
        context={"facts": _facts_of(row), "danger": True},
    )


def _facts_of(row: PatchTest) -> list[tuple[str, str]]:
    return [
        ("Plant", row.plant),
        ("Soap", f"{number(row.target_g_per_l)} g/l of {row.source.code}"),
        ("Sprayed", moment(row.sprayed_at)),
        ("So far", row.get_result_display()),
    ]
