"""Every setting, each from the environment.

Two ways to run, the same code:

* embedded (nothing set): SQLite, Celery on the local file system, mail written to a folder;
  everything lies in CLINIC_DATA_DIR. For the demo, for `serve`, for development and tests.
* production (CLINIC_PRODUCTION=1): PostgreSQL, Redis, a mail server. What must be set and is not
  is named, all of it, in one message.
"""

import os
from datetime import timedelta
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import dj_database_url
from csp.constants import NONE, SELF
from django.core.exceptions import ImproperlyConfigured
from django.utils.translation import gettext_lazy as _
from whitenoise.compress import Compressor

from clinic.embedded import prepare_data_folder, secret_key_in

BASE_DIR = Path(__file__).resolve().parent.parent


def text(name: str, default: str = "") -> str:
    """The environment's value without surrounding blanks; `default` if absent or empty."""
    return os.environ.get(name, "").strip() or default


def flag(name: str, *, default: bool = False) -> bool:
    """True for 1, true, yes and on; False for 0, false, no and off; anything else is refused."""
    value = text(name).lower()
    if not value:
        return default
    if value in {"1", "true", "yes", "on"}:
        return True
    if value in {"0", "false", "no", "off"}:
        return False
    raise ImproperlyConfigured(f"{name} must be 1 or 0, not {value!r}.")


def whole_number(name: str, default: int) -> int:
    """The environment's value as a whole number."""
    value = text(name, str(default))
    if not value.isdecimal():
        raise ImproperlyConfigured(f"{name} must be a whole number, not {value!r}.")
    return int(value)


def items(name: str) -> list[str]:
    """The comma-separated items of the environment's value."""
    return [item.strip() for item in text(name).split(",") if item.strip()]


PRODUCTION = flag("CLINIC_PRODUCTION")
EMBEDDED = not PRODUCTION

REQUIRED_IN_PRODUCTION = (
    "SECRET_KEY",
    "DATABASE_URL",
    "REDIS_URL",
    "PUBLIC_URL",
    "EMAIL_HOST",
    "EMAIL_PORT",
    "EMAIL_HOST_USER",
    "EMAIL_HOST_PASSWORD",
    "EMAIL_USE_TLS",
    "MAIL_FROM",
)
# These may be set to nothing (a relay that asks for no password), but must be set.
MAY_BE_EMPTY = {"EMAIL_HOST_USER", "EMAIL_HOST_PASSWORD"}

if PRODUCTION:
    missing = [
        name
        for name in REQUIRED_IN_PRODUCTION
        if not text(name) and not (name in MAY_BE_EMPTY and name in os.environ)
    ]
    if missing:
        raise ImproperlyConfigured(
            f"CLINIC_PRODUCTION=1 needs these environment variables too: {', '.join(missing)}."
        )
    if not os.environ["DATABASE_URL"].startswith(("postgres://", "postgresql://")):
        raise ImproperlyConfigured("In production DATABASE_URL must begin with postgresql://.")

# Debug pages show local values, which are patients' facts: never in production.
DEBUG = EMBEDDED and flag("CLINIC_DEBUG")

DATA_DIR = Path(text("CLINIC_DATA_DIR", str(BASE_DIR / "var" / "serve"))).resolve()
if EMBEDDED:
    prepare_data_folder(DATA_DIR)
SECRET_KEY = text("SECRET_KEY") or secret_key_in(DATA_DIR)

# The host in every link comes from here, never from a request (promise W5).
PUBLIC_URL = text("PUBLIC_URL", "http://127.0.0.1:8000").rstrip("/")
_public = urlsplit(PUBLIC_URL)
if _public.scheme not in {"http", "https"} or not _public.hostname:
    raise ImproperlyConfigured(f"PUBLIC_URL must be like https://host, not {PUBLIC_URL!r}.")
ALLOWED_HOSTS = [_public.hostname, *items("ALLOWED_HOSTS")]
if EMBEDDED:
    ALLOWED_HOSTS += ["localhost", "127.0.0.1", "[::1]"]
CSRF_TRUSTED_ORIGINS = [f"{_public.scheme}://{_public.netloc}"]

# Shown on the page for "the database cannot be reached", which cannot read it from there.
PROGRAMME_PHONE = text("PROGRAMME_PHONE")

