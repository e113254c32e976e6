from __future__ import annotations

import contextlib
import fnmatch
import io
import signal
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.core.management import CommandError

from producer.management.commands import test as command
from producer.throwaway import Unavailable

pytestmark = pytest.mark.any_engine

TESTS = Path(__file__).parent.parent
EVERY = ["sqlite", "postgresql", "browser", "published"]
REPORT = '<testsuites><testsuite tests="{}" skipped="{}"/></testsuites>'


def report(tmp_path: Path, tests: int, skipped: int) -> Path:
    path = tmp_path / "report.xml"
    path.write_text(REPORT.format(tests, skipped), encoding="utf-8")
    return path


class Played:
    """Phases played by us: what pytest was asked, and how it ended."""

    def __init__(self) -> None:
        self.asked: list[tuple[str, list[str]]] = []
        self.missing: set[str] = set()
        self.code = 0

    def pytest(self, phase: str, environment: dict[str, str], extra: list[str]) -> int:
        self.asked.append((phase, [word for word in extra if "junitxml" not in word]))
        report(Path(environment["KETTLEBOOK_DATA"]), 4, 1)
        return self.code

    def run(self, *words: str) -> tuple[int, str]:
        said = io.StringIO()
        try:
            command.Command(stdout=said, stderr=said).run_from_argv(
                ["manage.py", "test", *words]
            )
        except SystemExit as stop:
            return int(stop.code or 0), said.getvalue()
        return 0, said.getvalue()


@pytest.fixture
def played(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Played:
    played = Played()

    @contextlib.contextmanager
    def surroundings(phase: str) -> Iterator[dict[str, str]]:
        if phase in played.missing:
            raise Unavailable(f"no {phase} here")
        yield {"KETTLEBOOK_DATA": str(tmp_path)}

    monkeypatch.setattr(command, "_surroundings", surroundings)
    monkeypatch.setattr(command, "_pytest", played.pytest)
    monkeypatch.setattr(signal, "signal", lambda *_: None)
    return played


def test_without_words_all_phases_run(played: Played) -> None:
    code, said = played.run()
    assert code == 0
    assert played.asked == [(phase, []) for phase in EVERY]
    assert said.count("passed 3, skipped 1") == len(EVERY)


@pytest.mark.parametrize(
    "words",
    [
        ["-k", "stock"],
        ["-x"],
        ["-v", "tests/producer"],
        ["tests/producer/test_stock.py::test_x", "-k", "not slow", "--lf"],
    ],
)
def test_words_for_pytest_arrive_as_they_are(played: Played, words: list[str]) -> None:
    code, _ = played.run(*words)
    assert code == 0
    assert played.asked == [("sqlite", words)]


def test_only_runs_one_phase_with_the_words(played: Played) -> None:
    played.run("--only", "postgresql", "-k", "stock")
    assert played.asked == [("postgresql", ["-k", "stock"])]


def test_a_phase_that_cannot_run_is_skipped_aloud(played: Played) -> None:
    played.missing = {"postgresql"}
    code, said = played.run()
    assert code == 0
    assert "skipped: no postgresql here" in said


def test_a_required_phase_that_cannot_run_fails(played: Played) -> None:
    played.missing = {"browser"}
    code, said = played.run("--require", "postgresql,browser")
    assert code == 1
    assert "NOT RUN: no browser here" in said


def test_a_failing_phase_fails_and_the_others_still_run(played: Played) -> None:
    played.code = 1
    code, said = played.run()
    assert code == 1
    assert len(played.asked) == len(EVERY)
    assert said.count("FAILED") == len(EVERY)


def test_what_pages_say_is_asked_on_one_engine_but_of_the_journal() -> None:
    globs = [
        word.partition("=")[2]
        for word in command.ON_POSTGRESQL
        if word.startswith("--ignore-glob=")
    ]
    left_out = {
        path.name
        for path in TESTS.rglob("test_*.py")
        if any(fnmatch.fnmatch(str(path), glob) for glob in globs)
    }
    assert {"test_bottle_page.py", "test_pot_pages.py"} < left_out
    assert "test_journal_page.py" not in left_out
    assert all(name.endswith(("_page.py", "_pages.py")) for name in left_out)


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--require", "moon"], "There is no phase moon"),
        (["--only", "sqlite", "--require", "browser"], "browser is required but would"),
        (["--require", "browser", "-k", "stock"], "browser is required but would"),
    ],
)
def test_what_cannot_be_required_is_told(
    played: Played, words: list[str], says: str
) -> None:
    code, said = played.run(*words)
    assert code == 1
    assert says in said
    assert played.asked == []


