"""The settings under which real records are kept, asked of a process of its own."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings

pytestmark = pytest.mark.any_engine

HTTPS = {"KETTLEBOOK_URL": "https://kettle.example"}
CHECK = ("-m", "django", "check", "--deploy", "--fail-level=WARNING")
TELL = (
    "import json, sys; from django.conf import settings as s;"
    "print(json.dumps({name: getattr(s, name) for name in sys.argv[1:]}))"
)


def python(
    data: Path, *arguments: str, **environment: str
) -> subprocess.CompletedProcess[str]:
    """Run our interpreter with the real settings and nothing of the tests'."""
    data.mkdir(mode=0o700, exist_ok=True)
    kept = {
        name: value
        for name, value in os.environ.items()
        if not name.startswith(("KETTLEBOOK", "DATABASE_URL"))
    }
    return subprocess.run(  # noqa: S603 - our own interpreter
        [sys.executable, *arguments],
        cwd=settings.BASE_DIR,
        env={
            **kept,
            "DJANGO_SETTINGS_MODULE": "producer.settings",
            "KETTLEBOOK_DATA": str(data),
            **environment,
        },
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )


def real(data: Path, *names: str, **environment: str) -> dict[str, Any]:
    """Return these of the real settings."""
    told = python(data, "-c", TELL, *names, **environment)
    assert told.returncode == 0, told.stderr
    found: dict[str, Any] = json.loads(told.stdout)
    return found


@pytest.mark.parametrize("environment", [{}, HTTPS], ids=["http", "https"])
def test_a_deployment_is_sound(tmp_path: Path, environment: dict[str, str]) -> None:
    found = python(tmp_path, *CHECK, **environment)
    assert found.returncode == 0, found.stderr
    assert "no issues" in found.stdout


@pytest.mark.parametrize(
    ("environment", "told"),
    [
        ({"KETTLEBOOK_URL": "http://kettle.lan:8000"}, "kettlebook.W001"),
        ({"KETTLEBOOK_URL": "https://kettle.example/soap"}, "kettlebook.E001"),
        ({"KETTLEBOOK_DEBUG": "1"}, "security.W018"),
    ],
)
def test_a_deployment_that_is_not_sound_is_told_so(
    tmp_path: Path, environment: dict[str, str], told: str
) -> None:
    found = python(tmp_path, *CHECK, **environment)
    assert found.returncode != 0
    assert told in found.stderr


def test_what_the_tests_switch_off_is_on_for_real_records(tmp_path: Path) -> None:
    names = "PASSWORD_HASHERS", "DEBUG", "MIDDLEWARE", "AXES_FAILURE_LIMIT"
    found = real(tmp_path, *names)
    assert found["DEBUG"] is False
    assert "PBKDF2" in found["PASSWORD_HASHERS"][0]
    assert found["AXES_FAILURE_LIMIT"] == 5
    assert "axes.middleware.AxesMiddleware" in found["MIDDLEWARE"]
    told = python(
        tmp_path,
        "-c",
        "import django; django.setup();"
        "from axes.conf import settings; print(settings.AXES_ENABLED)",
    )
    assert told.stdout.strip() == "True", told.stderr


def test_cookies_stay_on_encrypted_ways_and_away_from_scripts(tmp_path: Path) -> None:
    names = (
        "SESSION_COOKIE_SECURE",
        "CSRF_COOKIE_SECURE",
        "SESSION_COOKIE_HTTPONLY",
        "CSRF_COOKIE_HTTPONLY",
        "SECURE_SSL_REDIRECT",
    )
    assert set(real(tmp_path, *names, **HTTPS).values()) == {True}


def test_each_installation_makes_a_secret_of_its_own(tmp_path: Path) -> None:
    first, second = (
        real(tmp_path / name, "SECRET_KEY")["SECRET_KEY"] for name in ("one", "two")
    )
    assert first != second
    assert len(first) >= 50
    key = tmp_path / "one" / "secret.key"
    assert key.stat().st_mode & 0o777 == 0o600
    assert real(tmp_path / "one", "SECRET_KEY")["SECRET_KEY"] == first
