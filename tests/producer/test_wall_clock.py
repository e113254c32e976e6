"""A time typed in the night in which the clock is put forward or back."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from zoneinfo import ZoneInfo

import pytest
from django import forms
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from producer import wall_clock
from producer.errors import Refusal
from producer.forms.base import ActForm
from producer.forms.fields import ObservedField
from tests.doors.pages import Page

BERLIN = ZoneInfo("Europe/Berlin")
# A half hour: the clock of Lord Howe Island is put back and forward by 30 minutes.
LORD_HOWE = ZoneInfo("Australia/Lord_Howe")
TWICE, NEVER = "2026-10-25T02:30", "2026-03-29T02:30"


class Observing(ActForm):
    observed_at = ObservedField()


@pytest.fixture(autouse=True)
def _in_berlin() -> Iterator[None]:
    with timezone.override(BERLIN):
        yield


def sent(text: str, **more: str) -> Observing:
    return Observing(
        {"observed_at": text, "submission": "6f2b8c9e-8a0d-4d51-9f53-8d3c6f8b7a11"}
        | more
    )


def taken(text: str, **more: str) -> datetime.datetime:
    form = sent(text, **more)
    assert form.is_valid(), form.errors
    at = form.cleaned_data["observed_at"]
    assert isinstance(at, datetime.datetime)
    return at


def refused(text: str, **more: str) -> str:
    return str(sent(text, **more).errors["observed_at"])


def drawn(form: forms.Form) -> Page:
    page = Page()
    page.feed(str(form["observed_at"]))
    return page


def utc(day: int, hour: int, minute: int, month: int = 10) -> datetime.datetime:
    return datetime.datetime(2026, month, day, hour, minute, tzinfo=datetime.UTC)


# ----------------------------------------------------------------- the arithmetic


def test_a_half_hour_is_shown_twice_where_the_clock_moves_by_half_an_hour() -> None:
    shown = datetime.datetime(2026, 4, 5, 1, 45)  # noqa: DTZ001 - on the wall
    first, second = wall_clock.moments_of(shown, LORD_HOWE)
    assert second - first == datetime.timedelta(minutes=30)


@given(st.datetimes(datetime.datetime(2020, 1, 1), datetime.datetime(2030, 1, 1)))  # noqa: DTZ001
def test_each_moment_found_is_one_at_which_the_clock_shows_it(
    shown: datetime.datetime,
) -> None:
    shown = shown.replace(fold=0)
    for at in wall_clock.moments_of(shown, BERLIN):
        assert at.astimezone(BERLIN).replace(tzinfo=None, fold=0) == shown


@given(st.datetimes(datetime.datetime(2020, 1, 1), datetime.datetime(2030, 1, 1)))  # noqa: DTZ001
def test_no_moment_is_lost_by_writing_down_what_the_clock_shows(
    moment: datetime.datetime,
) -> None:
    at = moment.replace(tzinfo=datetime.UTC)
    local = at.astimezone(BERLIN)
    shown = local.replace(tzinfo=None, fold=0)
    assert at in wall_clock.moments_of(shown, BERLIN)
    offset = wall_clock.offset_of(local)
    assert wall_clock.moment_of(shown, BERLIN, offset=offset) == at


# ----------------------------------------------------------------- what is typed


def test_an_ordinary_time_is_taken_in_utc() -> None:
    at = taken("2026-10-24T02:30")
    assert at == utc(24, 0, 30)
    assert at.utcoffset() == datetime.timedelta(0)
    assert sent("").is_valid()  # control: empty means now


def test_a_time_that_the_clock_shows_twice_is_asked_about() -> None:
    form = sent(TWICE)
    assert "showed 02:30 on 25 Oct 2026 twice" in str(form.errors["observed_at"])
    page = drawn(form)
    assert "02:30 +02:00, the first, before the clock was put back" in page.words
    assert "02:30 +01:00, the second, after it was" in page.words
    (typed,) = page.attributes("input")
    assert typed["value"] == TWICE
    (asked,) = page.attributes("select")
    (label,) = page.attributes("label")
    assert asked["name"] == "observed_at_which"
    assert label["for"] == asked["id"] != typed["id"]


def test_the_answer_decides_which_of_the_two() -> None:
    first = taken(TWICE, observed_at_which="+02:00")
    second = taken(TWICE, observed_at_which="+01:00")
    assert (first, second) == (utc(25, 0, 30), utc(25, 1, 30))


def test_the_answer_stays_chosen_when_something_else_was_wrong() -> None:
    page = drawn(sent(TWICE, observed_at_which="+01:00"))
    chosen = [one["value"] for one in page.attributes("option") if "selected" in one]
    assert chosen == ["+01:00"]


@pytest.mark.parametrize("answer", ["", "+03:00", "-01:00", "summer", "+02:00 x"])
def test_what_is_no_answer_is_asked_again(answer: str) -> None:
    assert not sent(TWICE, observed_at_which=answer).is_valid()


def test_an_answer_left_behind_does_not_move_another_time() -> None:
    assert taken("2026-10-25T05:00", observed_at_which="+02:00") == utc(25, 4, 0)


def test_a_time_that_never_was_is_refused_with_what_to_write() -> None:
    said = refused(NEVER)
    assert "never showed 02:30 on 29 Mar 2026" in said
    assert "means 03:30; write that." in said
    assert taken("2026-03-29T03:30") == utc(29, 1, 30, month=3)
    assert drawn(sent(NEVER)).attributes("select") == []


def test_a_time_with_its_own_offset_needs_no_question() -> None:
    assert taken(f"{TWICE}+01:00") == utc(25, 1, 30)


@pytest.mark.parametrize("text", ["soon", "²", "2026-13-01T02:30", "2026-10-25T25:00"])
def test_what_is_no_time_is_said_to_be_none(text: str) -> None:
    assert "valid date/time" in refused(text)


def test_a_form_shown_with_a_time_of_the_second_hour_says_so() -> None:
    form = Observing(initial={"observed_at": utc(25, 1, 30)})
    page = drawn(form)
    chosen = [one["value"] for one in page.attributes("option") if "selected" in one]
    assert chosen == ["+01:00"]
    assert drawn(Observing()).attributes("select") == []


def test_the_pure_function_refuses_as_the_form_does() -> None:
    with pytest.raises(Refusal, match="twice"):
        wall_clock.moment_of(datetime.datetime(2026, 10, 25, 2, 30), BERLIN)  # noqa: DTZ001
