"""The way into the environment: an old Python, half an environment, real records."""

from __future__ import annotations

import ast
import atexit
import errno
import importlib.machinery
import json
import os
import runpy
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from django.core import management

from producer import bootstrap, machine

pytestmark = pytest.mark.any_engine

MANAGE = bootstrap.ROOT / "manage.py"
BOTH = frozenset({"test"})
NONE: frozenset[str] = frozenset()


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return a checkout's root that is not ours, with nothing made in it yet."""
    environment = tmp_path / ".venv"
    monkeypatch.setattr(bootstrap, "ENVIRONMENT", environment)
    monkeypatch.setattr(bootstrap, "STAMP", environment / "kettlebook.json")
    constraints = tmp_path / "constraints.txt"
    constraints.write_text("Django==5.2\n", encoding="utf-8")
    monkeypatch.setattr(bootstrap, "CONSTRAINTS", constraints)
    return tmp_path


def make_python(place: Path) -> None:
    python = place / ".venv" / "bin" / "python"
    python.parent.mkdir(parents=True, exist_ok=True)
    python.touch()


def finished(place: Path, extras: frozenset[str] = NONE) -> None:
    make_python(place)
    bootstrap._write_stamp(extras, key=bootstrap.key_of(extras))


# ------------------------------------------------------------- an old Python


def test_an_old_python_is_told_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    main = runpy.run_path(str(MANAGE))["main"]
    monkeypatch.setattr(sys, "version_info", (3, 10, 14))
    monkeypatch.setattr(sys, "argv", ["manage.py", "demo"])
    with pytest.raises(SystemExit) as stop:
        main()
    assert stop.value.code == (
        "Kettlebook needs Python 3.11 or newer, and this is Python 3.10. Install a"
        " newer one, then type: python3.11 manage.py demo"
    )


def test_python_3_11_goes_on(monkeypatch: pytest.MonkeyPatch) -> None:
    main = runpy.run_path(str(MANAGE))["main"]
    monkeypatch.setattr(sys, "version_info", (3, 11, 0))
    entered: list[list[str]] = []

    def enter(argv: list[str]) -> None:
        entered.append(argv)
        raise SystemExit("far enough")

    monkeypatch.setattr(bootstrap, "enter", enter)
    monkeypatch.setattr(sys, "argv", ["manage.py", "demo"])
    with pytest.raises(SystemExit, match="far enough"):
        main()
    assert entered == [["manage.py", "demo"]]


def test_the_first_file_can_be_read_by_python_3_6() -> None:
    ast.parse(MANAGE.read_text("utf-8"), feature_version=(3, 6))
    with pytest.raises(SyntaxError):  # the control: the check sees newer syntax
        ast.parse("match 1:\n    case _:\n        pass\n", feature_version=(3, 6))


def test_the_first_two_files_need_the_standard_library_only() -> None:
    for path in (bootstrap.__file__, machine.__file__):
        tree = ast.parse(Path(path).read_text("utf-8"))
        names = {
            name
            for node in ast.walk(tree)
            if isinstance(node, ast.Import | ast.ImportFrom)
            for name in (
                [node.module or ""]
                if isinstance(node, ast.ImportFrom)
                else [alias.name for alias in node.names]
            )
        }
        outside = {name.split(".")[0] for name in names} - sys.stdlib_module_names
        assert outside <= {"producer"}
        assert {name for name in names if name.startswith("producer")} <= {
            "producer.machine"
        }


# ------------------------------------------------------------- what stops us


