"""The address on a bottle: public page without an account, whole history with one."""

from __future__ import annotations

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from batches import trace
from batches.lifecycle import BatchStatus, BottleStatus
from batches.models import Bottle
from producer.codes import is_bottle_code, normalise
from producer.models import User
from producer.services.intake import current_certificates
from producer.views.acts import read_only
from quality.services.recalling import recalls_of_bottle


@login_not_required
@read_only
def bottle(request: HttpRequest, code: str) -> HttpResponse:
    """Show a bottle by its code, however it was typed."""
    bare = normalise(code)
    if not is_bottle_code(bare):
        return render(request, "quality/bottle_mistyped.html", status=404)
    found = Bottle.objects.listed().filter(code=bare).first()
    if found is None:
        return render(request, "quality/bottle_unknown.html", status=404)
    if code != bare and isinstance(request.user, User):
        return redirect("quality:bottle", bare)
    recalls = recalls_of_bottle(found)
    context = {
        "bottle": found,
        "lot": found.filling_lot,
        "batch": found.filling_lot.batch,
        "version": found.filling_lot.batch.formula_version,
        "recalls": recalls,
        "destroyed": found.status == BottleStatus.DESTROYED,
        "stop": bool(recalls)
        or found.status in {BottleStatus.DESTROYED, BottleStatus.ON_HOLD}
        or found.filling_lot.batch.status != BatchStatus.RELEASED,
    }
    if not isinstance(request.user, User):
        return render(request, "quality/bottle_public.html", context)
    return render(request, "quality/bottle.html", {**context, **_history(found)})


def _history(found: Bottle) -> dict[str, object]:
    genealogy = trace.trace(found.filling_lot.batch.stock)
    certificates = current_certificates(genealogy.lots)
    return {
        "genealogy": genealogy,
        "lots": [(lot, certificates.get(lot.pk)) for lot in genealogy.lots],
        "events": found.events.select_related(
            "entered_by__person", "dispatch__consignee"
        ),
        "siblings": found.filling_lot.count - 1,
    }