def test_a_fault_inside_a_phase_is_not_taken_for_a_missing_one(
    played: Played, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    def fails(*_: object) -> int:
        raise Unavailable("from within")

    monkeypatch.setattr(command, "_pytest", fails)
    with pytest.raises(Unavailable):
        command.run_phase("sqlite", [], laid=str(tmp_path), is_required=False)


@pytest.mark.parametrize(
    ("code", "tests", "skipped", "words", "good"),
    [
        (0, 10, 2, "passed 8, skipped 2", True),
        (0, 3, 3, "FAILED: no test ran, 3 were skipped", False),
        (0, 0, 0, "FAILED: no test ran, 0 were skipped", False),
        (1, 10, 0, "FAILED (pytest ended with 1)", False),
        (5, 0, 0, "FAILED: no test was found", False),
    ],
)
def test_how_pytest_ended_is_judged(
    tmp_path: Path,
    code: int,
    tests: int,
    skipped: int,
    words: str,
    good: bool,  # noqa: FBT001
) -> None:
    judged = command.judge(code, report(tmp_path, tests, skipped))
    assert judged == (words, good)


def test_a_run_without_a_report_has_shown_nothing(tmp_path: Path) -> None:
    assert command.judge(0, tmp_path / "none.xml")[1] is False


def test_the_surroundings_of_a_phase_name_no_real_records(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("DATABASE_URL", "postgres://kettle@db/real")
    monkeypatch.setenv("KETTLEBOOK_DATA", "/srv/real")
    monkeypatch.setenv("KETTLEBOOK_URL", "https://kettle.example")
    monkeypatch.setattr(command, "postgresql", lambda: contextlib.nullcontext("pg://"))
    monkeypatch.setattr(command, "find_chromium", lambda: "/usr/bin/chromium")
    monkeypatch.setattr(command, "epcis_schema", lambda: Path("/opt/epcis.json"))
    for phase, more in {
        "sqlite": {},
        "postgresql": {"DATABASE_URL": "pg://"},
        "browser": {"KETTLEBOOK_CHROMIUM": "/usr/bin/chromium"},
        "published": {"KETTLEBOOK_EPCIS_SCHEMA": "/opt/epcis.json"},
    }.items():
        with command._surroundings(phase) as environment:
            data = environment.pop("KETTLEBOOK_DATA")
            assert Path(data).is_dir()
            assert data != "/srv/real"
            ours = {
                name: value
                for name, value in environment.items()
                if name.startswith("KETTLEBOOK_") or name == "DATABASE_URL"
            }
            assert ours == more
        assert not Path(data).exists()


@pytest.mark.parametrize(
    ("only", "require", "extra", "phases"),
    [
        (None, "", [], command.PHASES),
        (None, "", ["-x"], ("sqlite",)),
        ("browser", "browser", [], ("browser",)),
    ],
)
def test_which_phases_run(
    only: str | None, require: str, extra: list[str], phases: tuple[str, ...]
) -> None:
    assert tuple(command.phases_for(only, require, extra)[0]) == phases


def test_an_unknown_phase_names_those_there_are() -> None:
    with pytest.raises(CommandError, match="sqlite, postgresql, browser, published"):
        command.phases_for(None, "moon", [])
