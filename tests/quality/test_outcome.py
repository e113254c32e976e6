"""The soap content with its ±, held against draws and against its own parts."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

import pytest

from batches.models import Batch, Charge
from batches.services import cooking, losses
from batches.services.outcome import soap_content_of
from batches.services.results import yield_of
from producer.models import Instrument, Material
from producer.services import registers
from quality.models import Signature
from quality.services import outcome, record, reviewing
from quality.services.outcome import came_out
from quality.statistics.budgets import Budget, budget
from quality.statistics.simulation import simulate
from tests import make
from tests.database import without_triggers
from tests.quality.pots import balance

pytestmark = [pytest.mark.django_db, pytest.mark.any_engine]

G = 1_000  # milligrams


def cooked(
    crew: make.Crew,
    lost: Mapping[str, int] | None = None,
    *,
    net: str = "0.95",
    more_potash: int = 10,
) -> Batch:
    """Return a cook that was weighed, with these losses written down in grams.

    ``more_potash`` are grams beyond what just suffices: 10 are well off the corner.
    """
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    if more_potash:
        potash = make.released_lot(crew, make.potash(crew.maker))
        make.charge(crew, batch, potash.stock, more_potash * G)
    for kind, mass in (lost or {}).items():
        losses.record_loss(
            by=crew.maker, batch=batch, kind=kind, mass_mg=mass * G, half_width_mg=5 * G
        )
    make.weigh_bulk(crew, batch, share=net)
    return make.fresh(batch)


def sour(crew: make.Crew, batch: Batch, mass_mg: int) -> None:
    entry = Material(name="citric acid", kind="addition", acid="citric_anhydrous")
    acid = make.released_lot(crew, registers.save(by=crew.maker, entry=entry))
    cooking.correct(
        by=crew.maker,
        batch=batch,
        source=acid.stock,
        scale=make.scale(crew.maker),
        gross_mg=mass_mg,
        tare_mg=0,
        reason="the alkali was too high",
    )


@pytest.mark.parametrize(
    "lost",
    [
        {},
        {"spill": 30},
        {"spill": 30, "evaporation": 20},
        {"evaporation": 82, "sample": 9},
    ],
)
def test_the_budget_has_the_value_that_the_masses_have(
    crew: make.Crew, lost: dict[str, int]
) -> None:
    batch = cooked(crew, lost)
    content, found = soap_content_of(batch), came_out(batch).soap_content
    assert content.percent is not None
    assert found is not None
    assert found.value == pytest.approx(float(content.percent), rel=1e-7)
    assert 0 < found.expanded_uncertainty < 2


@dataclasses.dataclass
class Seen:
    """The formula of the last batch that came out, and its inputs."""

    model: Any = None
    quantities: Any = None

    def coverage(self, found: Budget) -> float:
        drawn = simulate(self.model, self.quantities, draws=100_000, seed=7)
        outside = (
            drawn.probability_below(found.low),
            drawn.probability_above(found.high),
        )
        return 1 - sum(outside)


@pytest.fixture
def seen(monkeypatch: pytest.MonkeyPatch) -> Seen:
    caught, exact = Seen(), outcome._worked

    def spy(formula: Any) -> outcome.Worked:
        caught.model, caught.quantities = formula, formula.quantities
        return exact(formula)

    monkeypatch.setattr(outcome, "_worked", spy)
    return caught


def known_cook(crew: make.Crew, times_u: float) -> Batch:
    """Return a cook whose excess alkali is so many times its standard uncertainty."""
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    charged = Charge.objects.current().get(
        batch=batch, source__lot__material__kind=Material.Kind.POTASH
    )
    more_g = times_u * balance(batch).budget.standard_uncertainty / 0.9
    make.weigh_bulk(crew, batch)
    net_mg = charged.net_mg + round(more_g * 1000)
    with without_triggers():
        Charge.objects.filter(pk=charged.pk).update(
            net_mg=net_mg, gross_mg=charged.tare_mg + net_mg
        )
    return make.fresh(batch)


@pytest.mark.parametrize("times_u", [-5, -1, 0, 1, 5])
def test_value_and_uncertainty_cover_95_percent_at_the_corner_and_away_from_it(
    crew: make.Crew, seen: Seen, times_u: float
) -> None:
    """The soap follows the oil or the potash, whichever is less."""
    found = came_out(known_cook(crew, times_u))
    content = found.soap_content
    assert content is not None
    assert seen.coverage(content) == pytest.approx(0.9545, abs=0.02)
    drawn = simulate(seen.model, seen.quantities, draws=100_000, seed=8)
    assert content.value == pytest.approx(
        drawn.mean, abs=0.1 * content.standard_uncertainty
    )
    assert content.standard_uncertainty == pytest.approx(
        drawn.standard_deviation, rel=0.15
    )  # figures known by a range have no tails, which a normal E would have
    says_so = any("Potash and oils just match" in note for note in found.notes)
    assert says_so == (abs(times_u) < 3)


def test_control_one_side_of_the_corner_would_cover_far_less(
    crew: make.Crew, seen: Seen
) -> None:
    """What was computed before: the budget of the side that the middle lies on."""
    came_out(known_cook(crew, 0))
    assert seen.coverage(budget(seen.model, seen.quantities)) < 0.9


def test_the_content_is_the_same_every_time(crew: make.Crew) -> None:
    batch = known_cook(crew, 0.5)
    assert came_out(batch) == came_out(batch)


def test_acid_that_just_takes_the_free_alkali_is_a_corner_as_well(
    crew: make.Crew, seen: Seen
) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    potash = make.released_lot(crew, make.potash(crew.maker))
    make.charge(crew, batch, potash.stock, 10 * G)
    sour(crew, batch, 10_275)  # 9.0 g of KOH
    make.weigh_bulk(crew, batch)
    found = came_out(make.fresh(batch))
    assert found.soap_content is not None
    assert any("just match" in note for note in found.notes)
    assert seen.coverage(found.soap_content) == pytest.approx(0.9545, abs=0.02)


def test_the_bias_of_a_scale_counts_in_the_way_that_is_less_certain(
    crew: make.Crew,
) -> None:
    batch = cooked(crew)
    before = came_out(batch).soap_content
    Instrument.objects.filter(kind="scale").update(bias_half_width=Decimal(2))
    after = came_out(batch).soap_content
    assert before is not None
    assert after is not None
    made = yield_of(batch)
    assert made.actual_mg is not None
    # One sign: both oils add up and the mass of the product takes away from it.
    # Apart, and this is more: √(oil² + oil² + product²).
    oil, product = (
        1.09 / (made.actual_mg / G),
        before.value / 100 / (made.actual_mg / G),
    )
    apart = math.sqrt(2 * oil**2 + product**2) * 100 * 2 / math.sqrt(3)
    added = math.sqrt(after.standard_uncertainty**2 - before.standard_uncertainty**2)
    assert added == pytest.approx(apart, rel=0.02)
    assert apart > (2 * oil - product) * 100 * 2 / math.sqrt(3)


def test_what_may_not_have_been_water_is_said_of_the_paste_and_of_what_it_is_in(
    crew: make.Crew,
) -> None:
    sure = cooked(crew, {"evaporation": 83})
    split = came_out(sure).outcome.split
    assert split is not None
    if not split.either:
        assert came_out(sure).lowest is None
    paste = make.released_paste(crew)
    found = came_out(paste)
    assert found.lowest == found.outcome.lowest_soap_content
    assert found.soap_content is not None
    assert found.lowest is not None
    liquid = make.diluted_batch(crew, paste=paste, basis_mg=1_000_000)
    thin = came_out(liquid)
    assert thin.lowest is not None
    assert thin.outcome.lowest_soap_content is not None
    assert thin.outcome.pot is not None
    # A kilogram of paste at its lowest, in all that was put in.
    assert thin.lowest == pytest.approx(
        found.lowest * 1_000 / thin.outcome.pot.total, rel=Decimal("1e-6")
    )
    assert thin.lowest < thin.outcome.lowest_soap_content


def test_more_doubt_about_a_loss_is_more_doubt_about_the_content(
    crew: make.Crew,
) -> None:
    batch = cooked(crew)
    before = came_out(batch).soap_content
    losses.record_loss(
        by=crew.maker,
        batch=batch,
        kind="spill",
        mass_mg=60 * G,
        half_width_mg=60 * G,
    )
    after = came_out(batch).soap_content
    assert before is not None
    assert after is not None
    assert after.value < before.value
    assert after.standard_uncertainty > 2 * before.standard_uncertainty
    assert after.dominant is not None
    assert "spilled" in after.dominant.quantity.name


def test_a_dilution_has_its_share_of_the_content_and_of_its_doubt(
    crew: make.Crew,
) -> None:
    paste = make.released_paste(crew)
    liquid = make.diluted_batch(crew, paste=paste, basis_mg=1_000_000)
    of_paste, of_liquid = (
        came_out(paste).soap_content,
        came_out(liquid).soap_content,
    )
    assert of_paste is not None
    assert of_liquid is not None
    made = yield_of(liquid).actual_mg
    assert made is not None
    share = 1_000_000 / made
    assert of_liquid.value == pytest.approx(of_paste.value * share, rel=1e-7)
    inherited = of_paste.standard_uncertainty * share
    assert of_liquid.standard_uncertainty == pytest.approx(inherited, rel=0.2)
    names = [line.quantity.name for line in of_liquid.lines]
    assert f"soap content of {paste.number}" in names


def test_a_rework_with_oil_and_potash_of_its_own_has_the_value_of_its_masses(
    crew: make.Crew, monkeypatch: pytest.MonkeyPatch
) -> None:
    # The paste in it lies at the corner, and its own content a little lower for that.
    monkeypatch.setattr(outcome, "is_near", lambda *_: False)
    bad = make.failed_paste(crew, "rework")
    rework = make.open_batch(crew, is_rework=True)
    make.charge(crew, rework, bad.stock, 700 * G, is_rework=True)
    for material, mass in (
        (make.sunflower(crew.maker), 100),
        (make.coconut(crew.maker), 20),
        (make.potash(crew.maker), 25),
    ):
        make.charge(crew, rework, make.released_lot(crew, material).stock, mass * G)
    sour(crew, rework, 4 * G)
    make.weigh_bulk(crew, rework)
    content, found = soap_content_of(rework), came_out(rework).soap_content
    assert content.percent is not None
    assert found is not None
    assert found.value == pytest.approx(float(content.percent), rel=1e-6)


def test_where_nothing_is_known_nothing_is_said(crew: make.Crew) -> None:
    found = came_out(make.open_batch(crew))
    assert found.soap_content is None
    assert found.outcome.why_not
    impossible = came_out(cooked(crew, net="1.03"))
    assert impossible.soap_content is None


def test_losses_are_signed_and_count_as_work_on_the_batch(crew: make.Crew) -> None:
    batch = make.cooked_batch(crew)
    assert "losses" not in record.facts_of(batch)  # as in signatures of before
    before = reviewing.last_entry_at(batch)
    losses.record_loss(by=crew.maker, batch=batch, kind="spill", mass_mg=9 * G)
    row = record.facts_of(batch)["losses"][0]
    assert (row["kind"], row["mass_mg"], row["half_width_mg"]) == ("spill", 9 * G, 0)
    assert reviewing.last_entry_at(batch) > before
    make.sign(crew.reviewer, batch)
    signature = Signature.objects.get()
    assert record.part(signature.record, "facts") == record.facts_of(batch)
    computed = record.part(signature.record, "computed")["soap_content_percent"]
    content = came_out(batch).soap_content
    assert content is not None
    assert float(computed["value"]) == pytest.approx(content.value, rel=1e-5)


def test_an_unexplained_loss_and_a_correction_are_notes_for_the_reviewer(
    crew: make.Crew,
) -> None:
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    oil = make.released_lot(crew, make.sunflower(crew.maker))
    cooking.correct(
        by=crew.maker,
        batch=batch,
        source=oil.stock,
        scale=make.scale(crew.maker),
        gross_mg=20 * G,
        tare_mg=0,
        reason="alkali by titration",
    )
    losses.record_loss(by=crew.maker, batch=batch, kind="evaporation", mass_mg=10 * G)
    make.weigh_bulk(crew, batch, share="0.9")
    notes = reviewing.review_of(make.fresh(batch), by=crew.reviewer).notes
    assert f"Correction with {oil.code}: alkali by titration" in notes
    assert any("is unexplained" in note for note in notes)


def test_the_budget_is_kept_whole(crew: make.Crew) -> None:
    """Every input that moves the result is in it once; the shares are all of it."""
    found = came_out(cooked(crew, {"spill": 30, "evaporation": 20})).soap_content
    assert found is not None
    names = [line.quantity.name for line in found.lines]
    assert len(names) == len(set(names))
    assert sum(line.share for line in found.lines) == pytest.approx(1)