INSTALLED_APPS = [
    "clinic.apps.ClinicConfig",
    "education",
    "patients",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "clinic.apps.StaticFiles",
    "axes",
    "csp",
    "crispy_forms",
    "crispy_bootstrap5",
    "bootstrap",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.middleware.gzip.GZipMiddleware",
    "csp.middleware.CSPMiddleware",
    "clinic.middleware.NeverStored",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "clinic.middleware.AbsoluteSessionLimit",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "axes.middleware.AxesMiddleware",
    "clinic.access.Access",
]

ROOT_URLCONF = "clinic.urls"
WSGI_APPLICATION = "clinic.wsgi.application"
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.template.context_processors.i18n",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
            ],
        },
    },
]
CRISPY_ALLOWED_TEMPLATE_PACKS = "bootstrap5"
CRISPY_TEMPLATE_PACK = "bootstrap5"

# Database

# IMMEDIATE takes the write lock at BEGIN, where SQLite waits for it; a read that turns into a
# write halfway fails at once instead. WAL lets readers go on meanwhile.
SQLITE_OPTIONS: dict[str, Any] = {
    "transaction_mode": "IMMEDIATE",
    "timeout": 20,
    "init_command": (
        "PRAGMA journal_mode=WAL; PRAGMA synchronous=NORMAL; PRAGMA busy_timeout=20000; "
        # Without it INSERT OR REPLACE would delete a row past the append-only triggers.
        "PRAGMA recursive_triggers=ON;"
    ),
}
# One connection for each request thread or task thread. The wait is short: when the database is
# down, a page must say so within a second (promise B7).
WEB_THREADS = whole_number("WEB_THREADS", 8)
WORKER_THREADS = whole_number("WORKER_THREADS", 4)

_database: dict[str, Any] = {}
if text("DATABASE_URL"):
    _database.update(dj_database_url.parse(text("DATABASE_URL"), conn_health_checks=True))
    if _database["ENGINE"] == "django.db.backends.postgresql":
        _database["ENGINE"] = "clinic.postgres"
        _database["OPTIONS"] = {
            # A connection into the void (a network that was cut) is given up, not waited for.
            "connect_timeout": 3,
            "tcp_user_timeout": 3000,
            **_database.get("OPTIONS", {}),
            "pool": {
                "min_size": 1,
                "max_size": max(WEB_THREADS, WORKER_THREADS) + 2,
                "timeout": 0.4,
                # Then a request starts a new attempt, instead of waiting out a growing pause.
                "reconnect_timeout": 5,
            },
        }
else:
    _database.update(
        ENGINE="django.db.backends.sqlite3",
        NAME=DATA_DIR / "db.sqlite3",
        OPTIONS=SQLITE_OPTIONS,
    )
DATABASES = {"default": _database}

# Language and time. The programme's own time zone is a record; this one is for timestamps.

LANGUAGE_CODE = "en"
LANGUAGES = [("en", _("English")), ("es", _("Spanish"))]
LOCALE_PATHS = [BASE_DIR / "education" / "locale"]
USE_I18N = True
TIME_ZONE = "UTC"
USE_TZ = True

# Static files. Before collectstatic has run, embedded mode serves them from the source folders.

STATIC_URL = "/static/"
STATIC_ROOT = Path(
    text("STATIC_ROOT", str(DATA_DIR / "static" if EMBEDDED else BASE_DIR / "staticfiles"))
)
STATICFILES_DIRS = [folder for folder in [BASE_DIR / "static"] if folder.is_dir()]
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "clinic.static_files.Storage"},
}
WHITENOISE_USE_FINDERS = EMBEDDED and not (STATIC_ROOT / "staticfiles.json").is_file()
WHITENOISE_AUTOREFRESH = WHITENOISE_USE_FINDERS
WHITENOISE_KEEP_ONLY_HASHED_FILES = True
# Source maps are large, and fetched only by someone who debugs.
WHITENOISE_SKIP_COMPRESS_EXTENSIONS = [*Compressor.SKIP_COMPRESS_EXTENSIONS, "map"]

# People

