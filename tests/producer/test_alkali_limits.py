"""What the premises calls too much, and which addition is an acid."""

from __future__ import annotations

from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError

from producer.models import Material, Premises, User
from producer.services import registers


def test_the_limits_have_values_that_work_from_the_first_day(
    premises: Premises,
) -> None:
    assert premises.free_alkali_limit_percent == Decimal("0.25")
    assert premises.unsaponified_limit_percent == 1
    assert premises.risk_to_warn_percent == 5
    assert premises.risk_to_stop_percent == 20
    assert premises.water_hardness is None


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"free_alkali_limit_percent": Decimal(3)}, "at most at 2 %"),
        ({"unsaponified_limit_percent": Decimal(0)}, "above 0"),
        ({"risk_to_warn_percent": Decimal(30)}, "not above the one at which not to"),
        ({"risk_to_stop_percent": Decimal(60)}, "at most 50 %"),
        ({"water_hardness": Decimal(21)}, "Check the unit"),
    ],
)
def test_a_limit_that_nobody_can_mean_is_refused(
    premises: Premises, owner: User, changes: dict[str, Decimal], words: str
) -> None:
    for name, value in changes.items():
        setattr(premises, name, value)
    with pytest.raises(ValidationError, match=words):
        registers.save(by=owner, entry=premises)


def test_only_an_addition_can_be_an_acid(maker: User) -> None:
    oil_of_acid = Material(name="citric acid", kind="water", acid="citric_anhydrous")
    with pytest.raises(ValidationError, match="registered as an addition"):
        registers.save(by=maker, entry=oil_of_acid)
    acid = Material(name="citric acid", kind="addition", acid="citric_anhydrous")
    assert registers.save(by=maker, entry=acid).pk
