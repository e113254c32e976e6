"""Results held against limits, with the measurement's own doubt."""

from __future__ import annotations

from decimal import Decimal

import pytest
from django.test import Client
from django.urls import reverse

from batches.models import Batch, Reading
from batches.services import cooking
from producer.errors import Refusal
from producer.models import Instrument
from quality.models import Characteristic
from quality.services.judging import Finding, findings
from quality.statistics.conformity import RULE, Verdict
from tests import make
from tests.doors.pages import page_of


def finding(batch: Batch, characteristic: str) -> Finding:
    return next(f for f in findings(batch) if f.characteristic == characteristic)


def coarse_strips(crew: make.Crew) -> Instrument:
    """Return strips of U = 0.6: ± 0.52 rectangular is u = 0.3, and k is 2."""
    strips = make.strips(
        crew.maker,
        resolution=Decimal("0.0001"),
        bias_half_width=Decimal("0.5196"),
    )
    assert round(2 * strips.standard_uncertainty(), 3) == Decimal("0.6")
    return strips


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("reading", "verdict", "said", "plain"),
    [
        (
            "9.4",
            Verdict.PASS,
            "9.4 ± 0.6 lies inside 8 to 10: pass.",
            "9.4 on this strip is inside, even if it is as far off as it can be.",
        ),
        (
            "9.8",
            Verdict.CONDITIONAL_PASS,
            "inside 8 to 10, but the true value could be up to 10.4: conditional pass",
            "9.8 on this strip could be 10.4; titrate or use the meter.",
        ),
        (
            "10.4",
            Verdict.CONDITIONAL_FAIL,
            "outside 8 to 10, but the true value could be down to 9.8: conditional",
            (
                "10.4 on this strip is too high, but could be 9.8; titrate or use the"
                " meter. If it stays so: cook on or correct the alkali, then test"
                " again."
            ),
        ),
        (
            "10.7",
            Verdict.FAIL,
            "10.7 ± 0.6 lies outside 8 to 10: fail.",
            (
                "10.7 on this strip is too high, even if it is as far off as it can"
                " be; cook on or correct the alkali, then test again."
            ),
        ),
        (
            "8.1",
            Verdict.CONDITIONAL_PASS,
            "could be down to 7.5: conditional pass",
            "8.1 on this strip could be 7.5; titrate or use the meter.",
        ),
        (
            "7.3",
            Verdict.FAIL,
            "outside 8 to 10: fail.",
            (
                "7.3 on this strip is too low, even if it is as far off as it can be;"
                " look at a portion in hot water, correct the alkali, then test again."
            ),
        ),
    ],
)
def test_scenario_23_guard_band(
    crew: make.Crew, reading: str, verdict: Verdict, said: str, plain: str
) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    make.read_ph(crew, batch, reading, instrument=coarse_strips(crew))
    found = finding(batch, Characteristic.PH)
    assert found.verdict is verdict
    assert found.acceptable is verdict.acceptable
    assert said in found.sentence
    assert found.value == Decimal(reading)
    assert found.plain == plain
    assert found.stops is not verdict.acceptable
    make.read_clarity(crew, batch)
    make.weigh_bulk(crew, batch)
    done = cooking.finish(by=crew.maker, batch=batch)
    if verdict.acceptable:
        assert make.signed(crew.reviewer, done, "release").status == "released"
    else:
        with pytest.raises(Refusal, match="cannot be released"):
            make.sign(crew.reviewer, done)


