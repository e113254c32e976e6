"""Consecutive numbers: none twice, none lost, each series and year by itself."""

from __future__ import annotations

import pytest
from django.db import transaction

from producer.codes import is_numbered_code
from producer.models import NumberSeries, User
from producer.services.numbers import next_code
from tests.database import outcome, together


@pytest.mark.django_db
def test_each_series_and_each_year_counts_by_itself() -> None:
    codes = [
        next_code("L", 2026),
        next_code("L", 2026),
        next_code("B", 2026),
        next_code("L", 2027),
    ]
    assert [code[:-2] for code in codes] == [
        "L26-0001",
        "L26-0002",
        "B26-0001",
        "L27-0001",
    ]
    assert all(map(is_numbered_code, codes))


def numbers() -> list[str]:
    codes = []
    for _ in range(10):
        with transaction.atomic():
            codes.append(next_code("L", 2026))
    return codes


@pytest.mark.django_db(transaction=True)
def test_people_at_once_never_get_the_same_number(owner: User) -> None:
    results = together(*[numbers] * 6)
    given = [code for result in results if isinstance(result, list) for code in result]
    assert len(set(given)) == len(given) == 60
    assert NumberSeries.objects.get(name="L2026").last == 60


@pytest.mark.django_db(transaction=True)
def test_control_reading_the_last_number_gives_it_out_twice(owner: User) -> None:
    NumberSeries.objects.create(name="L2026", last=7)
    last = NumberSeries.objects.get(name="L2026").last

    def naive() -> int:
        NumberSeries.objects.filter(name="L2026").update(last=last + 1)
        return last + 1

    assert together(naive, naive) == [8, 8]


@pytest.mark.django_db(transaction=True)
def test_a_number_that_was_rolled_back_is_given_out_again(owner: User) -> None:
    def fail() -> None:
        with transaction.atomic():
            next_code("L", 2026)
            raise OSError("the power went out")

    assert isinstance(outcome(fail), OSError)
    assert next_code("L", 2026)[:-2] == "L26-0001"
