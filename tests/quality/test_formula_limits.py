"""Limits that a formula may have beyond those it needs: free alkali, soap content."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError

from batches.models import Batch, FormulaVersion
from producer.errors import Refusal
from producer.models import Premises
from quality.models import Characteristic, Judgement, Signature
from quality.services import record, reviewing, signing
from quality.services.alkali import alkali_of
from quality.services.judging import Finding, findings
from quality.services.reviewing import Review
from quality.statistics.conformity import RULE, RULES, Verdict
from tests import lab, make
from tests.quality.pots import free_alkali

pytestmark = [pytest.mark.django_db, pytest.mark.any_engine]


def version_with(crew: make.Crew, characteristic: str, **facts: Any) -> FormulaVersion:
    version = make.paste_version(crew)
    lab.limit(crew, version, characteristic, **facts)
    return version


def review(crew: make.Crew, batch: Batch) -> Review:
    return reviewing.review_of(make.fresh(batch), by=crew.reviewer)


def finding(found: Review, characteristic: str) -> Finding:
    return next(one for one in found.findings if one.characteristic == characteristic)


# ------------------------------------------------------------------ free alkali


def test_the_limit_of_the_formula_takes_the_place_of_that_of_the_premises(
    crew: make.Crew,
) -> None:
    version = version_with(crew, "free_alkali", upper="0.05")
    batch = make.cooked_batch(crew, version)
    free_alkali(batch, "0.1", "0.002")  # the premises would let 0.25 % pass
    found = review(crew, batch)
    one = finding(found, "free_alkali")
    assert one.verdict is Verdict.FAIL
    assert "limit of at most 0.05 %" in one.sentence
    assert [text for text in found.obstacles if "Free potassium" in text] != []
    assert found.free_alkali is None  # not judged a second time
    assert found.computed["free_alkali"] is None
    assert not any("at most 0.25 %" in text for text in found.obstacles + found.notes)
    assert alkali_of(batch).limits.free_alkali_percent == 0.05
    with pytest.raises(Refusal, match=r"at most 0\.05 %"):
        make.sign(crew.reviewer, batch)


def test_without_a_limit_of_its_own_a_formula_is_held_to_that_of_the_premises(
    crew: make.Crew,
) -> None:
    batch = make.cooked_batch(crew)
    free_alkali(batch, "0.1", "0.002")
    found = review(crew, batch)
    assert found.free_alkali is not None
    assert not [one for one in found.findings if one.characteristic == "free_alkali"]
    assert alkali_of(batch).limits.free_alkali_percent == 0.25


def test_a_limit_that_holds_and_has_no_result_stops_the_release(
    crew: make.Crew,
) -> None:
    version = version_with(crew, "free_alkali", upper="0.2")
    batch = make.cooked_batch(crew, version)
    one = finding(review(crew, batch), "free_alkali")
    assert one.verdict is None
    assert one.stops
    with pytest.raises(Refusal, match="has not been titrated"):
        make.sign(crew.reviewer, batch)
    free_alkali(batch, "0.02", "0.002")
    make.sign(crew.reviewer, batch)


def test_a_limit_that_warns_and_has_no_result_asks_for_a_reason(
    crew: make.Crew,
) -> None:
    version = version_with(crew, "free_alkali", upper="0.2", effect="warn")
    batch = make.cooked_batch(crew, version)
    found = review(crew, batch)
    one = finding(found, "free_alkali")
    assert (one.stops, one.warns) == (False, True)
    assert one.sentence in found.notes
    assert found.obstacles == []
    assert found.needs_reason
    with pytest.raises(Refusal, match="Say why"):
        make.sign(crew.reviewer, batch, reason=" ")
    make.sign(crew.reviewer, batch, reason="the acid is on its way")


def test_above_a_limit_that_warns_it_is_released_with_a_reason(
    crew: make.Crew,
) -> None:
    version = version_with(crew, "free_alkali", upper="0.05", effect="warn")
    batch = make.cooked_batch(crew, version)
    free_alkali(batch, "0.1", "0.002")
    found = review(crew, batch)
    assert finding(found, "free_alkali").verdict is Verdict.FAIL
    assert finding(found, "free_alkali").sentence in found.notes
    assert found.obstacles == []
    make.sign(crew.reviewer, batch)
    row = Judgement.objects.get(characteristic="free_alkali")
    assert (row.verdict, row.effect) == ("fail", "warn")


def test_what_is_caustic_stays_stopped_whatever_the_limit_says(
    crew: make.Crew,
) -> None:
    version = version_with(crew, "free_alkali", upper="2", effect="warn")
    batch = make.cooked_batch(crew, version)
    free_alkali(batch, "0.6", "0.002")
    assert finding(review(crew, batch), "free_alkali").verdict is Verdict.PASS
    with pytest.raises(Refusal, match="to be taken as caustic"):
        make.sign(crew.reviewer, batch)


def test_a_titration_from_before_the_last_charge_does_not_count(
    crew: make.Crew,
) -> None:
    batch = make.open_batch(crew, version_with(crew, "free_alkali", upper="0.2"))
    make.charge_all(crew, batch)
    free_alkali(batch, "0.02", "0.002")
    lot = make.released_lot(crew, make.water(crew.maker))
    make.charge(crew, batch, lot.stock, 5000)
    one = next(f for f in findings(batch) if f.characteristic == "free_alkali")
    assert one.verdict is None
    assert "Titrate it again" in one.sentence


def test_the_judgement_of_a_titration_is_kept_and_proves_true(crew: make.Crew) -> None:
    version = version_with(crew, "free_alkali", upper="0.25")
    batch = make.cooked_batch(crew, version)
    free_alkali(batch, "0.2504", "0.000001")  # a row keeps three decimals
    found = finding(review(crew, batch), "free_alkali")
    assert found.verdict is Verdict.FAIL
    assert found.value == Decimal("0.251")  # rounded the way that keeps the outcome
    assert "0.2504 %" in found.sentence
    make.sign(crew.reviewer, batch, "reject")
    assert Judgement.objects.get(characteristic="free_alkali").value == found.value
    assert list(signing.faults()) == []


# ------------------------------------------------------------------ soap content


@pytest.mark.parametrize(
    ("sides", "verdict"),
    [
        ({"lower": "50"}, Verdict.PASS),
        ({"lower": "80"}, Verdict.FAIL),
        ({"upper": "50"}, Verdict.FAIL),
    ],
)
def test_the_soap_content_is_held_to_its_limit(
    crew: make.Crew, sides: dict[str, str], verdict: Verdict
) -> None:
    batch = make.cooked_batch(crew, version_with(crew, "soap_content", **sides))
    found = review(crew, batch)
    one = finding(found, "soap_content")
    budget = found.came_out.soap_content
    assert budget is not None
    assert one.value is not None
    assert float(one.value) == pytest.approx(budget.value, abs=6e-4)
    u = float(one.standard_uncertainty or 0)
    assert u == pytest.approx(budget.standard_uncertainty, abs=1e-6)
    assert one.verdict is verdict
    assert "most of it from the" in one.origin
    if verdict is Verdict.PASS:
        make.sign(crew.reviewer, batch)
        assert list(signing.faults()) == []
    else:
        with pytest.raises(Refusal, match="Soap content"):
            make.sign(crew.reviewer, batch)


def test_a_soap_content_that_is_not_known_is_missing(crew: make.Crew) -> None:
    batch = make.open_batch(crew, version_with(crew, "soap_content", lower="20"))
    make.charge_all(crew, batch)
    one = next(f for f in findings(batch) if f.characteristic == "soap_content")
    assert one.verdict is None
    assert one.stops
    assert one.sentence.startswith("The soap content is not known yet.")


# ------------------------------------------------------------------ which limit holds


def test_a_further_limit_set_after_the_batch_was_opened_does_not_hold_for_it(
    crew: make.Crew,
) -> None:
    version = make.paste_version(crew)
    before = make.open_batch(crew, version)
    lab.limit(crew, version, "free_alkali", upper="0.2")
    after = make.open_batch(crew, version)
    held = [
        [one.characteristic for one in findings(batch)] for batch in (before, after)
    ]
    assert Characteristic.FREE_ALKALI not in held[0]
    assert held[1][-1] == Characteristic.FREE_ALKALI


def test_the_rule_of_the_limit_judges_and_not_the_usual_one(crew: make.Crew) -> None:
    """U is 0.6, so the bands before 10 begin at 9.4 and at 9.502."""
    verdicts = []
    for slug in (RULE.slug, "guard_083u_1"):
        version = make.paste_version(crew)
        lab.limit(crew, version, "ph", lower="8", upper="10", rule=slug)
        batch = make.open_batch(crew, version)
        make.charge_all(crew, batch)
        make.read_ph(
            crew,
            batch,
            "9.45",
            instrument=make.strips(
                crew.maker,
                resolution=Decimal("0.0001"),
                bias_half_width=Decimal("0.5196"),
            ),
        )
        one = findings(batch)[0]
        assert one.rule is RULES[slug]
        verdicts.append(one.verdict)
        assert "could be up to 10.05" in one.sentence  # its ± is the same for all
    assert verdicts == [Verdict.CONDITIONAL_PASS, Verdict.PASS]


def test_ph_and_clarity_never_only_warn(crew: make.Crew) -> None:
    version = make.paste_version(crew)
    for characteristic, sides in (("ph", {"upper": "10"}), ("clarity", {})):
        with pytest.raises(ValidationError, match="always stops the release"):
            lab.limit(crew, version, characteristic, effect="warn", **sides)


def test_no_limit_allows_more_to_come_out_than_went_in(crew: make.Crew) -> None:
    version = make.paste_version(crew)
    lab.limit(crew, version, "yield_variance", upper="5", effect="warn")
    batch = make.cooked_batch(crew, version, share="1.03")
    one = finding(review(crew, batch), "yield_variance")
    assert one.effect == "warn"
    assert one.stops
    with pytest.raises(Refusal, match="More came out than went in"):
        make.sign(crew.reviewer, batch)


def test_a_yield_outside_a_limit_that_warns_needs_a_reason(crew: make.Crew) -> None:
    version = make.paste_version(crew)
    lab.limit(crew, version, "yield_variance", lower="-1", effect="warn")
    batch = make.cooked_batch(crew, version)
    found = review(crew, batch)
    assert finding(found, "yield_variance").verdict is Verdict.FAIL
    assert found.needs_reason
    make.sign(crew.reviewer, batch)


# ------------------------------------------------------------------ the signed record


def test_a_judgement_keeps_rule_effect_origin_and_risk(crew: make.Crew) -> None:
    batch = make.cooked_batch(crew, ph="9.8")
    make.sign(crew.reviewer, batch)
    row = Judgement.objects.get(characteristic="ph")
    assert (row.rule, row.effect) == ("guard_u_1", "hold")
    assert "Read with pH meter, ± 0.059 (k = 2), by Mirja Aalto," in row.origin
    found = finding(review(crew, batch), "ph")
    assert row.risk == Decimal(found.risk or 0).quantize(Decimal("0.000001"))
    signed = record.judged(Signature.objects.get().record)
    kept = next(one for one in signed if one["characteristic"] == "ph")
    assert kept["rule"] == "guard_u_1"
    assert kept["effect"] == "hold"
    assert kept["origin"] == row.origin
    assert Decimal(kept["risk"]) == row.risk
    assert list(signing.faults()) == []


def test_a_judgement_signed_before_has_no_new_keys(crew: make.Crew) -> None:
    make.sign(crew.reviewer, make.cooked_batch(crew))
    row = Judgement.objects.get(characteristic="ph")
    row.rule = row.effect = row.origin = ""
    row.risk = None
    facts = record._judgement(row)
    # Who approved the limit is compared only where the record has it.
    assert set(facts) - {record.APPROVED_BY} == {
        "characteristic",
        "limit_version",
        "lower",
        "upper",
        "method",
        "value",
        "standard_uncertainty",
        "verdict",
        "sentence",
    }


def test_a_clarity_has_no_rule_and_no_risk(crew: make.Crew) -> None:
    make.sign(crew.reviewer, make.cooked_batch(crew))
    row = Judgement.objects.get(characteristic="clarity")
    assert (row.rule, row.effect, row.risk) == ("", "hold", None)
    assert row.origin.startswith("Seen by Mirja Aalto")


def test_the_premises_figure_can_change_without_a_word_about_such_a_batch(
    crew: make.Crew,
) -> None:
    version = version_with(crew, "free_alkali", upper="0.2")
    batch = make.open_batch(crew, version)
    make.charge_all(crew, batch)
    free_alkali(batch, "0.05", "0.002")
    make.complete(crew, batch)
    before = review(crew, batch).digest
    Premises.objects.update(free_alkali_limit_percent=Decimal("0.01"))
    assert review(crew, batch).digest == before
