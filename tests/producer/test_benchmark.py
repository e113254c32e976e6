from __future__ import annotations

import io
import json
import sys
from collections.abc import Iterator
from types import ModuleType

import pytest
from django.core.management import CommandError, call_command

from producer.management.commands import benchmark
from tests.benchmarks import Row

pytestmark = pytest.mark.any_engine

GOOD = Row("sheets a second; peer: one by one", 12.0, 4.0, "ratio ≥ 2", holds=True)
BAD = Row("faults; peer: without care", 1.0, 0.0, "0", holds=False)


@pytest.fixture
def some(monkeypatch: pytest.MonkeyPatch) -> list[Row]:
    """Return the rows of a benchmark called “some”, which measures nothing."""
    measured: list[Row] = []
    module = ModuleType("tests.benchmarks.some")

    def rows() -> Iterator[Row]:
        yield from measured

    module.rows = rows  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "tests.benchmarks.some", module)
    monkeypatch.setattr(benchmark, "names", lambda: ["labels", "some"])
    return measured


def run(name: str, **options: bool) -> str:
    said = io.StringIO()
    call_command("benchmark", name, stdout=said, **options)
    return said.getvalue()


def test_json_is_one_object_a_line_with_the_six_facts(some: list[Row]) -> None:
    some += [GOOD, GOOD]
    lines = run("some", json=True).splitlines()
    assert [json.loads(line) for line in lines] == [
        {
            "name": "sheets a second; peer: one by one",
            "ours": 12.0,
            "peer": 4.0,
            "ratio": 3.0,
            "goal": "ratio ≥ 2",
            "holds": True,
        }
    ] * 2


def test_people_get_a_table(some: list[Row]) -> None:
    some.append(GOOD)
    heading, line = run("some").splitlines()
    assert heading.split()[:4] == ["ours", "peer", "ratio", "holds"]
    assert line.split()[:4] == ["12", "4", "3.00", "yes"]


def test_a_missed_goal_is_said_and_ends_with_code_1(
    some: list[Row], capsys: pytest.CaptureFixture[str]
) -> None:
    some.append(BAD)
    with pytest.raises(SystemExit) as stop:
        call_command("benchmark", "some")
    assert stop.value.code == 1
    assert " – " in (said := capsys.readouterr().out)  # nothing to divide by
    assert " NO " in said


@pytest.mark.parametrize("name", ["", "nope", "../conftest", "__init__"])
def test_an_unknown_name_is_told_what_there_is(some: list[Row], name: str) -> None:
    with pytest.raises(CommandError, match="There are: labels, some"):
        run(name)


def test_every_module_of_benchmarks_is_one() -> None:
    assert "writers" in benchmark.names()
    for name in benchmark.names():
        assert iter(benchmark.find(name))