@pytest.mark.django_db
def test_the_doubt_is_that_of_the_instrument_on_the_day(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    strips = coarse_strips(crew)
    make.read_ph(crew, batch, "9.8", instrument=strips)
    before = finding(batch, Characteristic.PH)
    Instrument.objects.filter(pk=strips.pk).update(bias_half_width=0)
    assert finding(batch, Characteristic.PH) == before


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("reading", "risk"),
    # u is 0.3: beyond 10 by a normal distribution, and between 8 and 10 for 10.4
    [("9.4", 0.0228), ("9.8", 0.2525), ("10.4", 0.0912), ("10.7", 0.0098)],
)
def test_the_risk_of_a_wrong_decision_stands_with_the_rule(
    crew: make.Crew, reading: str, risk: float
) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    missing = finding(batch, Characteristic.PH)
    assert (missing.rule, missing.risk) == (None, None)
    make.read_ph(crew, batch, reading, instrument=coarse_strips(crew))
    found = finding(batch, Characteristic.PH)
    assert found.rule is RULE
    assert found.risk == pytest.approx(risk, abs=2e-4)
    make.read_clarity(crew, batch)
    clarity = finding(batch, Characteristic.CLARITY)
    assert (clarity.rule, clarity.risk) == (None, None)


@pytest.mark.django_db
def test_a_finding_says_where_its_value_comes_from(crew: make.Crew) -> None:
    batch = make.cooked_batch(crew)
    ph = finding(batch, Characteristic.PH)
    assert ph.origin.startswith("Read with pH meter, ± 0.059 (k = 2), by Mirja Aalto, ")
    assert finding(batch, Characteristic.CLARITY).origin.startswith("Seen by Mirja")
    origin = finding(batch, Characteristic.YIELD_VARIANCE).origin
    assert "on bench scale against all that went in" in origin
    assert "weighed by Mirja Aalto" in origin
    assert finding(make.open_batch(crew), Characteristic.PH).origin == ""


