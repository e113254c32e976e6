"""A titrated free alkali decides about a release; what is doubtful needs a reason."""

from __future__ import annotations

import dataclasses
from decimal import Decimal

import pytest
from django.test import Client
from django.urls import reverse

from batches.chemistry.ph import expected_ph
from batches.models import Batch, Titration
from batches.services import cooking, formulas, titrating
from producer.errors import Refusal
from producer.models import Premises
from quality.models import Signature
from quality.services import record, reviewing
from quality.services.alkali import alkali_of, words
from quality.services.outcome import came_out
from quality.services.reviewing import Review
from quality.statistics.conformity import Verdict
from tests import make
from tests.doors.pages import page_of
from tests.quality.pots import free_alkali

pytestmark = [pytest.mark.django_db, pytest.mark.any_engine]

BARELY = {"risk_to_warn_percent": Decimal(1), "risk_to_stop_percent": Decimal(1)}


def review(crew: make.Crew, batch: Batch) -> Review:
    return reviewing.review_of(make.fresh(batch), by=crew.reviewer)


def rework(crew: make.Crew) -> Batch:
    """Return a rework of a rejected paste that awaits review."""
    bad = make.failed_paste(crew, "rework")
    batch = make.open_batch(crew, is_rework=True)
    make.charge(crew, batch, bad.stock, 700_000, is_rework=True)
    return make.complete(crew, batch, share="0.99")


# ------------------------------------------------- the limit of the premises


@pytest.mark.parametrize(
    ("percent", "u", "verdict", "stops"),
    [
        ("0.477", "0.008", Verdict.FAIL, True),
        ("0.26", "0.008", Verdict.CONDITIONAL_FAIL, True),
        ("0.25", "0.008", Verdict.CONDITIONAL_PASS, False),
        ("0.2341", "0.008", Verdict.CONDITIONAL_PASS, False),
        ("0.234", "0.008", Verdict.PASS, False),
    ],
)
def test_a_titration_is_judged_by_the_rule_against_the_limit_of_the_premises(
    crew: make.Crew, percent: str, u: str, verdict: Verdict, *, stops: bool
) -> None:
    batch = make.cooked_batch(crew)
    free_alkali(batch, percent, u)
    found = review(crew, batch)
    assert found.free_alkali is not None
    assert found.free_alkali.verdict is verdict
    sentence = found.free_alkali.sentence
    assert "limit of at most 0.25 %" in sentence
    assert f": {verdict.label}." in sentence
    assert (sentence in found.obstacles) == stops
    doubtful = verdict is Verdict.CONDITIONAL_PASS
    assert (sentence in found.notes) == doubtful
    contradicted = any("one of the two is wrong" in note for note in found.notes)
    assert found.needs_reason == (doubtful or found.alkali.disagree or contradicted)


def test_the_paste_at_twice_the_limit_is_not_released(crew: make.Crew) -> None:
    batch = make.cooked_batch(crew)
    free_alkali(batch, "0.477", "0.008")
    with pytest.raises(Refusal, match=r"0\.477 % ± 0\.016 % lies outside the limit"):
        make.sign(crew.reviewer, batch)
    Premises.objects.update(free_alkali_limit_percent=Decimal("0.49"))
    make.sign(crew.reviewer, batch)  # control: what the limit allows is released


@pytest.mark.parametrize(("percent", "stops"), [("0.45", False), ("0.46", True)])
def test_for_the_figure_of_clp_the_whole_uncertainty_counts(
    crew: make.Crew, percent: str, *, stops: bool
) -> None:
    Premises.objects.update(free_alkali_limit_percent=Decimal("0.60"))
    batch = make.cooked_batch(crew)
    free_alkali(batch, percent, "0.02")
    said = " ".join(review(crew, batch).obstacles)
    assert ("can be 0.5 % or more" in said) == stops


def test_rounding_for_the_eye_does_not_turn_the_verdict(crew: make.Crew) -> None:
    batch = make.cooked_batch(crew)
    free_alkali(batch, "0.2504", "0.02")
    found = review(crew, batch).free_alkali
    assert found is not None
    assert found.verdict is Verdict.CONDITIONAL_FAIL
    assert "0.2504 %" in found.sentence  # rounded it would lie inside
    assert ": conditional fail." in found.sentence


