"""What an acid takes up."""

from __future__ import annotations

import pytest

from batches.chemistry.acids import (
    CITRIC_ANHYDROUS,
    CITRIC_MONOHYDRATE,
    koh_per_gram,
)
from batches.chemistry.errors import ChemistryError
from producer.models import Material

pytestmark = pytest.mark.any_engine


def test_the_water_in_the_crystals_takes_nothing_up() -> None:
    dry, wet = koh_per_gram(CITRIC_ANHYDROUS), koh_per_gram(CITRIC_MONOHYDRATE)
    assert float(wet / dry) == pytest.approx(192.123 / 210.138, rel=1e-6)


def test_every_acid_that_can_be_registered_is_known() -> None:
    for acid in Material.Acid.values:
        assert 0 < koh_per_gram(acid) < 1


def test_another_acid_is_refused_rather_than_guessed() -> None:
    with pytest.raises(ChemistryError, match="Use citric acid"):
        koh_per_gram("vinegar")
