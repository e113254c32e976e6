"""Opening a batch and computing what to weigh from the very lots chosen."""

from __future__ import annotations

import datetime
from decimal import Decimal

import pytest
from django.core.exceptions import PermissionDenied
from django.utils import timezone

from batches.models import Batch, FormulaVersion, LotChoice
from batches.services import cooking, formulas, planning
from producer.errors import Refusal
from producer.models import Premises, RawLot, User
from producer.services import intake, registers
from tests import lab, make

DAY = datetime.timedelta(days=1)


def potash_target(batch: Batch) -> int | None:
    """Return what the plan says to weigh of potash, in milligrams."""
    return next(
        line.target_mg
        for line in planning.plan_of(batch).lines
        if line.kind == "potash"
    )


def choose(crew: make.Crew, batch: Batch, **lots: RawLot) -> None:
    """Choose lots by the first word of the material's name."""
    lines = {
        str(line.material).split(" ", maxsplit=1)[0]: line
        for line in batch.formula_version.lines.all()
    }
    planning.choose_lots(
        by=crew.maker,
        batch=batch,
        choices={lines[name].pk: lot.stock for name, lot in lots.items()},
    )


def two_oils(crew: make.Crew) -> dict[str, RawLot]:
    return {
        "sunflower": make.released_lot(
            crew, make.sunflower(crew.maker), certificate={}
        ),
        "coconut": make.released_lot(crew, make.coconut(crew.maker)),
    }


@pytest.mark.django_db
def test_the_potash_to_weigh_follows_from_the_oils_and_the_purity_of_the_lots(
    crew: make.Crew,
) -> None:
    batch = make.open_batch(crew)
    lots = two_oils(crew)
    potash = make.released_lot(crew, make.potash(crew.maker))
    assert potash_target(batch) is None
    choose(crew, batch, **lots)
    # 800 g × 190.5 (certificate) + 200 g × 256.5 (middle of 248 to 265), in mg/g
    need = planning.plan_of(batch).alkali_need_g
    assert need == Decimal("152.4") + Decimal("51.3")
    assert potash_target(batch) is None
    choose(crew, batch, potash=potash)
    assert potash_target(batch) == round(Decimal("203.7") / Decimal("0.9") * 1000)


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("certificate", "usable"),
    [
        ({"assay_percent": Decimal(85)}, "0.85"),
        # 2 × 56.1053 / 138.205 = 0.81192 g of KOH for a gram of K2CO3
        (
            {
                "assay_percent": Decimal(85),
                "assay_basis": "total_alkali",
                "carbonate_percent": Decimal("3.5"),
            },
            "0.82158",
        ),
        # not stated: the middle of 0 to 3.5 %, 85 − 1.75 × 0.81192
        ({"assay_percent": Decimal(85), "assay_basis": "total_alkali"}, "0.83579"),
        # “minimum”: the middle of 85 to 87 %
        ({"assay_percent": Decimal(85), "assay_is_minimum": True}, "0.86"),
    ],
)
def test_the_basis_of_the_assay_counts(
    crew: make.Crew, certificate: dict[str, object], usable: str
) -> None:
    batch = make.open_batch(crew)
    potash = make.released_lot(crew, make.potash(crew.maker), certificate=certificate)
    choose(crew, batch, potash=potash, **two_oils(crew))
    target = potash_target(batch)
    assert target is not None
    assert abs(target - Decimal("203.7") / Decimal(usable) * 1000) < 3


@pytest.mark.django_db
def test_a_new_certificate_version_changes_nothing_that_was_weighed_by_the_old_one(
    crew: make.Crew,
) -> None:
    batch = make.open_batch(crew)
    potash = make.released_lot(crew, make.potash(crew.maker))
    make.charge_all(crew, batch, {"potash": potash.stock})
    charge = batch.charges.get(source=potash.stock)
    intake.record_certificate(
        by=crew.maker,
        lot=potash,
        values=make.certificate_values(potash.material, assay_percent=Decimal(87)),
        upload=None,
        reason="supplier corrected it",
    )
    charge.refresh_from_db()
    assert charge.figure == Decimal("0.9")
    assert charge.certificate is not None
    assert charge.certificate.version == 1
    before = batch.charges.get(source=potash.stock).net_mg
    after = potash_target(batch)
    assert after is not None
    assert abs(after - before) < 3


