"""Settings for every way of running: demo, serve and test, SQLite and PostgreSQL.

One file. What differs between machines comes from the environment:

``KETTLEBOOK_DATA``
    Directory that holds the database, the uploads and the secret key.
``DATABASE_URL``
    A PostgreSQL address, also of two machines; without it the embedded SQLite database
    is used. See ``producer/papers/two_machines.md``.
``DATABASE_READ_URL``
    Where bottle pages and the trace are read, if not there: a standby that is current.
``KETTLEBOOK_URL``
    The address under which people reach this premises, ``https://…`` when a
    TLS-terminating proxy stands in front; printed into QR codes.
``KETTLEBOOK_HOSTS``
    Further host names that may be asked for, separated by commas.
``KETTLEBOOK_DEBUG``
    ``1`` for work on the code itself. Never for real records.
"""

import contextlib
import os
import secrets
import tempfile
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from csp.constants import NONE, SELF

from producer import database_url

BASE_DIR = Path(__file__).resolve().parent.parent


def default_data_directory() -> Path:
    """Return where real records live when nobody says otherwise: outside the code."""
    home = os.environ.get("XDG_DATA_HOME") or Path.home() / ".local" / "share"
    return Path(home) / "kettlebook"


def read_or_make_secret(path: Path) -> str:
    """Return the secret key kept at ``path``, made on first use, for us only."""
    try:
        return path.read_text(encoding="utf-8").strip()
    except FileNotFoundError:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    # Written whole under another name, then given its own: a full disk or a power
    # cut leaves no empty key behind, and of two processes the first one's key counts.
    handle, partial = tempfile.mkstemp(dir=path.parent)
    with os.fdopen(handle, "w", encoding="utf-8") as file:
        file.write(secrets.token_urlsafe(64))
    with contextlib.suppress(FileExistsError):
        os.link(partial, path)
    Path(partial).unlink()
    return path.read_text(encoding="utf-8").strip()


DATA_DIR = Path(os.environ.get("KETTLEBOOK_DATA") or default_data_directory())
PUBLIC_URL = os.environ.get("KETTLEBOOK_URL", "http://127.0.0.1:8000").rstrip("/")
IS_DEMO = os.environ.get("KETTLEBOOK_DEMO") == "1"
DEBUG = os.environ.get("KETTLEBOOK_DEBUG") == "1"
SECRET_KEY = read_or_make_secret(DATA_DIR / "secret.key")

_public = urlsplit(PUBLIC_URL)
ALLOWED_HOSTS = [
    "localhost",
    "127.0.0.1",
    "[::1]",
    *([_public.hostname] if _public.hostname else []),
    *filter(None, os.environ.get("KETTLEBOOK_HOSTS", "").split(",")),
]

INSTALLED_APPS = [
    "producer",
    "batches",
    "quality",
    "django.forms",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "django_tables2",
    "axes",
    "csp",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "producer.middleware.PermissionsMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django.middleware.common.CommonMiddleware",
    "quality.views.bottle_door.BottleDoor",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.auth.middleware.LoginRequiredMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "producer.middleware.PremisesMiddleware",
    "axes.middleware.AxesMiddleware",
]

ROOT_URLCONF = "producer.urls"
WSGI_APPLICATION = "producer.wsgi.application"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "producer.context.shell",
                "quality.context.recalls",
            ],
            "builtins": ["producer.templatetags.kettlebook"],
        },
    },
]
FORM_RENDERER = "django.forms.renderers.TemplatesSetting"
DJANGO_TABLES2_TEMPLATE = "django_tables2/table.html"

SQLITE_OPTIONS = {
    # Measured: IMMEDIATE with a generous timeout loses no update under eight writers;
    # the default mode fails two writes in three.
    "transaction_mode": "IMMEDIATE",
    "timeout": 20,
    # FULL: what was acknowledged survives a power cut. What is erased leaves no copy in
    # the free pages of the file.
    "init_command": (
        "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL;"
        " PRAGMA foreign_keys=ON; PRAGMA recursive_triggers=ON;"
        " PRAGMA secure_delete=ON;"
    ),
}
# Compiling a query of ours takes PostgreSQL far longer than answering it.
NO_COMPILER = "-c jit=off"
# Acknowledged is what can be seen on the standby, too: a recall above all. Where
# nobody named a standby, this is what PostgreSQL does anyway.
SEEN_ON_THE_STANDBY = "-c synchronous_commit=remote_apply"
READS = "reads"


def database_at(address: str, *settings_of_session: str) -> dict[str, Any]:
    """Return a database by its address, with what its sessions are to begin with."""
    found = database_url.parse(address, max_age=60)
    if found["ENGINE"].endswith("postgresql"):
        options = found.setdefault("OPTIONS", {})
        asked = (str(options.get("options", "")), NO_COMPILER, *settings_of_session)
        options["options"] = " ".join(filter(None, asked))
    return found


