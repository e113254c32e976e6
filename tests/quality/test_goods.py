"""Raw lots held against the limits of their material when somebody decides."""

from __future__ import annotations

import uuid
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.test import Client
from django.urls import reverse

from producer.errors import Conflict, Refusal
from producer.models import JournalEntry, Material, RawLot
from producer.services import intake
from quality.services import goods
from quality.services.judgement import Finding
from quality.statistics.conformity import Verdict
from tests import lab, make, uploads
from tests.doors.pages import page_of

pytestmark = pytest.mark.django_db


def lot_with(crew: make.Crew, material: Material, **certificate: Any) -> RawLot:
    lot = make.held_lot(crew, material)
    intake.record_certificate(
        by=crew.maker,
        lot=lot,
        values=make.certificate_values(material, **certificate),
        upload=uploads.pdf(),
    )
    return lot


def only(lot: RawLot) -> Finding:
    (found,) = goods.findings_of(lot)
    return found


def release(crew: make.Crew, lot: RawLot) -> RawLot:
    return goods.decide_lot(by=crew.reviewer, lot=lot, new="released", reason="seen")


# ------------------------------------------------------------------ assay


@pytest.mark.parametrize(
    ("assay", "verdict"),
    # ± 0.5 rectangular, so U = 2·0.5/√3 = 0.577
    [
        ("88.6", Verdict.PASS),
        ("88.5", Verdict.CONDITIONAL_PASS),
        ("87.5", Verdict.CONDITIONAL_FAIL),
        ("87.4", Verdict.FAIL),
    ],
)
def test_an_assay_is_judged_with_the_plus_minus_of_its_certificate(
    crew: make.Crew, assay: str, verdict: Verdict
) -> None:
    material = make.potash(crew.maker)
    lab.limit(crew, material, "assay", lower="88")
    lot = lot_with(
        crew, material, assay_percent=Decimal(assay), assay_half_width=Decimal("0.5")
    )
    found = only(lot)
    assert found.verdict is verdict
    assert found.value == Decimal(assay)
    assert found.standard_uncertainty == Decimal("0.288675")
    assert "certificate version 1" in found.origin.lower()
    assert "Entered by Mirja Aalto" in found.origin
    if verdict.acceptable:
        assert release(crew, lot).status == "released"
    else:
        with pytest.raises(
            Refusal, match=r"released\. Assay.*Reject the lot, or titrate it yourself"
        ):
            release(crew, lot)
        assert RawLot.objects.get(pk=lot.pk).status == "quarantine"


def test_a_minimum_is_the_middle_of_what_it_may_be(crew: make.Crew) -> None:
    material = make.potash(crew.maker)
    lab.limit(crew, material, "assay", lower="88")
    stated = {"assay_percent": Decimal(85), "assay_is_minimum": True}
    found = only(lot_with(crew, material, **stated))
    assert found.value is not None
    assert found.value > Decimal(85)
    assert found.standard_uncertainty is not None
    low = found.value - found.standard_uncertainty * Decimal(3).sqrt()
    assert low == pytest.approx(Decimal(85), abs=Decimal("0.51"))


def test_carbonate_that_an_assay_counts_is_reckoned_off(crew: make.Crew) -> None:
    material = make.potash(crew.maker)
    lab.limit(crew, material, "assay", lower="89.5")
    plain = lot_with(crew, material)
    counted = lot_with(
        crew,
        material,
        assay_basis="total_alkali",
        carbonate_percent=Decimal(1),
    )
    assert only(plain).verdict is Verdict.CONDITIONAL_PASS
    assert only(counted).verdict is Verdict.CONDITIONAL_FAIL
    assert only(counted).value == pytest.approx(Decimal("89.188"), abs=Decimal("0.001"))


def test_the_own_titration_is_judged_where_it_counts(crew: make.Crew) -> None:
    material = make.potash(crew.maker)
    lab.limit(crew, material, "assay", lower="89")
    lot = lot_with(crew, material, assay_percent=Decimal(85))
    assert only(lot).verdict is Verdict.FAIL
    lab.titration(crew, lot.stock, unusual="their certificate is of another lot")
    found = only(lot)
    assert found.acceptable
    assert found.origin.startswith("Own titration of")
    assert "by your titration" in found.plain
    assert release(crew, lot).status == "released"


# ------------------------------------------------------------------ oils


def test_a_saponification_value_outside_stops_the_release(crew: make.Crew) -> None:
    material = make.sunflower(crew.maker)
    lab.limit(crew, material, "saponification_value", lower="188", upper="194")
    good = lot_with(crew, material, saponification_value=Decimal(191))
    assert release(crew, good).status == "released"
    bad = lot_with(crew, material, saponification_value=Decimal(199))
    with pytest.raises(Refusal, match="Saponification value 199"):
        release(crew, bad)


