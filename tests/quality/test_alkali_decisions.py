"""What the excess alkali decides: discount, draws, titration, review, record, words."""

from __future__ import annotations

import dataclasses
import itertools
import json
import math
from decimal import Decimal

import pytest

from batches.models import Batch
from batches.services import planning
from batches.services.discounting import set_lye_discount
from producer.errors import Conflict
from producer.models import Material, Premises, User
from quality.models import Signature
from quality.services import record, reviewing
from quality.services.alkali import alkali_of, discount_rows, drawn, words
from tests import make
from tests.quality.pots import balance, chosen, free_alkali

pytestmark = [pytest.mark.django_db, pytest.mark.any_engine]


# ------------------------------------------------------- the lye discount


def test_the_discount_lowers_the_risk_of_alkali_and_raises_that_of_oil(
    crew: make.Crew,
) -> None:
    rows = discount_rows(alkali_of(chosen(crew, make.open_batch(crew))))
    assert [row.discount for row in rows] == [0, 0.01, 0.02, 0.03, 0.04, 0.05]
    for less, more in itertools.pairwise(rows):
        assert more.risks.over < less.risks.over
        assert more.risks.under > less.risks.under
        assert less.excess_g - more.excess_g == pytest.approx(2.04, abs=0.01)


def test_the_table_is_what_the_batch_gets_with_that_discount(crew: make.Crew) -> None:
    batch = chosen(crew, make.open_batch(crew))
    promised = discount_rows(alkali_of(batch))[3]
    batch = set_lye_discount(
        by=crew.maker, batch=batch, discount=Decimal("0.03"), reason="range only"
    )
    kept = balance(make.fresh(batch))
    assert kept.budget.value == pytest.approx(promised.excess_g, abs=0.06)
    assert kept.risks.over == pytest.approx(promised.risks.over, rel=0.1)
    assert kept.risks.under == pytest.approx(promised.risks.under, rel=0.05)
    again = discount_rows(alkali_of(make.fresh(batch)))[3]
    assert again.excess_g == pytest.approx(promised.excess_g, abs=0.06)


def test_the_discount_named_brings_the_risk_under_the_warning(crew: make.Crew) -> None:
    Premises.objects.update(
        free_alkali_limit_percent=Decimal("0.05"), risk_to_warn_percent=Decimal(5)
    )
    batch = chosen(crew, make.open_batch(crew))
    found = alkali_of(batch)
    discount = found.discount()
    assert discount is not None
    assert found.weighed
    assert found.weighed.charge
    assert found.weighed.charge.risks(discount, found.limits).over <= 0.05
    assert found.weighed.charge.risks(discount - 0.001, found.limits).over > 0.05
    assert f"A lye discount of {discount * 100:g} % would bring" in words.verdict(found)


@pytest.mark.parametrize("risk", ["0.1", "50"])
def test_any_warning_level_of_the_premises_can_be_aimed_at(
    crew: make.Crew, risk: str
) -> None:
    """One way or the other: with a discount, or with the sentence that none helps."""
    Premises.objects.update(
        risk_to_warn_percent=Decimal(risk), risk_to_stop_percent=Decimal(50)
    )
    lot = make.released_lot(
        crew, make.potash(crew.maker), certificate={"assay_is_minimum": True}
    )
    batch = chosen(crew, make.open_batch(crew), potash=lot)
    assert "lye discount" in words.verdict(alkali_of(batch)) or risk == "50"
    make.charge_all(crew, batch, {"potash": lot.stock})
    row = batch.charges.get(line__material__kind="potash")
    make.charge(crew, batch, row.source, 20_000, line=row.line)
    verdict = words.verdict(alkali_of(make.fresh(batch)))
    assert verdict.startswith("Do not use it as it stands.")
    assert "correct the alkali" in verdict  # and no asking what the assay counts
    assert "What would help most" not in verdict


def test_once_all_is_in_and_may_be_right_it_says_to_measure(crew: make.Crew) -> None:
    Premises.objects.update(
        risk_to_warn_percent=Decimal("0.1"), risk_to_stop_percent=Decimal("0.5")
    )
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    found = alkali_of(make.fresh(batch))
    assert found.level == "stop"
    assert words.verdict(found).endswith(words.MEASURE)
    assert not words.is_to_correct(found)


