"""Raw lots: the decision about them."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse

from producer.forms.lots import DecisionForm
from producer.models import RawLot, Right
from producer.services import intake
from producer.templatetags.kettlebook import day, mass, number
from producer.views import acts
from producer.views.acts import needs, user_of
from producer.views.lots import lot_by_code, page_of
from quality.services import goods

DECISION_WORDS = {
    (RawLot.Status.QUARANTINE, RawLot.Status.RELEASED): "Release it for use",
    (RawLot.Status.QUARANTINE, RawLot.Status.REJECTED): "Reject it",
    (RawLot.Status.RELEASED, RawLot.Status.ON_HOLD): "Put it on hold",
    (RawLot.Status.ON_HOLD, RawLot.Status.RELEASED): "Lift the hold",
    (RawLot.Status.ON_HOLD, RawLot.Status.REJECTED): "Reject it",
}


@needs(Right.REVIEWER)
def lot_decide(request: HttpRequest, code: str) -> HttpResponse:
    """Release, reject or hold a lot."""
    found = lot_by_code(code)
    choices = [
        (str(new), words)
        for (old, new), words in DECISION_WORDS.items()
        if old == found.status
    ]
    return acts.handle(
        request,
        DecisionForm(request.POST or None, choices=choices),
        do=lambda facts, submission: goods.decide_lot(
            by=user_of(request), lot=found, submission=submission, **facts
        ),
        then=page_of,
        said=_said,
        home=page_of(found),
        title=f"Decide about {found.code}",
        submit="Decide",
        template="quality/lot_decide.html",
        context={
            "lead": f"{found.material}, {found.supplier}, lot {found.supplier_lot}."
            " Look at the container, the quantity and the certificate.",
            "facts": _decision_facts(found),
            "findings": goods.findings_of(found),
        },
    )


def _said(lot: RawLot) -> str:
    words = f"{lot.code} is {lot.get_status_display()}."
    if lot.status != RawLot.Status.RELEASED:
        return words
    return f"{words} {goods.warnings(lot)}".strip()


def _decision_facts(lot: RawLot) -> list[tuple[str, str]]:
    certificate = intake.current_certificate(lot)
    facts = [
        ("Now", lot.get_status_display()),
        ("On hand", mass(lot.stock.on_hand_mg)),
        ("Expiry date", day(lot.expires_on)),
        ("Retest date", day(lot.retest_on)),
        ("Certificate", f"version {certificate.version}" if certificate else "none"),
    ]
    if certificate and certificate.assay_percent is not None:
        words = f"{number(certificate.assay_percent)} %"
        facts.append(("Assay", f"{words}, {certificate.get_assay_basis_display()}"))
    if certificate and certificate.saponification_value is not None:
        words = f"{number(certificate.saponification_value)} mg KOH/g"
        facts.append(("Saponification value", words))
    return facts
