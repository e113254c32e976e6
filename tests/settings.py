"""Settings of the test suite: the real ones, kept away from real records.

Chosen by ``--ds`` in pyproject.toml, because pytest-django reads the settings before
any conftest.py and the real ones make a secret key in their data directory.
"""

import atexit
import os
import shutil
import tempfile

if not os.environ.get("KETTLEBOOK_DATA"):
    _directory = tempfile.mkdtemp(prefix="kettlebook-tests-")
    os.environ["KETTLEBOOK_DATA"] = _directory
    atexit.register(shutil.rmtree, _directory, ignore_errors=True)
# The processes that this one starts are told, and share what is there: tests/once.py
# and tests/laid.py.
if not os.environ.get("KETTLEBOOK_SCENES"):
    _directory = tempfile.mkdtemp(prefix="kettlebook-scenes-")
    os.environ["KETTLEBOOK_SCENES"] = _directory
    atexit.register(shutil.rmtree, _directory, ignore_errors=True)
if not os.environ.get("KETTLEBOOK_LAID"):
    _directory = tempfile.mkdtemp(prefix="kettlebook-laid-")
    os.environ["KETTLEBOOK_LAID"] = _directory
    atexit.register(shutil.rmtree, _directory, ignore_errors=True)

from producer.settings import *  # noqa: F403
from producer.settings import DATA_DIR, DATABASES, STATIC_ROOT, STORAGES

# A real password hash is slow on purpose.
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
# The manifest needs collectstatic first; the doors that need it say so.
STORAGES = STORAGES | {
    "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"}
}
STATIC_ROOT.mkdir(parents=True, exist_ok=True)  # WhiteNoise warns without it
AXES_ENABLED = False  # the lock-out is switched on by the tests that are about it
WRONG_CODES_ALLOWED = 0  # likewise
# A row taken back after a test leaves its number to the next one.
CACHES = {"default": {"BACKEND": "django.core.cache.backends.dummy.DummyCache"}}
SCANS_WRITTEN_EVERY = 0  # no thread of its own writes into the tests' database

if DATABASES["default"]["ENGINE"].endswith("sqlite3"):
    # A file, not memory: threads of a test have connections of their own.
    DATABASES["default"]["TEST"] = {"NAME": str(DATA_DIR / "tests.sqlite3")}