def test_a_half_as_warning_level_and_more_than_a_half_as_risk(
    crew: make.Crew,
) -> None:
    Premises.objects.update(
        risk_to_warn_percent=Decimal(50),
        risk_to_stop_percent=Decimal(50),
        free_alkali_limit_percent=Decimal("0.01"),
    )
    batch = chosen(crew, make.open_batch(crew))
    found = alkali_of(batch)
    assert found.weighed
    assert found.weighed.charge
    more = dataclasses.replace(found.weighed.charge, brought_g=210.0)
    weighed = dataclasses.replace(
        found.weighed, charge=more, risks=more.risks(0.0, found.limits)
    )
    discount = dataclasses.replace(found, weighed=weighed).discount()
    # (210 − 204.1 − 0.2)/210 = 0.0273, rounded up to a tenth of a percent
    assert discount == pytest.approx(0.028)


def test_the_discount_that_stands_has_its_own_row(crew: make.Crew) -> None:
    batch = chosen(crew, make.open_batch(crew))
    rows = discount_rows(alkali_of(batch), current=Decimal("0.0125"))
    assert [row.discount for row in rows][:4] == [0, 0.01, 0.0125, 0.02]


def test_where_no_discount_helps_it_says_so(crew: make.Crew) -> None:
    values = {"assay_half_width": Decimal(5)}
    lot = make.released_lot(crew, make.potash(crew.maker), certificate=values)
    wide = Material.objects.filter(kind="oil")
    batch = chosen(crew, make.open_batch(crew), potash=lot)
    wide.update(saponification_low=Decimal(160), saponification_high=Decimal(280))
    sentence = words.verdict(alkali_of(batch))
    assert "No lye discount up to 10 %" in sentence
    assert alkali_of(batch).level == "stop"


# ------------------------------------------------------- Monte Carlo


def test_the_budget_agrees_with_the_draws_within_a_hundredth(crew: make.Crew) -> None:
    found = alkali_of(chosen(crew, make.open_batch(crew)))
    assert found.weighed is not None
    checked = drawn(found.weighed, found.limits, draws=200_000, seed=3)
    u = found.weighed.budget.standard_uncertainty
    assert checked.simulation.standard_deviation == pytest.approx(u, rel=0.01)
    assert checked.simulation.mean == pytest.approx(
        found.weighed.budget.value, abs=0.01 * u
    )
    assert checked.risks.under == pytest.approx(found.weighed.risks.under, abs=0.01)
    assert checked.risks.over == pytest.approx(found.weighed.risks.over, abs=0.01)


# ------------------------------------------------------- titration


def test_a_titration_decides_about_alkali_and_leaves_oil_to_the_weighings(
    crew: make.Crew,
) -> None:
    batch = make.cooked_batch(crew)
    before = alkali_of(batch)
    free_alkali(batch, "0.4")
    found = alkali_of(make.fresh(batch))
    assert found.titrated is not None
    paste_g = found.titrated.paste_mg / 1000
    assert found.titrated.budget.value == pytest.approx(0.004 * paste_g)
    assert found.titrated.budget.standard_uncertainty == pytest.approx(
        math.hypot(0.0002 * paste_g, 0.004 / math.sqrt(6)), rel=1e-6
    )
    assert found.over == found.titrated.over > 0.99
    assert found.under == before.under
    assert found.level == "stop"
    assert words.verdict(found).startswith("Do not use it. By what is known")
    assert words.CORRECT in words.verdict(found)


def test_a_titration_from_before_the_last_charge_does_not_count(
    crew: make.Crew,
) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    free_alkali(batch, "0.4")
    assert alkali_of(make.fresh(batch)).titrated is not None
    lot = make.released_lot(crew, make.water(crew.maker))
    make.charge(crew, batch, lot.stock, 5000)
    found = alkali_of(make.fresh(batch))
    assert found.titrated is None
    assert "Titrate it again" in found.titration_note


# ------------------------------------------------------- review and record


def overdosed(crew: make.Crew, grams: int = 20) -> Batch:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    row = batch.charges.get(line__material__kind="potash")
    make.charge(crew, batch, row.source, grams * 1000, line=row.line)
    return make.fresh(make.complete(crew, batch))


def obstacles(crew: make.Crew, batch: Batch) -> str:
    return " ".join(reviewing.review_of(batch, by=crew.reviewer).obstacles)


def test_the_obstacle_by_the_weighings_says_how_sure_it_is(crew: make.Crew) -> None:
    batch = overdosed(crew)
    budget = balance(batch).budget
    said = obstacles(crew, batch)
    assert f"{words.excess_in_words(budget).partition(' g')[0]} g of potassium" in said
    assert " ± " in said
    assert "it is caustic" in said


@pytest.mark.parametrize(
    ("percent", "count"), [("0.1", 0), ("0.459", 0), ("0.46", 1), ("0.8", 1)]
)
def test_a_titrated_free_alkali_decides_instead_of_the_weighings(
    crew: make.Crew, percent: str, count: int
) -> None:
    batch = overdosed(crew)
    free_alkali(batch, percent)
    said = obstacles(crew, make.fresh(batch))
    assert "By the weighings" not in said
    assert said.count("By titration") == said.count("caustic") == count