@pytest.mark.django_db
def test_a_method_too_coarse_for_the_limits_is_said_to_be_so(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    make.read_ph(crew, batch, "9", instrument=coarse_strips(crew))
    assert not finding(batch, Characteristic.PH).is_unfit  # 8 to 10 is wider than 1.2
    strips = make.strips(
        crew.maker, name="coarse", resolution=Decimal(1), bias_half_width=Decimal(1)
    )
    make.read_ph(crew, batch, "9", instrument=strips)
    found = finding(batch, Characteristic.PH)
    assert found.is_unfit
    assert "too coarse" in found.sentence
    assert found.plain == (
        "9 on this strip could be 7.7 or 10.3; titrate or use the meter. This way of"
        " measuring is too coarse for these limits."
    )


@pytest.mark.django_db
def test_the_plain_sentence_takes_the_decimal_mark(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    make.read_ph(crew, batch, "9.8", instrument=coarse_strips(crew))
    found = finding(batch, Characteristic.PH)
    assert found.in_plain_words(",").startswith("9,8 on this strip could be 10,4;")


@pytest.mark.django_db
def test_the_review_names_rule_and_risk(crew: make.Crew, client: Client) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    make.read_ph(crew, batch, "9.8", instrument=coarse_strips(crew))
    make.read_clarity(crew, batch)
    make.weigh_bulk(crew, batch)
    batch = cooking.finish(by=crew.maker, batch=batch)
    client.force_login(crew.reviewer)
    page = page_of(client.get(reverse("quality:review", args=[batch.number])))
    assert RULE.statement in page.words
    assert "on the other side of a limit with a chance of 25 %" in page.words


@pytest.mark.django_db
def test_scenario_24_yield_over_100(crew: make.Crew) -> None:
    batch = make.cooked_batch(crew, share="1.03")
    found = finding(batch, Characteristic.YIELD_VARIANCE)
    assert found.value == Decimal("3.000")
    assert found.verdict is Verdict.FAIL
    assert (found.rule, found.risk) == (None, None)  # mass does not come from nowhere
    with pytest.raises(Refusal, match="cannot be released"):
        make.sign(crew.reviewer, batch)
    assert make.fresh(batch).status == "awaiting_review"
    make.sign(crew.reviewer, make.cooked_batch(crew, share="0.97"))  # control


@pytest.mark.django_db
@pytest.mark.parametrize("upper", ["", "5"])
def test_scenario_24_yield_over_100_whatever_the_limit_says(
    crew: make.Crew, upper: str
) -> None:
    version = make.paste_version(crew, yield_variance=("-20", upper))
    batch = make.cooked_batch(crew, version, share="1.03")
    found = finding(batch, Characteristic.YIELD_VARIANCE)
    assert found.verdict is Verdict.FAIL
    assert "More came out than went in" in found.sentence
    assert "tare" in found.sentence
    with pytest.raises(Refusal, match="tare"):
        make.sign(crew.reviewer, batch)


@pytest.mark.django_db
def test_a_gram_too_much_within_the_doubt_of_the_scale_is_no_impossibility(
    crew: make.Crew,
) -> None:
    version = make.paste_version(crew, yield_variance=("-20", "2"))
    batch = make.cooked_batch(crew, version, share="1.0005")
    found = finding(batch, Characteristic.YIELD_VARIANCE)
    assert found.standard_uncertainty is not None
    assert found.value is not None
    assert 0 < found.value < 2 * found.standard_uncertainty
    assert found.acceptable


@pytest.mark.django_db
def test_the_doubt_of_a_yield_is_that_of_all_weighings(crew: make.Crew) -> None:
    batch = make.cooked_batch(crew)
    found = finding(batch, Characteristic.YIELD_VARIANCE)
    # 4 charges and the bulk, each gross and tare on a scale with steps of 1 g:
    # √(10/12) g of about 1645.8 g
    assert found.standard_uncertainty is not None
    expected = (Decimal(10) / 12).sqrt() / Decimal("1645.8") * 100
    assert abs(found.standard_uncertainty - expected) < Decimal("0.0002")


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("clarity", "verdict"),
    [("clear", Verdict.PASS), ("cloudy", Verdict.FAIL), ("oil_drops", Verdict.FAIL)],
)
def test_ph_cannot_see_unreacted_oil_but_clarity_can(
    crew: make.Crew, clarity: str, verdict: Verdict
) -> None:
    batch = make.cooked_batch(crew, clarity=clarity)
    assert finding(batch, Characteristic.PH).verdict is Verdict.PASS
    assert finding(batch, Characteristic.CLARITY).verdict is verdict
    if verdict is Verdict.FAIL:
        with pytest.raises(Refusal, match="unreacted oil"):
            make.sign(crew.reviewer, batch)


@pytest.mark.django_db
def test_what_is_missing_is_said_and_nothing_is_judged(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    sentences = [found.sentence for found in findings(batch)]
    assert [found.verdict for found in findings(batch)] == [None] * 3
    assert "No pH is recorded" in sentences[0]
    assert "No clarity test is recorded" in sentences[1]
    assert "has not been weighed yet" in sentences[2]


@pytest.mark.django_db
def test_a_ph_taken_another_way_than_the_limit_says_is_not_judged(
    crew: make.Crew,
) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    make.read_ph(crew, batch, "9.2", method="10 % solution in tap water")
    found = finding(batch, Characteristic.PH)
    assert found.verdict is None
    assert "Repeat the test that way" in found.sentence
    make.read_ph(crew, batch, "9.2")
    assert finding(batch, Characteristic.PH).verdict is Verdict.PASS


@pytest.mark.django_db
def test_the_last_reading_counts_and_a_corrected_one_does_not(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    make.read_ph(crew, batch, "11")
    make.read_ph(crew, batch, "9.2")
    assert finding(batch, Characteristic.PH).value == Decimal("9.2")
    newest = Reading.objects.latest("pk")
    cooking.amend_reading(
        by=crew.maker, reading=newest, void=True, reason="another batch's"
    )
    assert finding(batch, Characteristic.PH).value == Decimal(11)
    assert finding(batch, Characteristic.PH).verdict is Verdict.FAIL


@pytest.mark.django_db
def test_without_a_limit_nothing_is_released(crew: make.Crew) -> None:
    from batches.services import formulas  # noqa: PLC0415

    version = formulas.write_formula(
        by=crew.maker,
        name="Unlimited",
        kind="cook",
        purpose="paste",
        wording=formulas.Wording(product_name="Unlimited", shelf_life_days=365),
        lines=make.paste_lines(crew.maker),
    )
    batch = make.cooked_batch(crew, version)
    with pytest.raises(Refusal, match="No limit is set for pH"):
        make.sign(crew.reviewer, batch)
