"""The soap content with its ±, held against draws and against its own parts."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

import pytest

from batches.models import Batch
from batches.services import cooking, losses
from batches.services.outcome import soap_content_of
from batches.services.results import yield_of
from producer.models import Material
from producer.services import registers
from quality.models import Signature
from quality.services import outcome, record, reviewing
from quality.services.outcome import came_out
from quality.statistics.budgets import budget
from quality.statistics.simulation import simulate
from tests import make

pytestmark = pytest.mark.django_db

G = 1_000  # milligrams


def cooked(
    crew: make.Crew, lost: Mapping[str, int] | None = None, *, net: str = "0.95"
) -> Batch:
    """Return a cook that was weighed, with these losses written down in grams."""
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    for kind, mass in (lost or {}).items():
        losses.record_loss(
            by=crew.maker, batch=batch, kind=kind, mass_mg=mass * G, half_width_mg=5 * G
        )
    make.weigh_bulk(crew, batch, share=net)
    return make.fresh(batch)


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


@pytest.mark.parametrize("corner", [False, True])
def test_the_budget_agrees_with_draws_but_for_the_corner_where_potash_just_suffices(
    crew: make.Crew,
    monkeypatch: pytest.MonkeyPatch,
    corner: bool,  # noqa: FBT001
) -> None:
    seen: list[Any] = []
    exact = budget

    def spy(model: Any, quantities: Any, **facts: Any) -> Any:
        seen.append((model, quantities))
        return exact(model, quantities, **facts)

    monkeypatch.setattr(outcome, "budget", spy)
    batch = make.open_batch(crew)
    make.charge_all(crew, batch)
    if not corner:
        potash = make.released_lot(crew, make.potash(crew.maker))
        make.charge(crew, batch, potash.stock, 10 * G)
    for kind in ("spill", "evaporation"):
        losses.record_loss(
            by=crew.maker,
            batch=batch,
            kind=kind,
            mass_mg=20 * G,
            half_width_mg=5 * G,
        )
    make.weigh_bulk(crew, batch)
    found = came_out(batch).soap_content
    assert found is not None
    drawn = simulate(*seen[0], draws=100_000, seed=7)
    if corner:  # documented: the lesser of two that just match lies below both
        assert 0.995 * found.value < drawn.mean < found.value
    else:
        assert drawn.mean == pytest.approx(found.value, rel=1e-3)
        assert drawn.standard_deviation == pytest.approx(
            found.standard_uncertainty, rel=0.01
        )


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
    crew: make.Crew,
) -> None:
    bad = make.failed_paste(crew, "rework")
    rework = make.open_batch(crew, is_rework=True)
    make.charge(crew, rework, bad.stock, 700 * G, is_rework=True)
    for material, mass in (
        (make.sunflower(crew.maker), 100),
        (make.coconut(crew.maker), 20),
        (make.potash(crew.maker), 25),
    ):
        make.charge(crew, rework, make.released_lot(crew, material).stock, mass * G)
    entry = Material(name="citric acid", kind="addition", acid="citric_anhydrous")
    acid = make.released_lot(crew, registers.save(by=crew.maker, entry=entry))
    cooking.correct(
        by=crew.maker,
        batch=rework,
        source=acid.stock,
        scale=make.scale(crew.maker),
        gross_mg=4 * G,
        tare_mg=0,
        reason="sour enough to split some",
    )
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
    content = soap_content_of(batch).percent
    assert content is not None
    assert Decimal(computed["value"]) == pytest.approx(content, rel=Decimal("1e-5"))


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
