"""What was signed stands on the review page, whatever the registers say later."""

from __future__ import annotations

import json
from decimal import Decimal

import pytest
from django.test import Client
from django.urls import reverse

from batches.models import Batch
from producer.errors import Conflict
from producer.models import Instrument, Premises
from quality.models import Characteristic, Signature
from quality.services import as_signed, record, reviewing
from quality.services.alkali import alkali_of
from quality.services.outcome import came_out
from quality.services.reviewing import Review
from quality.statistics.conformity import Verdict
from tests import make
from tests.doors.pages import page_of, text_of
from tests.quality.pots import free_alkali

pytestmark = pytest.mark.django_db

TODAY = "By the registers as they are today"
STANDS = "Computed with today’s registers; what was signed stands on the review page"


def coarser_scale() -> None:
    """Write a ± into the register that the scale did not have when it weighed."""
    Instrument.objects.filter(kind="scale").update(bias_half_width=Decimal(40))


def review(crew: make.Crew, batch: Batch) -> Review:
    return reviewing.review_of(make.fresh(batch), by=crew.reviewer)


def words_of(crew: make.Crew, name: str, batch: Batch) -> str:
    client = Client()
    client.force_login(crew.reviewer)
    return page_of(client.get(reverse(name, args=[batch.number]))).words


def test_the_record_keeps_limits_risks_level_and_soap_of_the_day(
    crew: make.Crew,
) -> None:
    batch = make.cooked_batch(crew)
    known, found = alkali_of(batch), came_out(batch)
    make.sign(crew.reviewer, batch)
    kept = record.part(Signature.objects.get().record, "computed")
    assert kept["limits"] == {
        "free_alkali_percent": "0.25",
        "unsaponified_percent": "1",
        "risk_to_warn": "0.05",
        "risk_to_stop": "0.2",
    }
    assert known.over is not None
    assert known.under is not None
    assert float(kept["risks"]["free_alkali"]) == pytest.approx(known.over, rel=1e-5)
    assert float(kept["risks"]["unsaponified"]) == pytest.approx(known.under, rel=1e-5)
    assert kept["level"] == known.level
    assert found.lowest is not None
    assert float(kept["lowest_soap_content_percent"]) == pytest.approx(
        float(found.lowest), rel=1e-5
    )
    assert kept["free_alkali"] is None


def test_a_changed_register_does_not_change_what_was_signed(crew: make.Crew) -> None:
    batch = make.cooked_batch(crew)
    budget = alkali_of(batch).weighed
    assert budget is not None
    make.sign(crew.reviewer, batch)
    signature = Signature.objects.get()
    before = as_signed.as_signed(signature)
    assert as_signed.differences(before, review(crew, batch)) == []
    coarser_scale()
    after = as_signed.as_signed(signature)
    assert after == before
    assert {row.verdict for row in after.rows} == {Verdict.PASS}
    live = review(crew, batch)
    today = {one.characteristic: one.verdict for one in live.findings}
    assert today[Characteristic.YIELD_VARIANCE] is Verdict.CONDITIONAL_PASS
    said = " ".join(as_signed.differences(after, live))
    assert "was signed as “pass”" in said
    assert "it would be “conditional pass”" in said
    assert "Excess alkali was signed as “low risk”" in said


def test_the_review_page_shows_what_was_signed_before_what_is_today(
    crew: make.Crew,
) -> None:
    batch = make.cooked_batch(crew)
    free_alkali(batch, "0.1", "0.008")
    assert TODAY not in words_of(crew, "quality:review", batch)
    make.sign(crew.reviewer, make.fresh(batch))
    signed_excess = "g left over (k = 2)"
    coarser_scale()
    client = Client()
    client.force_login(crew.reviewer)
    response = client.get(reverse("quality:review", args=[batch.number]))
    page = page_of(response)
    head, _, tail = page.words.partition(TODAY)
    assert "As signed on" in head
    assert f"by {crew.reviewer.person.name}" in head
    assert "Free potassium hydroxide by titration 0.1" in head
    assert signed_excess in head
    assert "0.0 ± 3.8 g left over" in head
    assert "Soap content" in head
    assert "What was signed stands" in head
    assert "conditional pass" in tail
    assert "0.0 ± 3.8 g" not in tail.partition("Signatures")[0]
    assert f"<details><summary>{TODAY}</summary>" in text_of(response)


