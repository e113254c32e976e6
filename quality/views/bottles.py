"""The address on a bottle: public page without an account, whole history with one."""

from __future__ import annotations

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import urlencode

from batches import trace
from batches.lifecycle import BatchStatus, BottleStatus
from batches.models import Bottle
from batches.services import bottle_doubts, scans
from producer.codes import BOTTLE_LENGTH, is_bottle_code, normalise
from producer.models import User
from producer.reads import only_looks
from producer.services.intake import current_certificates
from producer.views.acts import read_only
from quality.services import bottle_now
from quality.services.recalling import recalls_of_bottle
from quality.views import bottle_public

LONGEST = 4 * BOTTLE_LENGTH  # characters of a typed code, with whatever is between


@login_not_required
@read_only
@only_looks
def bottle(request: HttpRequest, code: str) -> HttpResponse:
    """Show a bottle by its code, however it was typed."""
    bare = normalise(code[:LONGEST])
    if not isinstance(request.user, User):
        premises = getattr(request, "premises", None)
        return bottle_public.page(request, bare, bottle_public.contact_of(premises))
    if not is_bottle_code(bare):
        return _missing(request, bare)
    found = Bottle.objects.listed().select_related("place").filter(code=bare).first()
    if found is None:
        scans.count_unknown(bare)
        return _missing(request, bare)
    if code != bare:
        return redirect("quality:bottle", bare)
    return render(request, "quality/bottle.html", _inside(found, request.user))


@login_not_required
@read_only
def bottle_typed(request: HttpRequest) -> HttpResponse:
    """Go to the page of the code that was typed in, or ask for one."""
    typed = normalise(request.GET.get("code", "")[:LONGEST])
    code = "".join(sign for sign in typed if sign.isalnum())
    if not code:
        return bottle_public.ask(request)
    asked = request.GET.get("lang")
    question = f"?{urlencode({'lang': asked})}" if asked else ""
    return redirect(reverse("quality:bottle", args=[code]) + question)


def _missing(request: HttpRequest, code: str) -> HttpResponse:
    """Say to somebody of the house that no bottle has this code, and what to do."""
    facts = {"code": code, "is_well_formed": is_bottle_code(code)}
    return render(request, "quality/bottle_missing.html", facts, status=404)


def _inside(found: Bottle, user: User) -> dict[str, object]:
    lot, batch = found.filling_lot, found.filling_lot.batch
    recalls = recalls_of_bottle(found)
    doubts = list(bottle_doubts.of_bottle(found))
    still_open = [doubt for doubt in doubts if not hasattr(doubt, "end")]
    genealogy = trace.trace(batch.stock)
    certificates = current_certificates(genealogy.lots)
    times, last_scan = scans.times_scanned(found)
    today = timezone.localdate()
    next_act = bottle_now.next_of(
        found, recalls=recalls, doubts=still_open, today=today
    )
    return {
        "bottle": found,
        "lot": lot,
        "batch": batch,
        "version": batch.formula_version,
        "recalls": recalls,
        "destroyed": found.status == BottleStatus.DESTROYED,
        "held": found.status == BottleStatus.ON_HOLD
        or batch.status != BatchStatus.RELEASED,
        "past_use_by": lot.use_by < today,
        "doubts": doubts,
        "doubted": bool(still_open),
        "next": next_act,
        "next_at": next_act.at if next_act.is_for(user) else "",
        "where": bottle_now.where_is(
            found.status,
            found.consignee.name if found.consignee else "",
            found.place.name if found.place else "",
        ),
        "sisters": bottle_now.sisters_of(found),
        "copies": bottle_now.copies_of(found),
        "times": times,
        "last_scan": last_scan,
        "genealogy": genealogy,
        "lots": [(raw, certificates.get(raw.pk)) for raw in genealogy.lots],
        "events": found.events.select_related(
            "entered_by__person",
            "dispatch__consignee",
            "dispatch__taken_back__entered_by__person",
            "taken_back__entered_by__person",
            "place",
        ),
        "siblings": lot.count - 1,
    }
