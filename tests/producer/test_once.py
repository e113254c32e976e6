"""A scene put back is the scene that was built, and only where it may be."""

from __future__ import annotations

import collections
import datetime
from collections.abc import Callable
from pathlib import Path

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from producer.models import Consignee, Instrument
from quality.services.verification import CHECKS
from tests import bottling, make
from tests.database import rolled_back, row_values
from tests.once import SHARED, NotPlainError, once, plain

pytestmark = pytest.mark.django_db
Counted = Callable[..., Consignee]


@pytest.fixture
def built() -> list[str]:
    """Return the names for which the builder below was really run."""
    return []


@pytest.fixture
def shop(built: list[str]) -> Counted:
    """Return a builder of shops that notes when it is run."""

    @once
    def shop(crew: make.Crew, name: str = "A shop") -> Consignee:
        built.append(name)
        return make.consignee(crew.maker, name)

    return shop


def test_the_rows_put_back_are_those_that_were_built(crew: make.Crew) -> None:
    held = []
    asked = []
    for _ in range(2):
        with rolled_back(), CaptureQueriesContext(connection) as queries:
            lot = bottling.bottled(crew)
            asked.append(len(queries))
            held.append((row_values(), lot.pk, lot.code, lot.batch.number))
    assert held[0] == held[1]
    assert asked[1] < 300  # and not some thousands, of which it was made before


def test_what_is_put_back_is_verified_and_can_be_gone_on_with(crew: make.Crew) -> None:
    for _ in range(2):
        with rolled_back():
            lot = bottling.bottled(crew)
            other = make.filled(crew, make.released_liquid(crew, share="0.98"))
            assert other.pk != lot.pk
            assert [fault for check in CHECKS for fault in check.faults()] == []


def test_it_is_run_once(crew: make.Crew, shop: Counted, built: list[str]) -> None:
    for _ in range(3):
        with rolled_back():
            found = shop(crew)
            assert Consignee.objects.get().reference == found.reference
    assert built == ["A shop"]


runs: list[str] = []


@once
def market(crew: make.Crew) -> Consignee:
    runs.append("run")
    return make.consignee(crew.maker, "A market")


def test_what_another_process_built_is_not_built_again(
    crew: make.Crew, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv(SHARED, str(tmp_path))
    for _ in range(2):
        # Each time as in a process that has built nothing yet.
        monkeypatch.setattr("tests.once._scenes", collections.OrderedDict())
        with rolled_back():
            assert market(crew).reference == Consignee.objects.get().reference
    assert runs == ["run"]


def test_other_words_make_another_scene(
    crew: make.Crew, shop: Counted, built: list[str]
) -> None:
    for name in ("One", "Two", "One"):
        with rolled_back():
            assert shop(crew, name=name).name == name
    assert built == ["One", "Two"]


def test_after_another_act_it_is_another_book(
    crew: make.Crew, shop: Counted, built: list[str]
) -> None:
    with rolled_back():
        shop(crew)
    make.scale(crew.maker)
    with rolled_back():
        shop(crew)
    assert built == ["A shop", "A shop"]


def test_a_row_changed_without_an_act_is_another_book(
    crew: make.Crew, shop: Counted, built: list[str]
) -> None:
    for name in ("bench scale", "other scale"):
        with rolled_back():
            make.scale(crew.maker)
            Instrument.objects.update(name=name)
            shop(crew)
    assert built == ["A shop", "A shop"]


def test_a_row_that_no_act_has_taken_is_waited_for(
    crew: make.Crew, shop: Counted, built: list[str]
) -> None:
    with rolled_back():
        shop(crew)
    with rolled_back():
        Instrument.objects.create(kind="scale", name="by hand", resolution=1)
        shop(crew)
    assert built == ["A shop", "A shop"]


def test_with_the_clock_set_it_is_built_anew(
    crew: make.Crew,
    shop: Counted,
    built: list[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    with rolled_back():
        shop(crew)
    later = timezone.now() + datetime.timedelta(minutes=5)
    monkeypatch.setattr(timezone, "now", lambda: later)
    with rolled_back():
        shop(crew)
    assert built == ["A shop", "A shop"]


def test_what_has_no_plain_words_is_told(crew: make.Crew) -> None:
    assert plain([crew.maker, {"a": (1, "b")}]) == plain([crew.maker, {"a": (1, "b")}])
    assert plain(crew.maker) != plain(crew.reviewer)
    for told in (timezone.now(), object(), Instrument(name="not kept"), len):
        with pytest.raises(NotPlainError):
            plain(told)