def test_a_titration_cannot_see_oil_so_what_lacks_by_weighing_still_stops(
    crew: make.Crew,
) -> None:
    batch = chosen(crew, make.open_batch(crew))
    for line in planning.plan_of(batch).lines:
        assert line.source is not None
        assert line.target_mg is not None
        part = line.target_mg * 9 // 10 if line.kind == "potash" else line.target_mg
        make.charge(crew, batch, line.source, part, line=line.line)
    batch = make.fresh(make.complete(crew, batch))
    free_alkali(batch, "0.02")
    assert "are lacking, so oil is left unsaponified" in obstacles(crew, batch)


def test_a_high_risk_without_a_titration_is_a_note_and_no_obstacle(
    crew: make.Crew,
) -> None:
    Premises.objects.update(
        risk_to_warn_percent=Decimal(1), risk_to_stop_percent=Decimal(1)
    )
    batch = make.cooked_batch(crew)
    review = reviewing.review_of(batch, by=crew.reviewer)
    assert review.obstacles == []
    assert any(note.startswith("Do not use it before a") for note in review.notes)
    free_alkali(batch, "0.05")
    review = reviewing.review_of(make.fresh(batch), by=crew.reviewer)
    assert not any(note.startswith("Do not use it before a") for note in review.notes)


def test_who_titrated_a_batch_has_a_hand_in_it(owner: User, crew: make.Crew) -> None:
    batch = make.cooked_batch(crew)
    other = make.account(by=owner, name="Tove Rask", rights=["maker", "reviewer"])
    assert not reviewing.review_of(batch, by=other).is_own_work
    before = reviewing.last_entry_at(batch)
    free_alkali(batch, "0.05", entered_by=other)
    assert reviewing.review_of(batch, by=other).is_own_work
    assert reviewing.last_entry_at(batch) > before


def test_a_titration_is_a_change_since_the_page_was_read(crew: make.Crew) -> None:
    batch = make.cooked_batch(crew)
    seen = reviewing.review_of(batch, by=crew.reviewer).digest
    free_alkali(batch, "0.05")
    with pytest.raises(Conflict, match="changed since you read it"):
        make.sign(crew.reviewer, batch, seen=seen)
    again = reviewing.review_of(make.fresh(batch), by=crew.reviewer).digest
    make.sign(crew.reviewer, batch, seen=again)  # control


def test_the_signed_record_keeps_the_budget_and_the_facts_are_as_before(
    crew: make.Crew,
) -> None:
    batch = make.cooked_batch(crew)
    facts = record.facts_of(batch)
    budget = balance(batch).budget
    make.sign(crew.reviewer, batch)
    signed = json.loads(Signature.objects.get(batch=batch).record)
    assert signed["facts"] == facts
    kept = signed["computed"]["excess_alkali_g"]["by_weighing"]
    assert float(kept["value"]) == pytest.approx(budget.value, rel=1e-5)
    assert float(kept["standard_uncertainty"]) == pytest.approx(
        budget.standard_uncertainty, rel=1e-5
    )
    assert kept["coverage_factor"] == "2"
    assert [one["name"] for one in kept["inputs"]] == [
        line.quantity.name for line in budget.lines
    ]
    assert set(facts) == {
        "batch",
        "hold_points",
        "formula",
        "formula_version",
        "basis_mg",
        "is_rework",
        "maker",
        "opened_at",
        "charges",
        "readings",
        "weighings",
        "theoretical_mg",
        "actual_mg",
    }


# ------------------------------------------------------- words


@pytest.mark.any_engine
@pytest.mark.parametrize(
    ("probability", "said"),
    [
        (0.0, "below 0.1 %"),
        (0.0009, "below 0.1 %"),
        (0.004, "0.4 %"),
        (0.114, "11 %"),
        (0.9, "90 %"),
        (0.995, "99.5 %"),
        (1.0, "above 99.9 %"),
    ],
)
def test_no_chance_is_called_impossible_or_certain(
    probability: float, said: str
) -> None:
    assert words.chance_in_words(probability) == said


def test_an_excess_inside_its_uncertainty_cannot_be_told_from_none(
    crew: make.Crew,
) -> None:
    found = balance(chosen(crew, make.open_batch(crew)))
    assert "cannot be told from none" in words.excess_in_words(found.budget)
    far = dataclasses.replace(found.budget, value=-50.0)
    assert words.excess_in_words(far, mark=",").startswith("50,0 ± ")
    assert words.excess_in_words(far).endswith("g lacking")