DATABASE_ROUTERS: list[str] = []
if os.environ.get("DATABASE_URL"):
    DATABASES = {"default": database_at(os.environ["DATABASE_URL"])}
    _is_postgresql = DATABASES["default"]["ENGINE"].endswith("postgresql")
    if _is_postgresql and os.environ.get("DATABASE_READ_URL"):
        DATABASES = {
            "default": database_at(os.environ["DATABASE_URL"], SEEN_ON_THE_STANDBY),
            READS: database_at(os.environ["DATABASE_READ_URL"]),
        }
        DATABASE_ROUTERS = ["producer.reads.Router"]
else:
    DATABASES = {
        "default": {
            "ENGINE": "django.db.backends.sqlite3",
            "NAME": str(DATA_DIR / "records.sqlite3"),
            "CONN_MAX_AGE": None,
            "OPTIONS": SQLITE_OPTIONS,
        }
    }

AUTH_USER_MODEL = "producer.User"
LOGIN_URL = "producer:sign_in"
LOGIN_REDIRECT_URL = "quality:today"
LOGOUT_REDIRECT_URL = "producer:sign_in"
AUTHENTICATION_BACKENDS = [
    "axes.backends.AxesStandaloneBackend",
    "django.contrib.auth.backends.ModelBackend",
]
AUTH_PASSWORD_VALIDATORS = [
    {
        "NAME": "django.contrib.auth.password_validation.MinimumLengthValidator",
        "OPTIONS": {"min_length": 10},
    },
    {
        "NAME": (
            "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"
        )
    },
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "django.contrib.auth.password_validation.NumericPasswordValidator"},
]

# Five wrong passwords lock this name from this address for a quarter of an hour.
AXES_FAILURE_LIMIT = 5
AXES_COOLOFF_TIME = 0.25
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_RESET_ON_SUCCESS = True
AXES_LOCKOUT_TEMPLATE = "429.html"
AXES_HTTP_RESPONSE_CODE = 429
AXES_IPWARE_PROXY_COUNT = 1 if _public.scheme == "https" else 0
AXES_VERBOSE = False
AXES_SENSITIVE_PARAMETERS: list[str] = []

# Bottle codes that are none of ours: so many from one address, then it has to wait.
WRONG_CODES_ALLOWED = 20
WRONG_CODES_WINDOW = 10 * 60  # seconds
SCANS_WRITTEN_EVERY = 5  # seconds; see batches/services/scans.py

LANGUAGE_CODE = "en-gb"
TIME_ZONE = "UTC"  # stored; shown in the time zone of the premises
USE_I18N = True
USE_TZ = True
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

STATIC_URL = "static/"
STATIC_ROOT = DATA_DIR / "static"
MEDIA_ROOT = DATA_DIR / "uploads"  # never served by address; see producer.views
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {
        "BACKEND": (
            "django.contrib.staticfiles.storage.StaticFilesStorage"
            if DEBUG
            else "whitenoise.storage.CompressedManifestStaticFilesStorage"
        )
    },
}
FILE_UPLOAD_MAX_MEMORY_SIZE = 1024 * 1024
DATA_UPLOAD_MAX_MEMORY_SIZE = 12 * 1024 * 1024

CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [NONE],
        "script-src": [SELF],
        "style-src": [SELF],
        "img-src": [SELF],
        "font-src": [SELF],
        "connect-src": [SELF],
        "manifest-src": [SELF],
        "form-action": [SELF],
        "base-uri": [NONE],
        "frame-ancestors": [NONE],
    }
}
X_FRAME_OPTIONS = "DENY"
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_AGE = 12 * 60 * 60
CSRF_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"

if _public.scheme == "https":
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
    SECURE_SSL_REDIRECT = True
    SECURE_HSTS_SECONDS = 31_536_000
    SECURE_HSTS_INCLUDE_SUBDOMAINS = True
    SECURE_HSTS_PRELOAD = True
    SESSION_COOKIE_SECURE = True
    CSRF_COOKIE_SECURE = True
    CSRF_TRUSTED_ORIGINS = [PUBLIC_URL]
else:
    # Without TLS these four would lock everybody out rather than protect anybody;
    # producer.checks says in our own words what plain HTTP means instead.
    SILENCED_SYSTEM_CHECKS = [
        "security.W004",  # HSTS
        "security.W008",  # redirect to TLS
        "security.W012",  # secure session cookie
        "security.W016",  # secure CSRF cookie
    ]

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"line": {"format": "{levelname} {name}: {message}", "style": "{"}},
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": "line"}},
    "root": {"handlers": ["console"], "level": "WARNING"},
}
