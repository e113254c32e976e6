"""A company prefix, and numbers under it. The prefix is that of published examples."""

from __future__ import annotations

from typing import Any

from batches.models import Formula, ItemNumber
from batches.services import item_numbers
from producer import gs1
from producer.models import Premises, User
from producer.services import registers
from tests import make

PREFIX = "4012345"
LOCATION = "4012345000009"


def number(item: int) -> str:
    """Return the GTIN of an item of the prefix, with its last digit."""
    begun = f"0{PREFIX}{item:05}"
    return begun + gs1.check_digit(begun)


def with_prefix(owner: User, **more: Any) -> Premises:
    """Write the prefix down, and what else is told."""
    premises = Premises.objects.get()
    for name, value in {"gs1_company_prefix": PREFIX, **more}.items():
        setattr(premises, name, value)
    return registers.save(by=owner, entry=premises)


def given(
    crew: make.Crew, formula: Formula, item: int = 11111, nominal_ul: int = 500_000
) -> ItemNumber:
    """Give a product in one size the number of an item."""
    return item_numbers.give(
        by=crew.maker, formula=formula, nominal_ul=nominal_ul, gtin=number(item)
    )


def owner() -> User:
    """Return who set the premises up."""
    return User.objects.get(username="odile.brandt")