@pytest.mark.django_db
def test_what_is_really_in_the_pot_counts_more_than_the_plan(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    lots = two_oils(crew)
    choose(crew, batch, potash=make.released_lot(crew, make.potash(crew.maker)), **lots)
    planned = potash_target(batch)
    make.charge(crew, batch, lots["sunflower"].stock, 810_000)
    poured = potash_target(batch)
    assert planned is not None
    assert poured is not None
    more = Decimal("0.1905") * 10_000 / Decimal("0.9")
    assert abs(poured - planned - more) <= 1


@pytest.mark.django_db
def test_impossible_certificate_figures_are_told_and_not_computed_with(
    crew: make.Crew,
) -> None:
    # 99 % hydroxide and 5 % carbonate are more than everything
    potash = make.released_lot(crew, make.potash(crew.maker))
    lab.impossible_certificate(
        crew, potash, assay_percent=Decimal(99), carbonate_percent=Decimal(5)
    )
    batch = make.open_batch(crew)
    with pytest.raises(Refusal, match=r"more than 100 %"):
        choose(crew, batch, potash=potash)
    assert not LotChoice.objects.exists()


@pytest.mark.django_db
def test_a_certificate_revised_to_the_impossible_stops_the_plan_with_a_sentence(
    crew: make.Crew,
) -> None:
    batch = make.open_batch(crew)
    potash = make.released_lot(crew, make.potash(crew.maker))
    choose(crew, batch, potash=potash, **two_oils(crew))
    assert potash_target(batch)
    lab.impossible_certificate(
        crew, potash, assay_percent=Decimal(99), carbonate_percent=Decimal(5)
    )
    line = next(x for x in planning.plan_of(batch).lines if x.kind == "potash")
    assert line.target_mg is None
    assert "more than 100 %" in line.origin


@pytest.mark.django_db
def test_without_a_poison_centre_no_batch_is_opened(
    crew: make.Crew, owner: User
) -> None:
    version = make.paste_version(crew)
    premises = Premises.objects.get()
    premises.poison_centre = ""
    registers.save(by=owner, entry=premises)
    with pytest.raises(Refusal, match="poison centre"):
        make.open_batch(crew, version)
    assert not Batch.objects.exists()


@pytest.mark.django_db
@pytest.mark.parametrize("person", ["owner", "reviewer", "auditor"])
def test_only_a_maker_opens_a_batch(
    crew: make.Crew, request: pytest.FixtureRequest, person: str
) -> None:
    version = make.paste_version(crew)
    with pytest.raises(PermissionDenied):
        make.open_batch(crew._replace(maker=request.getfixturevalue(person)), version)


@pytest.mark.django_db
def test_scenario_30_formula_edited_mid_batch(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    old = batch.formula_version
    water_then = make.line_of(batch, "distilled water").per_kg_mg
    new = formulas.write_version(
        by=crew.maker,
        formula=old.formula,
        wording=formulas.Wording(product_name="Kitchen paste", shelf_life_days=300),
        lines=make.paste_lines(crew.maker, water_mg=500_000),
        reason="too stiff",
    )
    make.set_limits(crew.reviewer, new, ph=("8", "9"))

    kept = make.fresh(batch)
    assert kept.formula_version == old
    planned = {line.name: line.target_mg for line in planning.plan_of(kept).lines}
    assert planned["distilled water"] == water_then == 420_000
    water = make.released_lot(crew, make.water(crew.maker))
    line = new.lines.get(material=water.material)
    with pytest.raises(Refusal, match="another formula version"):
        make.charge(crew, kept, water.stock, 1000, line=line)
    # the running batch is finished and released by what it began with: pH 9.2
    make.charge_all(crew, kept)
    done = make.signed(crew.reviewer, make.complete(crew, kept), "release")
    assert done.formula_version == old
    # a new batch takes the new version, and only that
    with pytest.raises(Refusal, match="newer version"):
        make.open_batch(crew, old)
    assert make.open_batch(crew, new).formula_version == new
    assert FormulaVersion.objects.filter(formula=old.formula).count() == 2


def expired(lot: RawLot) -> RawLot:
    """Return a lot that was released in time and then grew old."""
    RawLot.objects.filter(pk=lot.pk).update(
        received_on=make.TODAY - 9 * DAY, expires_on=make.TODAY - 3 * DAY
    )
    return lot


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("state", "said"),
    [
        ("held", "not released"),
        ("other material", "does not ask for"),
        ("retest due", "due for retest"),
        ("expired", "expired on"),
    ],
)
def test_only_a_released_lot_of_the_right_material_in_date_is_chosen(
    crew: make.Crew, state: str, said: str
) -> None:
    batch = make.open_batch(crew)
    water = make.water(crew.maker)
    lot = {
        "held": lambda: make.held_lot(crew, water),
        "other material": lambda: make.released_lot(crew, make.coconut(crew.maker)),
        "retest due": lambda: make.released_lot(
            crew, water, retest_on=make.TODAY - 3 * DAY
        ),
        "expired": lambda: expired(make.released_lot(crew, water)),
    }[state]()
    with pytest.raises(Refusal, match=said) as refusal:
        choose(crew, batch, distilled=lot)
    assert refusal.value.field == "source"
    choose(crew, batch, distilled=make.released_lot(crew, water))  # control


@pytest.mark.django_db
def test_a_line_of_another_formula_cannot_be_chosen_for(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    other = make.liquid_version(crew)
    water = make.released_lot(crew, make.water(crew.maker))
    line = other.lines.get(material=water.material)
    with pytest.raises(Refusal, match="another formula version"):
        planning.choose_lots(by=crew.maker, batch=batch, choices={line.pk: water.stock})


@pytest.mark.django_db
def test_a_choice_can_be_changed_and_taken_back(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    water = make.water(crew.maker)
    first, second = make.released_lot(crew, water), make.released_lot(crew, water)
    choose(crew, batch, distilled=first)
    choose(crew, batch, distilled=second)
    assert LotChoice.objects.get().source == second.stock
    line = make.line_of(batch, "distilled water")
    planning.choose_lots(by=crew.maker, batch=batch, choices={line.pk: None})
    assert not LotChoice.objects.exists()


@pytest.mark.django_db
def test_a_time_far_ahead_is_refused(crew: make.Crew) -> None:
    with pytest.raises(Refusal, match="future"):
        make.open_batch(crew, opened_at=timezone.now() + 2 * DAY)


@pytest.mark.django_db
def test_a_batch_that_was_never_begun_can_be_given_up(crew: make.Crew) -> None:
    batch = make.open_batch(crew)
    with pytest.raises(Refusal):
        cooking.abandon(by=crew.maker, batch=batch, reason="")
    done = cooking.abandon(by=crew.maker, batch=batch, reason="no gas")
    assert make.fresh(done).status == "abandoned"
    with pytest.raises(Refusal, match="closed"):
        make.charge_all(crew, done)


@pytest.mark.django_db
def test_a_dilution_is_no_rework_because_only_a_paste_can_be_titrated(
    crew: make.Crew,
) -> None:
    version = make.liquid_version(crew)
    with pytest.raises(Refusal, match="reworked in a cook or a blend"):
        make.open_batch(crew, version, is_rework=True)
    assert make.open_batch(crew, make.blend_version(crew), is_rework=True).is_rework