def test_the_published_range_is_no_result(crew: make.Crew) -> None:
    material = make.coconut(crew.maker)
    lab.limit(crew, material, "saponification_value", lower="248", upper="265")
    lot = make.held_lot(crew, material)
    assert only(lot).verdict is None
    with pytest.raises(Refusal, match="than the published range"):
        release(crew, lot)


def test_a_limit_that_warns_is_told_and_recorded(
    crew: make.Crew, client: Client
) -> None:
    material = make.sunflower(crew.maker)
    lab.limit(crew, material, "saponification_value", upper="190", effect="warn")
    lot = lot_with(crew, material, saponification_value=Decimal(195))
    client.force_login(crew.reviewer)
    address = reverse("quality:lot_decide", args=[lot.code])
    page = page_of(client.get(address))
    assert "195 mg KOH/g by its certificate is too high" in page.words
    sent = {"new": "released", "reason": "seen", "submission": str(uuid.uuid4())}
    done = page_of(client.post(address, sent, follow=True))
    assert f"{lot.code} is released. Saponification value 195" in done.words
    entry = JournalEntry.objects.latest("pk")
    assert entry.act == "raw lot released"
    (kept,) = entry.after_values["judgements"]
    assert kept["verdict"] == "fail"
    assert kept["limit"]["effect"] == "warn"
    assert kept["limit"]["version"] == 1
    assert kept["value"] == "195.000"


# ------------------------------------------------------------------ which decisions


def test_without_limits_a_lot_is_released_as_before(crew: make.Crew) -> None:
    lot = make.held_lot(crew, make.water(crew.maker))
    assert goods.findings_of(lot) == []
    release(crew, lot)
    assert "judgements" not in JournalEntry.objects.latest("pk").after_values


def test_a_lot_outside_its_limit_can_be_rejected_and_held(crew: make.Crew) -> None:
    material = make.potash(crew.maker)
    lot = lot_with(crew, material)
    release(crew, lot)
    lab.limit(crew, material, "assay", lower="99")
    lot.refresh_from_db()
    goods.decide_lot(by=crew.reviewer, lot=lot, new="on_hold", reason="weak")
    with pytest.raises(Refusal, match="cannot be released"):
        release(crew, lot)  # the newest limit holds when the hold is lifted
    goods.decide_lot(by=crew.reviewer, lot=lot, new="rejected", reason="weak")
    with pytest.raises(Conflict):
        release(crew, lot)


def test_only_a_reviewer_decides(crew: make.Crew) -> None:
    lot = make.held_lot(crew, make.water(crew.maker))
    with pytest.raises(PermissionDenied):
        goods.decide_lot(by=crew.maker, lot=lot, new="released", reason="mine")


# ------------------------------------------------------------------ pages


def test_the_page_of_a_lot_shows_each_judgement(
    crew: make.Crew, client: Client
) -> None:
    material = make.potash(crew.maker)
    lab.limit(crew, material, "assay", lower="95", method="acid to two end points")
    lot = lot_with(crew, material)
    client.force_login(crew.maker)
    page = page_of(client.get(reverse("producer:lot", args=[lot.code])))
    for words in (
        "Against the limits",
        "90 % by its certificate is too low",
        "that can react, 90 % ± 0.58 % lies outside the limit of at least 95 %: fail",
        "Limit version 1: acid to two end points",
        "stops the release",
        "Guard band of the expanded uncertainty",
        "Limits of potash flakes",
    ):
        assert words in page.words, words


def test_a_lot_of_water_has_no_such_block(crew: make.Crew, client: Client) -> None:
    lot = make.held_lot(crew, make.water(crew.maker))
    client.force_login(crew.maker)
    page = page_of(client.get(reverse("producer:lot", args=[lot.code])))
    assert "Against the limits" not in page.words


def test_the_decision_is_refused_on_the_page_with_the_sentence(
    crew: make.Crew, client: Client
) -> None:
    material = make.potash(crew.maker)
    lab.limit(crew, material, "assay", lower="95")
    lot = lot_with(crew, material)
    client.force_login(crew.reviewer)
    address = reverse("quality:lot_decide", args=[lot.code])
    sent = {"new": "released", "reason": "seen", "submission": str(uuid.uuid4())}
    answer = page_of(client.post(address, sent))
    assert f"{lot.code} cannot be released." in answer.words
    assert RawLot.objects.get(pk=lot.pk).status == "quarantine"
