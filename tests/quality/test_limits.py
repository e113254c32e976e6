"""Limits: versions with a reason, and the one that held when a batch was opened."""

from __future__ import annotations

import functools
from decimal import Decimal

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.utils import timezone

from producer.errors import Refusal
from producer.models import JournalEntry
from quality.models import Characteristic, Limit
from quality.services import limits
from tests import make
from tests.database import together


@pytest.mark.django_db
def test_a_new_limit_is_a_new_version_and_the_old_one_stays(crew: make.Crew) -> None:
    version = make.paste_version(crew)
    first = Limit.objects.get(characteristic="ph")
    second = limits.set_limit(
        by=crew.reviewer,
        formula_version=version,
        characteristic="ph",
        reason="a year of readings",
        lower=Decimal("8.5"),
        upper=Decimal(10),
    )
    assert (first.version, second.version) == (1, 2)
    assert second.method == version.ph_method
    assert Limit.objects.get(pk=first.pk).lower == 8
    entry = JournalEntry.objects.get(reason="a year of readings")
    assert entry.before_values["lower"] == "8.000"
    assert entry.after_values["lower"] == "8.5"


@pytest.mark.django_db
def test_a_batch_is_held_against_the_limit_that_stood_when_it_was_opened(
    crew: make.Crew,
) -> None:
    before = make.open_batch(crew)
    make.set_limits(crew.reviewer, make.paste_version(crew), ph=("9", "9.5"))
    after = make.open_batch(crew)
    found = [limits.limit_for(batch, "ph") for batch in (before, after)]
    assert [limit.version for limit in found if limit] == [1, 2]


@pytest.mark.django_db
def test_a_batch_opened_before_any_limit_is_held_against_the_first(
    crew: make.Crew,
) -> None:
    version = make.paste_version(crew)
    batch = make.open_batch(crew)
    assert limits.limit_for(batch, "nothing") is None
    other = make.blend_version(crew)
    assert (
        limits.limit_for(make.open_batch(crew, other), Characteristic.CLARITY) is None
    )
    assert version.limits.count() == 3


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("lower", "upper", "said"),
    [
        (None, None, "a lower limit, an upper limit or both"),
        ("10", "8", "below the upper one"),
        ("9", "9", "below the upper one"),
    ],
)
def test_a_limit_has_a_side_and_its_sides_are_in_order(
    crew: make.Crew, lower: str | None, upper: str | None, said: str
) -> None:
    version = make.paste_version(crew)
    with pytest.raises(ValidationError, match=said):
        limits.set_limit(
            by=crew.reviewer,
            formula_version=version,
            characteristic="ph",
            reason="a slip",
            lower=Decimal(lower) if lower else None,
            upper=Decimal(upper) if upper else None,
        )


@pytest.mark.django_db
def test_only_a_reviewer_sets_limits_and_says_why(crew: make.Crew) -> None:
    version = make.paste_version(crew)
    set_limit = functools.partial(
        limits.set_limit,
        formula_version=version,
        characteristic="ph",
        upper=Decimal(10),
    )
    with pytest.raises(PermissionDenied):
        set_limit(by=crew.maker, reason="easier to meet")
    with pytest.raises(Refusal):
        set_limit(by=crew.reviewer, reason="")
    assert set_limit(by=crew.reviewer, reason="as agreed").version == 2


@pytest.mark.django_db
def test_a_ph_limit_without_its_method_is_refused_by_the_database(
    crew: make.Crew,
) -> None:
    version = make.paste_version(crew)
    with pytest.raises(IntegrityError), transaction.atomic():
        Limit.objects.create(
            formula_version=version,
            characteristic="ph",
            version=9,
            upper=Decimal(10),
            method="",
            reason="x",
            observed_at=timezone.now(),
            entered_by=crew.reviewer,
        )


@pytest.mark.django_db(transaction=True)
def test_limits_set_at_once_get_two_numbers(crew: make.Crew) -> None:
    version = make.paste_version(crew)

    def set_limit() -> Limit:
        return limits.set_limit(
            by=crew.reviewer,
            formula_version=version,
            characteristic="ph",
            reason="as agreed",
            upper=Decimal(10),
        )

    results = together(set_limit, set_limit)
    assert sorted(r.version for r in results if isinstance(r, Limit)) == [2, 3]