AUTH_USER_MODEL = "clinic.StaffUser"
LOGIN_URL = "sign-in"
LOGIN_REDIRECT_URL = "/"
LOGOUT_REDIRECT_URL = "sign-in"
AUTHENTICATION_BACKENDS = [
    "axes.backends.AxesStandaloneBackend",
    "django.contrib.auth.backends.ModelBackend",
]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": f"django.contrib.auth.password_validation.{name}", "OPTIONS": options}
    for name, options in (
        ("UserAttributeSimilarityValidator", {}),
        ("MinimumLengthValidator", {"min_length": 12}),
        ("CommonPasswordValidator", {}),
        ("NumericPasswordValidator", {}),
    )
]
AXES_FAILURE_LIMIT = 10
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_USERNAME_CALLABLE = "clinic.sign_ins.typed_account"
AXES_COOLOFF_TIME = timedelta(minutes=15)
AXES_RESET_ON_SUCCESS = True
AXES_LOCKOUT_TEMPLATE = "429.html"
AXES_CLIENT_IP_CALLABLE = "clinic.client_address.client_address"
AXES_ENABLE_ADMIN = False
AXES_VERBOSE = False

# 30 minutes idle (clinic.middleware starts them anew), 12 hours in all (promise T1).
SESSION_COOKIE_AGE = 30 * 60
SESSION_ABSOLUTE_AGE = 12 * 60 * 60
# In the session, not in a cookie: a message may name a patient.
MESSAGE_STORAGE = "django.contrib.messages.storage.session.SessionStorage"

# What every response says to the browser (promise T2)

CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [SELF],
        # Bootstrap's stylesheet draws its ticks and arrows as data: pictures.
        "img-src": [SELF, "data:"],
        "object-src": [NONE],
        "base-uri": [SELF],
        "form-action": [SELF],
        "frame-ancestors": [NONE],
    }
}
SECURE_CONTENT_TYPE_NOSNIFF = True
# Not no-referrer: that makes the Origin header "null" and every form fails its CSRF check.
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
BEHIND_PROXY = flag("BEHIND_PROXY")
if BEHIND_PROXY:
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
if PRODUCTION:
    SECURE_SSL_REDIRECT = True
    SECURE_REDIRECT_EXEMPT = [r"^healthz$"]
    SECURE_HSTS_SECONDS = 365 * 24 * 60 * 60
    SECURE_HSTS_INCLUDE_SUBDOMAINS = True
    SECURE_HSTS_PRELOAD = True
    SESSION_COOKIE_SECURE = True
    CSRF_COOKIE_SECURE = True

# Mail. Without EMAIL_HOST, embedded mode writes each message to a file in the data folder.

EMAIL_HOST = text("EMAIL_HOST")
EMAIL_PORT = whole_number("EMAIL_PORT", 25)
EMAIL_HOST_USER = text("EMAIL_HOST_USER")
EMAIL_HOST_PASSWORD = text("EMAIL_HOST_PASSWORD")
EMAIL_USE_TLS = flag("EMAIL_USE_TLS")
EMAIL_TIMEOUT = 10
MAIL_FROM = text("MAIL_FROM", "post@programme.invalid")
DEFAULT_FROM_EMAIL = MAIL_FROM
# The part behind the @ in Message-ID.
MAIL_DOMAIN = MAIL_FROM.rpartition("@")[2].rstrip("> ")
SERVER_EMAIL = MAIL_FROM
# The folder with the messages that "went out", or None where a mail server takes them.
MAIL_FOLDER = None if EMAIL_HOST else DATA_DIR / "mail"
# `manage.py demo` alone shows that folder as a page, in place of the patients' mailboxes.
MAIL_TRAY = EMBEDDED and MAIL_FOLDER is not None and flag("CLINIC_DEMO")
EMAIL_BACKEND = "education.mail_server.Backend" if EMAIL_HOST else "clinic.mail_folder.Backend"
# Errors go to the log, without patients' facts; nobody is mailed a traceback (promise T3).
ADMINS: list[tuple[str, str]] = []
MANAGERS: list[tuple[str, str]] = []

# Celery. The rows are the truth and a message only a hint (promise B2), so nothing here retries.