def test_batch_and_alkali_page_say_where_the_signed_figures_stand(
    crew: make.Crew,
) -> None:
    batch = make.cooked_batch(crew)
    for name in ("batches:batch", "quality:alkali"):
        assert STANDS not in words_of(crew, name, batch)
    make.sign(crew.reviewer, batch)
    for name in ("batches:batch", "quality:alkali"):
        assert STANDS in words_of(crew, name, batch)


def test_the_decision_that_judged_comes_first_and_a_hold_does_not(
    crew: make.Crew,
) -> None:
    batch = make.cooked_batch(crew)
    make.signed(crew.reviewer, batch, "release", "hold")
    first = as_signed.deciding(Signature.objects.order_by("pk"))
    assert first is not None
    assert first.meaning == "release"
    said = words_of(crew, "quality:review", batch)
    assert said.count("What stood in the record then") == 1  # that of the hold
    assert as_signed.deciding([]) is None


@pytest.mark.parametrize("lacking", ["computed", "most of it"])
def test_a_record_from_before_figures_were_kept_is_shown_without_them(
    crew: make.Crew, lacking: str
) -> None:
    batch = make.cooked_batch(crew)
    make.sign(crew.reviewer, batch)
    signature = Signature.objects.get()
    old = json.loads(signature.record)
    computed = old.pop("computed")
    if lacking == "most of it":
        first = ("lye_discount", "excess_alkali_g", "soap_content_percent")
        old["computed"] = {name: computed[name] for name in first}
    signature.record = json.dumps(old)
    shown = as_signed.as_signed(signature)
    assert len(shown.rows) == 3
    names = [name for name, _ in shown.figures]
    assert names == (
        []
        if lacking == "computed"
        else ["Potassium hydroxide by weighing", "Soap content"]
    )
    assert as_signed.differences(shown, review(crew, batch)) == []


def test_figures_take_the_decimal_mark(crew: make.Crew) -> None:
    make.sign(crew.reviewer, make.cooked_batch(crew))
    shown = dict(as_signed.as_signed(Signature.objects.get(), mark=",").figures)
    assert shown["Potassium hydroxide by weighing"].startswith("0,0 ± 3,8 g left")
    assert "Risk of more than 0,25 % free potassium hydroxide" in shown


# ------------------------------------------------- the digest of what was read


@pytest.mark.parametrize(
    "change",
    [
        {"free_alkali_limit_percent": Decimal("0.30")},
        {"unsaponified_limit_percent": Decimal("1.10")},
        {"risk_to_stop_percent": Decimal(25)},
    ],
)
def test_changed_limits_and_risks_are_a_change_since_the_page_was_read(
    crew: make.Crew, change: dict[str, Decimal]
) -> None:
    batch = make.cooked_batch(crew)
    seen = review(crew, batch)
    Premises.objects.update(**change)
    again = review(crew, batch)
    assert again.obstacles == seen.obstacles
    assert again.notes == seen.notes
    with pytest.raises(Conflict, match="changed since you read it"):
        make.sign(crew.reviewer, batch, seen=seen.digest)
    make.sign(crew.reviewer, batch, seen=again.digest)  # control


def test_a_changed_uncertainty_is_a_change_though_no_verdict_turns(
    crew: make.Crew,
) -> None:
    batch = make.cooked_batch(crew)
    seen = review(crew, batch)
    Instrument.objects.filter(kind="scale").update(bias_half_width=Decimal("0.001"))
    again = review(crew, batch)
    assert again.notes == seen.notes
    assert again.digest != seen.digest


def test_what_is_signed_of_the_figures_is_what_was_read(crew: make.Crew) -> None:
    batch = make.cooked_batch(crew)
    read = review(crew, batch)
    make.sign(crew.reviewer, batch, seen=read.digest)
    kept = record.part(Signature.objects.get().record, "computed")
    assert kept == read.computed