def test_a_full_disk_on_the_way_in_ends_in_the_sentence(
    place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(extras: frozenset[str]) -> None:
        raise OSError(errno.ENOSPC, "No space left on device", str(place))

    monkeypatch.setattr(bootstrap, "make_environment", fails)
    with pytest.raises(SystemExit) as stop:
        bootstrap.enter(["manage.py", "demo"])
    assert str(stop.value.code).startswith("\nThe disk is full")


def test_ctrl_c_on_the_way_in_ends_without_a_traceback(
    place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupted(extras: frozenset[str]) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(bootstrap, "make_environment", interrupted)
    with pytest.raises(SystemExit, match="carries on"):
        bootstrap.enter(["manage.py", "demo"])


def test_ctrl_c_in_a_command_ends_without_a_traceback(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def interrupted(argv: list[str]) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(bootstrap, "enter", lambda argv: None)
    monkeypatch.setattr(management, "execute_from_command_line", interrupted)
    with pytest.raises(SystemExit, match="carries on"):
        runpy.run_path(str(MANAGE))["main"]()


# ------------------------------------------------------------------ the stamp


def test_an_environment_that_was_finished_is_complete(place: Path) -> None:
    finished(place)
    assert bootstrap.is_complete(NONE)


def test_an_environment_without_what_tests_need_is_not_complete_for_them(
    place: Path,
) -> None:
    finished(place)
    assert not bootstrap.is_complete(BOTH)
    finished(place, BOTH)
    assert bootstrap.is_complete(BOTH)
    assert bootstrap.is_complete(NONE)


def test_changed_pins_make_it_incomplete(place: Path) -> None:
    finished(place)
    bootstrap.CONSTRAINTS.write_text("Django==5.2.1\n", encoding="utf-8")
    assert not bootstrap.is_complete(NONE)


def test_another_python_makes_it_incomplete(
    place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    finished(place)
    monkeypatch.setattr(importlib.machinery, "EXTENSION_SUFFIXES", [".cpython-399.so"])
    assert not bootstrap.is_complete(NONE)


def test_a_security_update_of_python_does_not(
    place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    finished(place)
    monkeypatch.setattr(sys, "version", f"{sys.version} and built again")
    assert bootstrap.is_complete(NONE)


def test_only_a_python_of_the_same_kind_with_pip_works(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert bootstrap._works(Path(sys.executable))
    assert not bootstrap._works(tmp_path / "no-python")
    monkeypatch.setattr(importlib.machinery, "EXTENSION_SUFFIXES", [".cpython-399.so"])
    assert not bootstrap._works(Path(sys.executable))


@pytest.mark.parametrize("stamp", [None, "", "{", "[]", "{}", '{"extras": []}'])
def test_half_an_environment_is_none(place: Path, stamp: str | None) -> None:
    make_python(place)
    if stamp is not None:
        bootstrap.STAMP.write_text(stamp, encoding="utf-8")
    assert not bootstrap.is_complete(NONE)


def test_an_environment_whose_python_is_gone_is_none(place: Path) -> None:
    finished(place)
    (place / ".venv" / "bin" / "python").unlink()
    assert not bootstrap.is_complete(NONE)


@pytest.fixture
def steps(place: Path, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Return a list that says what was done to the environment, and with what."""
    done: list[str] = []

    def bare() -> None:
        done.append("bare")
        make_python(place)

    monkeypatch.setattr(bootstrap, "_works", lambda python: python.exists())
    monkeypatch.setattr(bootstrap, "_make_bare_environment", bare)
    monkeypatch.setattr(
        bootstrap, "_install", lambda extras: done.append(f"install {sorted(extras)}")
    )
    return done


def test_a_new_environment_is_made_and_stamped(steps: list[str]) -> None:
    bootstrap.make_environment(NONE)
    assert steps == ["bare", "install []"]
    assert bootstrap.is_complete(NONE)


def test_an_environment_never_finished_is_made_anew(
    place: Path, steps: list[str]
) -> None:
    make_python(place)
    bootstrap.make_environment(NONE)
    assert steps == ["bare", "install []"]


def test_a_finished_one_is_mended_and_keeps_what_it_had(
    place: Path, steps: list[str]
) -> None:
    finished(place, BOTH)
    bootstrap.CONSTRAINTS.write_text("Django==5.2.1\n", encoding="utf-8")
    bootstrap.make_environment(NONE)
    assert steps == ["install ['test']"]
    assert bootstrap.is_complete(BOTH)


def test_an_install_broken_off_is_not_taken_for_finished(
    place: Path, steps: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    finished(place)

    def broken_off(extras: frozenset[str]) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(bootstrap, "_install", broken_off)
    with pytest.raises(KeyboardInterrupt):
        bootstrap.make_environment(BOTH)
    assert not bootstrap.is_complete(NONE)
    assert json.loads(bootstrap.STAMP.read_text("utf-8"))["extras"] == ["test"]


def test_a_python_just_completed_starts_over(
    place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    started: list[list[str]] = []

    def start(program: str, words: list[str]) -> None:
        started.append([program, *words[1:]])
        raise SystemExit(0)

    monkeypatch.setattr(bootstrap, "ensure_venv_module", lambda: True)
    monkeypatch.setattr(os, "execv", start)
    monkeypatch.setattr(sys, "orig_argv", ["python3", "manage.py", "demo", "--fresh"])
    with pytest.raises(SystemExit):
        bootstrap.make_environment(NONE)
    assert started == [[sys.executable, "manage.py", "demo", "--fresh"]]


@pytest.mark.parametrize(
    ("command", "looks"), [("demo", True), ("check", True), ("restore", False)]
)
def test_libraries_are_looked_for_where_pages_are_loaded(
    place: Path,
    monkeypatch: pytest.MonkeyPatch,
    command: str,
    looks: bool,  # noqa: FBT001
) -> None:
    finished(place)
    done: list[str] = []
    monkeypatch.setattr(bootstrap, "_is_inside", lambda: True)
    for name in ("ensure_libraries", "set_up_surroundings", "_make_data_directory"):
        monkeypatch.setattr(bootstrap, name, lambda *_, name=name: done.append(name))
    bootstrap.enter(["manage.py", command])
    assert ("ensure_libraries" in done) == looks
    assert done[-2:] == ["set_up_surroundings", "_make_data_directory"]


def test_a_complete_environment_is_entered_without_pip(
    place: Path, steps: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    finished(place)
    gone: list[list[str]] = []

    def go(argv: list[str]) -> None:
        gone.append(argv)
        raise SystemExit(0)

    monkeypatch.setattr(bootstrap, "_go_inside", go)
    with pytest.raises(SystemExit):
        bootstrap.enter(["manage.py", "check"])
    assert gone == [["manage.py", "check"]]
    assert steps == []


# ----------------------------------------------------------------- surroundings


@pytest.fixture
def surroundings(monkeypatch: pytest.MonkeyPatch) -> dict[str, str]:
    """Return an environment that names real records, and keep ours out of it."""
    environ = {
        "DATABASE_URL": "postgres://kettle@db/real",
        "DJANGO_SETTINGS_MODULE": "somebody.elses",
        "KETTLEBOOK_DATA": "/srv/real",
        "KETTLEBOOK_DEBUG": "1",
        "KETTLEBOOK_HOSTS": "kettle.example",
        "KETTLEBOOK_URL": "https://kettle.example",
    }
    monkeypatch.setattr(os, "environ", environ)
    monkeypatch.setattr(os, "umask", lambda mask: environ.update(umask=oct(mask)))
    return environ


def test_the_demo_forgets_everything_that_names_real_records(
    surroundings: dict[str, str],
) -> None:
    bootstrap.set_up_surroundings("demo", ["--port", "8907"])
    surroundings.pop("PYTEST_CURRENT_TEST", None)
    assert surroundings == {
        "DJANGO_SETTINGS_MODULE": "producer.settings",
        "KETTLEBOOK_DATA": str(bootstrap.ROOT / ".demo"),
        "KETTLEBOOK_DEMO": "1",
        "KETTLEBOOK_URL": "http://127.0.0.1:8907",
        "umask": "0o77",
    }


def test_serve_keeps_what_names_real_records(surroundings: dict[str, str]) -> None:
    surroundings.pop("PYTEST_CURRENT_TEST", None)  # put in by pytest itself
    before = dict(surroundings)
    surroundings["KETTLEBOOK_DEMO"] = "1"
    bootstrap.set_up_surroundings("serve", ["--port", "8907"])
    assert surroundings == {**before, "umask": "0o77"}


@pytest.mark.parametrize(
    ("words", "address"),
    [
        ([], "http://127.0.0.1:8000"),
        (["--port=8907"], "http://127.0.0.1:8907"),
        (["--address", "192.168.1.20"], "http://192.168.1.20:8000"),
        (["--address", "::1", "--fresh"], "http://[::1]:8000"),
    ],
)
def test_serve_without_an_address_takes_its_own(
    surroundings: dict[str, str], words: list[str], address: str
) -> None:
    surroundings["KETTLEBOOK_URL"] = ""
    bootstrap.set_up_surroundings("serve", words)
    assert surroundings["KETTLEBOOK_URL"] == address


@pytest.mark.parametrize("command", ["test", "benchmark", "restore"])
def test_what_keeps_no_records_gets_a_directory_that_is_gone_afterwards(
    surroundings: dict[str, str], monkeypatch: pytest.MonkeyPatch, command: str
) -> None:
    leaving: list[Callable[[], object]] = []
    monkeypatch.setattr(
        atexit,
        "register",
        lambda act, *args, **options: leaving.append(lambda: act(*args, **options)),
    )
    bootstrap.set_up_surroundings(command, [])
    directory = Path(surroundings["KETTLEBOOK_DATA"])
    assert directory.is_dir()
    assert directory != Path("/srv/real")
    assert "DATABASE_URL" not in surroundings
    for act in leaving:
        act()
    assert not directory.exists()