REDIS_URL = text("REDIS_URL")
REDIS_TRANSPORT_OPTIONS: dict[str, Any] = {
    "socket_timeout": 1,
    "socket_connect_timeout": 1,
    # Above the longest task, or it would be handed out a second time while it runs.
    "visibility_timeout": 600,
    "unacked_restore_interval": 5,
    "unacked_restore_throttle": 1,
    "max_retries": 0,
}
CELERY_BROKER_TRANSPORT_OPTIONS: dict[str, Any]
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_SERIALIZER = "json"
CELERY_ACCEPT_CONTENT = ["json"]
CELERY_TASK_PUBLISH_RETRY = False
CELERY_WORKER_HIJACK_ROOT_LOGGER = False
CELERY_WORKER_REDIRECT_STDOUTS = False
CELERY_WORKER_ENABLE_REMOTE_CONTROL = False
CELERY_WORKER_CONCURRENCY = WORKER_THREADS
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_TIMEZONE = TIME_ZONE
if REDIS_URL:
    CELERY_BROKER_URL = REDIS_URL
    CELERY_TASK_ACKS_LATE = True
    CELERY_WORKER_PREFETCH_MULTIPLIER = 1
    CELERY_BROKER_CONNECTION_TIMEOUT = 1
    CELERY_BROKER_TRANSPORT_OPTIONS = REDIS_TRANSPORT_OPTIONS
else:
    # The host means nothing; without one a warning is logged.
    CELERY_BROKER_URL = "folder://localhost//"  # clinic/folder_broker.py
    CELERY_WORKER_PREFETCH_MULTIPLIER = 4
    CELERY_BROKER_TRANSPORT_OPTIONS = {
        "data_folder_in": str(DATA_DIR / "broker" / "messages"),
        "data_folder_out": str(DATA_DIR / "broker" / "messages"),
        "control_folder": str(DATA_DIR / "broker" / "control"),
        "polling_interval": 0.05,
    }
_sweep_every = 30.0 if PRODUCTION else 20.0
CELERY_BEAT_SCHEDULE = {
    "sweep-messages": {
        "task": "education.tasks.sweep_messages",
        "schedule": _sweep_every,
        # A sweep that no worker took before the next one is due has nothing to add.
        "options": {"expires": _sweep_every},
    },
    # Asked often, done once a local day: the row in the database decides (education/daily.py).
    "write-daily-mail": {
        "task": "education.tasks.write_daily_mail",
        "schedule": 300.0,
        "options": {"expires": 300.0},
    },
    "write-morning-digests": {
        "task": "clinic.tasks.write_morning_digests",
        "schedule": 300.0,
        "options": {"expires": 300.0},
    },
    "sweep-duplicates": {
        "task": "patients.tasks.find_duplicates",
        "schedule": 60.0,
        "options": {"expires": 60.0},
    },
    "look-at-confirmations": {
        "task": "clinic.tasks.look_at_confirmations",
        "schedule": 1800.0,
        "options": {"expires": 1800.0},
    },
    "log-trail-seal": {"task": "clinic.tasks.log_trail_seal", "schedule": 3600.0},
}
CELERY_BEAT_SCHEDULE_FILENAME = text(
    "BEAT_SCHEDULE_FILE", str(DATA_DIR / "beat-schedule" if EMBEDDED else "/tmp/beat-schedule")
)

# Logs: to stderr, by a formatter that lets no patient's fact and no token through (promise T3).

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"discreet": {"()": "clinic.discreet_logging.DiscreetFormatter"}},
    "handlers": {"stderr": {"class": "logging.StreamHandler", "formatter": "discreet"}},
    "root": {"handlers": ["stderr"], "level": text("LOG_LEVEL", "INFO").upper()},
    "loggers": {
        # Django gives these two handlers of their own (a console, mail to ADMINS): taken away.
        "django": {"handlers": [], "level": "INFO", "propagate": True},
        "django.server": {"handlers": [], "level": "INFO", "propagate": True},
        "django.db.backends": {"level": "WARNING"},
    },
}

# The MLLP listener's TLS (manage.py listen_mllp): certificate, key, and whose clients may connect.
MLLP_TLS_CERT, MLLP_TLS_KEY, MLLP_TLS_CLIENT_CA = (
    Path(text(name)) if text(name) else None
    for name in ("MLLP_TLS_CERT", "MLLP_TLS_KEY", "MLLP_TLS_CLIENT_CA")
)
