"""A titration that contradicts what is known asks for a reason, or is refused."""

from __future__ import annotations

import dataclasses
from decimal import Decimal
from typing import Any

import pytest

from batches.models import Titration
from batches.services import sources
from batches.services.titrating import Replicate
from producer.errors import Refusal
from producer.models import JournalEntry, RawLot
from tests import lab, make

pytestmark = pytest.mark.django_db

# 90.2 ± 0.5 %, as on the certificate of the review that found the fault
CERTIFICATE = {"assay_percent": Decimal("90.2"), "assay_half_width": Decimal("0.5")}


@pytest.fixture
def potash(crew: make.Crew) -> RawLot:
    return make.released_lot(crew, make.potash(crew.maker), certificate=CERTIFICATE)


def potash_titrated(
    crew: make.Crew, lot: RawLot, percent: str, *, strength: str = "1", **facts: Any
) -> Titration:
    """Titrate two samples that, with acid of 1 mol/l, hold so much hydroxide."""
    volume = (Decimal(percent) * 10 * Decimal("1.5") / Decimal("56.1053")).quantize(
        Decimal("0.001")
    )
    sample = Replicate(sample_mg=1500, volume_ml=volume, second_volume_ml=volume)
    setup = {"concentration": Decimal(strength)}
    return lab.titration(crew, lot.stock, sample, sample, setup=setup, **facts)


def oil_titrated(crew: make.Crew, lot: RawLot, value: str, **facts: Any) -> Titration:
    """Titrate two samples of an oil to so many mg KOH/g, U = 1.6."""
    taken = Decimal(value) * Decimal("1.5") / Decimal("56.1053") / Decimal("0.5")
    volume = (25 - taken).quantize(Decimal("0.001"))
    sample = Replicate(sample_mg=1500, volume_ml=volume)
    return lab.titration(
        crew,
        lot.stock,
        sample,
        sample,
        kind="saponification_value",
        setup={
            "concentration": Decimal("0.5"),
            "half_width": Decimal("0.001"),
            "blank_ml": Decimal(25),
        },
        **facts,
    )


def test_half_the_titrant_does_not_double_the_potash(
    crew: make.Crew, potash: RawLot
) -> None:
    with pytest.raises(Refusal) as refused:
        potash_titrated(crew, potash, "89", strength="0.5")
    assert refused.value.field == "unusual"
    said = refused.value.message
    assert "Hydroxide of 44.5" in said
    assert "certificate version 1, which says 90.20 ± 0.58 %" in said
    assert "strength of the titrant (0.5 mol/l)" in said
    assert "mass and volume were swapped" in said
    assert "litres were written for millilitres" in said
    assert not Titration.objects.exists()
    assert sources.potash_fraction(potash).value == Decimal("0.902")


def test_with_a_reason_it_stands_and_the_reason_with_it(
    crew: make.Crew, potash: RawLot
) -> None:
    row = potash_titrated(
        crew, potash, "89", strength="0.5", unusual=" the tin holds lye "
    )
    assert row.reason == "the tin holds lye"
    entry = JournalEntry.objects.order_by("-sequence")[0]
    assert entry.reason == "the tin holds lye"
    found = sources.potash_fraction(potash)
    assert found.value == pytest.approx(Decimal("0.445"), abs=Decimal("0.001"))
    assert "; differs from certificate version 1, 90.20 ± 0.58 %" in found.origin


def test_what_is_no_potash_at_all_no_reason_excuses(
    crew: make.Crew, potash: RawLot
) -> None:
    with pytest.raises(Refusal, match=r"39\.9 % KOH is no potash for soap") as refused:
        potash_titrated(crew, potash, "39.9", unusual="I am sure")
    assert "litres were written for millilitres" in refused.value.message
    assert not Titration.objects.exists()


@pytest.mark.parametrize(
    ("percent", "fits"),
    [
        ("82.3", True),  # 7.9 less: age may do that
        ("82.1", False),  # 8.1 less
        ("90.7", True),  # within U of the difference, 0.7
        ("91.3", False),  # above it
    ],
)
def test_potash_gets_weaker_by_age_and_never_stronger(
    crew: make.Crew, potash: RawLot, percent: str, *, fits: bool
) -> None:
    if fits:
        assert potash_titrated(crew, potash, percent).reason == ""
    else:
        with pytest.raises(Refusal, match="does not fit certificate version 1"):
            potash_titrated(crew, potash, percent)


def test_without_a_certificate_only_the_least_assay_binds(crew: make.Crew) -> None:
    lot = make.held_lot(crew, make.potash(crew.maker))
    assert potash_titrated(crew, lot, "48").value
    with pytest.raises(Refusal, match="no potash for soap"):
        potash_titrated(crew, lot, "30")


def test_a_certificate_no_potash_can_have_contradicts_nothing(
    crew: make.Crew,
) -> None:
    lot = make.held_lot(crew, make.potash(crew.maker))
    lab.impossible_certificate(
        crew, lot, assay_percent=Decimal(99), carbonate_percent=Decimal(5)
    )
    potash_titrated(crew, lot, "89")
    assert sources.potash_fraction(lot).certificate is None


@pytest.mark.parametrize(
    ("value", "fits"),
    [("195.2", True), ("196", False), ("186.8", True), ("186", False)],
)
def test_an_oil_outside_its_published_range_asks_why(
    crew: make.Crew, value: str, *, fits: bool
) -> None:
    lot = make.held_lot(crew, make.sunflower(crew.maker))  # 188 to 194
    if fits:
        assert oil_titrated(crew, lot, value).reason == ""
        return
    with pytest.raises(Refusal, match=r"published range of .*, 188 to 194") as refused:
        oil_titrated(crew, lot, value)
    assert refused.value.field == "unusual"
    assert oil_titrated(crew, lot, value, unusual="another harvest").reason


@pytest.mark.parametrize(("value", "fits"), [("191.9", True), ("193", False)])
def test_an_oil_off_its_certificate_asks_why(
    crew: make.Crew, value: str, *, fits: bool
) -> None:
    lot = make.released_lot(crew, make.sunflower(crew.maker), certificate={})
    if fits:
        assert oil_titrated(crew, lot, value).reason == ""
        return
    with pytest.raises(
        Refusal, match=r"certificate version 1, which says 190\.5 ± 1\.2"
    ):
        oil_titrated(crew, lot, value)


def test_litres_and_swapped_columns_of_an_oil_are_told_in_round_figures(
    crew: make.Crew,
) -> None:
    lot = make.held_lot(crew, make.sunflower(crew.maker))
    swapped = Replicate(sample_mg=14_700, volume_ml=Decimal("1.5"))
    litres = Replicate(sample_mg=1500, volume_ml=Decimal("0.015"))
    for sample, blank, figure in (
        (swapped, "25", "44.8"),
        (litres, "0.025", "0.2"),
    ):
        with pytest.raises(Refusal) as refused:
            lab.titration(
                crew,
                lot.stock,
                sample,
                dataclasses.replace(sample),
                kind="saponification_value",
                setup={"concentration": Decimal("0.5"), "blank_ml": Decimal(blank)},
            )
        said = refused.value.message
        assert f"value is {figure} mg KOH per gram, outside 160 to 280" in said
        assert "mass and volume were swapped" in said
        assert "litres were written" in said
        assert "sodium" not in said
