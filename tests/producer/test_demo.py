from __future__ import annotations

import io
import json
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import DatabaseError
from pytest_django import Settings

from producer import bootstrap, serving
from producer.management.commands import demo

pytestmark = pytest.mark.any_engine

OTHERS = {"secret.key": "kept", "notes.txt": "somebody's own", "static/x.css": "kept"}


class Stage:
    """A demo directory, with the loading and the serving played by us."""

    def __init__(self, data: Path) -> None:
        self.data = data
        self.loads = 0
        self.served: list[tuple[str, int]] = []
        self.load: Callable[[], None] = self.load_all

    def load_all(self) -> None:
        logins = [
            {
                "username": "maren",
                "password": "aa-bb",
                "name": "Maren",
                "rights": ["Owner"],
            }
        ]
        (self.data / "records.sqlite3").write_text("records", encoding="utf-8")
        (self.data / "logins.json").write_text(json.dumps(logins), encoding="utf-8")

    def run(self, **options: Any) -> str:
        said = io.StringIO()
        call_command("demo", stdout=said, **options)
        return said.getvalue()


def use_database(monkeypatch: pytest.MonkeyPatch, vendor: str, name: Path) -> None:
    connection = SimpleNamespace(vendor=vendor, settings_dict={"NAME": str(name)})
    monkeypatch.setattr(demo, "connection", connection)


@pytest.fixture
def stage(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, settings: Settings) -> Stage:
    stage = Stage(tmp_path / "demo")
    monkeypatch.setattr(bootstrap, "DEMO_DATA", stage.data)
    settings.DATA_DIR = stage.data
    settings.IS_DEMO = True
    settings.PUBLIC_URL = "http://127.0.0.1:8907"

    def load(name: str, *_words: str, **_options: Any) -> None:
        assert name == "load_demo"
        stage.loads += 1
        stage.load()

    def serve(address: str, port: int, *, announce: Callable[[], None]) -> None:
        announce()
        stage.served.append((address, port))

    use_database(monkeypatch, "sqlite", stage.data / "records.sqlite3")
    monkeypatch.setattr(demo, "call_command", load)
    monkeypatch.setattr(serving, "prepare", lambda: None)
    monkeypatch.setattr(serving, "require_free_port", lambda *_: None)
    monkeypatch.setattr(serving, "serve", serve)
    return stage


def test_the_first_run_loads_serves_and_says_who_may_sign_in(stage: Stage) -> None:
    said = stage.run(port=8907)
    assert stage.loads == 1
    assert stage.served == [("127.0.0.1", 8907)]
    assert "http://127.0.0.1:8907" in said
    assert "maren" in said
    assert "aa-bb" in said


def test_the_second_run_loads_nothing(stage: Stage) -> None:
    stage.run()
    stage.run()
    assert stage.loads == 1


def test_fresh_loads_again(stage: Stage) -> None:
    stage.run()
    stage.run(fresh=True)
    assert stage.loads == 2


def test_fresh_removes_the_demos_own_files_and_no_other(
    stage: Stage, tmp_path: Path
) -> None:
    stage.run()
    for name, text in OTHERS.items():
        path = stage.data / name
        path.parent.mkdir(exist_ok=True)
        path.write_text(text, encoding="utf-8")
    real = tmp_path / "real" / "records.sqlite3"
    real.parent.mkdir()
    real.write_text("real", encoding="utf-8")
    upload = stage.data / "uploads" / "ab" / "abc"
    upload.parent.mkdir(parents=True)
    upload.touch()

    demo.start_over(stage.data)

    left = {
        str(path.relative_to(stage.data)): path.read_text("utf-8")
        for path in stage.data.rglob("*")
        if path.is_file() and path.name != "running"
    }
    assert left == OTHERS
    assert real.read_text("utf-8") == "real"


def test_an_interrupted_load_is_not_served_half(stage: Stage) -> None:
    def half() -> None:
        (stage.data / "records.sqlite3").write_text("half", encoding="utf-8")
        raise KeyboardInterrupt

    stage.load = half
    with pytest.raises(KeyboardInterrupt):
        stage.run()
    assert stage.served == []

    def all_of_it() -> None:
        assert not (stage.data / "records.sqlite3").exists()  # half was cleared away
        stage.load_all()

    stage.load = all_of_it
    stage.run()
    assert stage.loads == 2
    assert len(stage.served) == 1


@pytest.mark.parametrize("name", demo.STARTED_OVER[:1] + demo.STARTED_OVER[3:])
def test_a_demo_that_lacks_a_part_is_loaded_again(stage: Stage, name: str) -> None:
    stage.run()
    (stage.data / name).unlink()
    stage.run()
    assert stage.loads == 2


def test_a_second_demo_beside_the_first_is_told_where_it_is(stage: Stage) -> None:
    stage.run()
    with (
        demo.alone(stage.data),
        pytest.raises(CommandError, match=r"running already: http://127\.0\.0\.1:8907"),
    ):
        stage.run(fresh=True)
    assert stage.loads == 1


@pytest.mark.parametrize(
    ("name", "value"), [("IS_DEMO", False), ("DATA_DIR", Path("/srv/real"))]
)
def test_the_demo_refuses_surroundings_that_are_not_its_own(
    stage: Stage, settings: Settings, name: str, value: object
) -> None:
    setattr(settings, name, value)
    with pytest.raises(CommandError, match="by itself only"):
        stage.run(fresh=True)
    assert not stage.data.exists()


@pytest.mark.parametrize(
    ("vendor", "name"),
    [
        ("sqlite", Path("/srv/real/records.sqlite3")),
        ("postgresql", Path("real")),
    ],
)
def test_the_demo_refuses_a_database_that_is_not_its_own(
    stage: Stage, monkeypatch: pytest.MonkeyPatch, vendor: str, name: Path
) -> None:
    use_database(monkeypatch, vendor, name)
    with pytest.raises(CommandError, match="by itself only"):
        stage.run(fresh=True)
    assert not stage.data.exists()


@pytest.mark.parametrize("is_linked", [False, True])
def test_records_that_no_demo_made_are_left_alone(
    stage: Stage,
    tmp_path: Path,
    is_linked: bool,  # noqa: FBT001
) -> None:
    real = tmp_path / "real" if is_linked else stage.data
    (real / "uploads").mkdir(parents=True)
    for name in ("secret.key", "records.sqlite3", "uploads/certificate"):
        (real / name).write_text("precious", encoding="utf-8")
    if is_linked:
        stage.data.symlink_to(real)
    for is_fresh in (False, True):
        with pytest.raises(CommandError, match="not made by the demo"):
            stage.run(fresh=is_fresh)
    assert {path.read_text("utf-8") for path in real.rglob("*") if path.is_file()} == {
        "precious"
    }
    assert sum(path.is_file() for path in real.rglob("*")) == 3


def test_a_key_alone_is_what_the_way_in_leaves(stage: Stage) -> None:
    stage.data.mkdir()
    (stage.data / "secret.key").write_text("made by the settings", encoding="utf-8")
    stage.run()
    assert stage.loads == 1


@pytest.mark.parametrize("address", ["0.0.0.0", "::", ""])  # noqa: S104
def test_the_demo_needs_an_address_that_can_be_opened(
    stage: Stage, address: str
) -> None:
    with pytest.raises(CommandError, match="--address 192"):
        stage.run(address=address)


def test_a_demo_of_another_version_is_told_what_to_type(
    stage: Stage, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails() -> None:
        raise DatabaseError("no such column: x")

    monkeypatch.setattr(serving, "prepare", fails)
    with pytest.raises(CommandError, match="demo --fresh"):
        stage.run()