def test_the_judgement_is_in_the_signed_record_with_its_limit(crew: make.Crew) -> None:
    batch = make.cooked_batch(crew)
    free_alkali(batch, "0.1", "0.008")
    make.sign(crew.reviewer, batch)
    kept = record.part(Signature.objects.get().record, "computed")["free_alkali"]
    assert kept["value"] == "0.1"
    assert kept["standard_uncertainty"] == "0.008"
    assert kept["upper"] == "0.25"
    assert kept["verdict"] == "pass"
    assert kept["rule"].startswith("Guard band")


def test_an_outdated_titration_is_a_note_and_no_obstacle(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    free_alkali(batch, "0.4")
    lot = make.released_lot(crew, make.water(crew.maker))
    make.charge(crew, batch, lot.stock, 5000)
    found = review(crew, make.complete(crew, batch))
    assert found.obstacles == []
    assert found.free_alkali is None
    assert any("Titrate it again" in note for note in found.notes)


# ------------------------------------------------- no result goes away


def test_scenario_22_a_titration_taken_back_stays_before_the_reviewer(
    crew: make.Crew,
) -> None:
    batch = make.cooked_batch(crew)
    free_alkali(batch, "0.477", "0.008")
    titrating.take_back_titration(
        by=crew.maker, titration=Titration.objects.get(), reason="wrong flask"
    )
    free_alkali(batch, "0.1", "0.008")
    found = review(crew, batch)
    assert found.obstacles == []
    note = next(one for one in found.notes if "taken back" in one)
    assert "0.477 ± 0.016 %" in note
    assert note.endswith("wrong flask")


def test_scenario_22_an_earlier_titration_is_named_beside_the_last(
    crew: make.Crew,
) -> None:
    batch = make.cooked_batch(crew)
    free_alkali(batch, "0.477", "0.008")
    free_alkali(batch, "0.1", "0.008")
    found = review(crew, batch).free_alkali
    assert found is not None
    assert found.sentence.endswith("Before it: 0.477 ± 0.016 %.")


# ------------------------------------------------- a reason where it is doubtful


def test_a_risk_at_the_level_to_stop_is_released_only_with_a_reason(
    crew: make.Crew,
) -> None:
    batch = make.cooked_batch(crew)
    assert not review(crew, batch).needs_reason
    Premises.objects.update(**BARELY)
    found = review(crew, batch)
    assert found.obstacles == []
    assert found.needs_reason
    with pytest.raises(Refusal, match="Say why"):
        make.sign(crew.reviewer, batch, reason="")
    make.sign(crew.reviewer, batch, reason="clear in hot water, twice")


def test_a_plain_release_needs_no_reason(crew: make.Crew) -> None:
    make.sign(crew.reviewer, make.cooked_batch(crew), reason="")


def test_a_titration_answers_for_alkali_and_not_for_oil(crew: make.Crew) -> None:
    Premises.objects.update(**BARELY)
    batch = make.cooked_batch(crew)
    free_alkali(batch, "0.05", "0.008")
    found = review(crew, batch)
    assert found.free_alkali is not None
    assert found.free_alkali.verdict is Verdict.PASS
    assert found.needs_reason  # the risk of oil by the weighings is still there
    assert any(
        note.startswith("Look for oil before it is used") for note in found.notes
    )
    Premises.objects.update(unsaponified_limit_percent=Decimal(9))
    assert (alkali_of(batch).under or 0) < 0.01
    # What is left to weigh: by its pH there is less alkali than that in it.
    notes = " ".join(review(crew, batch).notes)
    assert "Look for oil" not in notes
    assert "one of the two is wrong" in notes
    assert words.verdict(alkali_of(batch)).startswith("The risk is low")


# ------------------------------------------------- weighings and titration


def test_a_low_titration_does_not_silence_weighings_that_say_caustic(
    crew: make.Crew,
) -> None:
    batch = make.cooked_batch(crew)
    potash = batch.charges.current().get(line__material__kind="potash")
    cooking.amend_charge(
        by=crew.maker,
        charge=potash,
        gross_mg=potash.gross_mg + 60_000,
        tare_mg=potash.tare_mg,
        reason="misread",
    )
    batch = make.fresh(batch)
    free_alkali(batch, "0.06", "0.004")
    found = review(crew, batch)
    assert any("they differ by more than both are uncertain" in n for n in found.notes)
    assert found.needs_reason
    with pytest.raises(Refusal, match="Say why"):
        make.sign(crew.reviewer, make.fresh(batch), reason="")


# ------------------------------------------------- rework


def test_a_rework_is_not_released_with_its_alkali_unknown(crew: make.Crew) -> None:
    batch = rework(crew)
    with pytest.raises(Refusal, match="Titrate the free alkali of what came out"):
        make.sign(crew.reviewer, batch)
    free_alkali(batch, "0.1", "0.008")
    make.sign(crew.reviewer, make.fresh(batch))  # control


def test_a_blend_with_a_rejected_paste_in_it_is_titrated_too(crew: make.Crew) -> None:
    bad = make.failed_paste(crew, "rework")
    blend = make.open_batch(crew, make.blend_version(crew), is_rework=True)
    make.charge(crew, blend, bad.stock, 300_000, is_rework=True)
    make.complete(crew, blend, share="0.99")
    with pytest.raises(Refusal, match="Titrate the free alkali of what came out"):
        make.sign(crew.reviewer, make.fresh(blend))
    free_alkali(blend, "0.1", "0.008")
    make.sign(crew.reviewer, make.fresh(blend))  # control


def test_a_rework_says_its_alkali_is_not_known_and_no_shortfall(
    crew: make.Crew,
) -> None:
    bad = make.failed_paste(crew, "rework")
    batch = make.open_batch(crew, is_rework=True)
    make.charge(crew, batch, bad.stock, 700_000, is_rework=True)
    oil = make.released_lot(crew, make.sunflower(crew.maker))
    make.charge(crew, batch, oil.stock, 100_000)
    make.complete(crew, batch, share="0.99")
    free_alkali(batch, "0.1", "0.008")
    make.sign(crew.reviewer, make.fresh(batch))
    liquid = make.diluted_batch(crew, paste=make.fresh(batch), basis_mg=200_000)
    for one in (batch, liquid):
        found = came_out(one)
        assert found.outcome.pot is not None
        assert found.outcome.pot.oil >= 1
        notes = " ".join(found.notes)
        assert "it is not known whether alkali is short" in notes
        assert "By the weighings alkali is short" not in notes


# ------------------------------------------------- titration and pH


def test_a_ph_below_what_the_titrated_alkali_gives_is_said(crew: make.Crew) -> None:
    batch = make.cooked_batch(crew, ph="9.2")
    free_alkali(batch, "0.2", "0.008")
    least = expected_ph(free_alkali_percent=0.184, strength_percent=1)
    note = next(one for one in review(crew, batch).notes if "one of the two" in one)
    assert f"at least pH {least:.1f} in a 1 % solution" in note
    assert "the test says 9.200 ± 0.059: one" in note


@pytest.mark.parametrize(
    ("ph", "percent", "method"),
    [
        ("10", "0.05", ""),  # 9.9 at the least: both can be right
        ("9.2", "0.01", ""),  # less than its own uncertainty
        ("9.2", "0.2", "10 % solution in tap water"),  # nothing is known of it
    ],
)
def test_without_a_contradiction_nothing_is_said(
    crew: make.Crew, ph: str, percent: str, method: str
) -> None:
    usual = formulas.Wording(product_name="Another paste", shelf_life_days=365)
    version = formulas.write_formula(
        by=crew.maker,
        name="Another paste",
        kind="cook",
        purpose="paste",
        wording=dataclasses.replace(usual, ph_method=method or usual.ph_method),
        lines=make.paste_lines(crew.maker),
    )
    make.set_limits(crew.reviewer, version)
    batch = make.cooked_batch(crew, version, ph=ph)
    free_alkali(batch, percent, "0.008")
    found = review(crew, batch)
    assert found.findings[0].value == Decimal(ph)
    assert not any("one of the two" in one for one in found.notes)


# ------------------------------------------------- pages


def test_nobody_signs_blind(crew: make.Crew) -> None:
    Premises.objects.update(**BARELY)
    batch = make.cooked_batch(crew)
    free_alkali(batch, "0.24", "0.008")
    client = Client()
    client.force_login(crew.reviewer)
    said = page_of(client.get(reverse("quality:sign", args=[batch.number]))).words
    for words_of_page in (
        "Free potassium hydroxide by titration 0.24 % ± 0.016 %",
        "Excess alkali",
        "Potassium hydroxide by titration",
        "Potassium hydroxide by weighing",
        "To weigh before signing",
        "A release needs a reason here",
        "By the ± of the titration alone",
        "By the instrument’s ± alone",
    ):
        assert words_of_page in said, words_of_page


def test_the_sign_page_asks_for_no_reason_where_nothing_is_doubtful(
    crew: make.Crew,
) -> None:
    batch = make.cooked_batch(crew)
    client = Client()
    client.force_login(crew.reviewer)
    page = page_of(client.get(reverse("quality:sign", args=[batch.number])))
    assert "A release needs a reason here" not in page.words
