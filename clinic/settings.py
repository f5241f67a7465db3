"""Every setting, each from the environment.

Two ways to run, the same code:

* embedded (nothing set): SQLite, Celery on the local file system, mail written to a folder;
  everything lies in CLINIC_DATA_DIR. For the demo, for `serve`, for development and tests.
* production (CLINIC_PRODUCTION=1): PostgreSQL, Redis, a mail server. What must be set and is not
  is named, all of it, in one message.
"""

import importlib.util
import os
import re
from datetime import timedelta
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import dj_database_url
from csp.constants import NONE, SELF
from whitenoise.compress import Compressor

from clinic.embedded import prepare_data_folder, secret_key_in
from clinic.environment import Environment
from clinic.languages import offer_languages

BASE_DIR = Path(__file__).resolve().parent.parent


env = Environment(os.environ)

PRODUCTION = env.flag("CLINIC_PRODUCTION")
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
# These may stand in a file, whose name is then in NAME_FILE.
SECRETS = {
    "SECRET_KEY",
    "POSTGRES_PASSWORD",
    "EMAIL_HOST_PASSWORD",
    "IMAP_PASSWORD",
    "METRICS_TOKEN",
    "MEDIA_S3_SECRET_KEY",
}

if PRODUCTION:
    for _name in REQUIRED_IN_PRODUCTION:
        if _name.startswith("EMAIL_") and env.text("HOSTED_MAIL"):
            continue  # a mail service sends, not a mail server
        _in_file = _name in SECRETS and env.text(f"{_name}_FILE")
        _empty = _name in MAY_BE_EMPTY and _name in os.environ
        if not (env.text(_name) or _in_file or _empty):
            _or_file = f", and {_name}_FILE names no file" if _name in SECRETS else ""
            env.wrong(f"{_name} is not set{_or_file}.")
    if env.flag("CLINIC_DEBUG"):
        env.wrong("CLINIC_DEBUG and CLINIC_PRODUCTION are both 1: it would show patients' facts.")

# Debug pages show local values, which are patients' facts: never in production.
DEBUG = EMBEDDED and env.flag("CLINIC_DEBUG")

DATA_DIR = Path(env.text("CLINIC_DATA_DIR", str(BASE_DIR / "var" / "serve"))).resolve()
if EMBEDDED:
    prepare_data_folder(DATA_DIR)
SECRET_KEY = env.secret("SECRET_KEY")
if not SECRET_KEY:
    SECRET_KEY = secret_key_in(DATA_DIR) if EMBEDDED else "none, and complained of below"
elif PRODUCTION and len(SECRET_KEY) < 50:
    env.wrong("SECRET_KEY must have at least 50 characters.")

# The host in every link comes from here, never from a request (promise W5).
PUBLIC_URL = env.text("PUBLIC_URL", "http://127.0.0.1:8000").rstrip("/")
_public = urlsplit(PUBLIC_URL)
if _public.scheme not in {"http", "https"} or not _public.hostname:
    env.wrong(f"PUBLIC_URL must be like https://host, not {PUBLIC_URL!r}.")
elif PRODUCTION and env.text("PUBLIC_URL") and _public.scheme != "https":
    env.wrong("PUBLIC_URL must begin with https://, for everything is sent there.")
ALLOWED_HOSTS = [_public.hostname or "localhost", *env.items("ALLOWED_HOSTS")]
if "*" in ALLOWED_HOSTS:
    env.wrong("ALLOWED_HOSTS may not be *: name the hosts.")
if EMBEDDED:
    ALLOWED_HOSTS += ["localhost", "127.0.0.1", "[::1]"]
CSRF_TRUSTED_ORIGINS = [f"{_public.scheme}://{_public.netloc}"]

# Shown on the page for "the database cannot be reached", which cannot read it from there.
PROGRAMME_PHONE = env.text("PROGRAMME_PHONE")

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
    "clinic.middleware.CompressedPages",
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
    "clinic.conflicts.TryAgain",
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
WEB_THREADS = env.whole_number("WEB_THREADS", 8)
WORKER_THREADS = env.whole_number("WORKER_THREADS", 4)

_database: dict[str, Any] = {}
_database_url = env.text("DATABASE_URL")
if PRODUCTION and not _database_url.startswith(("postgres://", "postgresql://")):
    if _database_url:
        env.wrong("DATABASE_URL must begin with postgresql:// in production.")
    _database_url = ""
if _database_url:
    _database.update(dj_database_url.parse(_database_url, conn_health_checks=True))
    _password = env.secret("POSTGRES_PASSWORD")
    if _password and _database.get("PASSWORD"):
        env.wrong("DATABASE_URL has a password and POSTGRES_PASSWORD is set: leave one out.")
    _database["PASSWORD"] = _database.get("PASSWORD") or _password
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
# What patients read: English, Spanish, and what is named in a folder outside the code, where its
# catalogues are too.
LANGUAGES_DIR = Path(
    os.environ.get("LANGUAGES_DIR", "").strip() or DATA_DIR / "languages"
).resolve()
LANGUAGES = offer_languages(LANGUAGES_DIR)
LOCALE_PATHS = [BASE_DIR / "education" / "locale", LANGUAGES_DIR]
USE_I18N = True
TIME_ZONE = "UTC"
USE_TZ = True

# Files that staff upload: in a folder that all processes share, or in an S3-compatible store.

MEDIA_ROOT = Path(env.text("MEDIA_ROOT", str(DATA_DIR / "media" if EMBEDDED else "/data/media")))
MEDIA_S3_BUCKET = env.text("MEDIA_S3_BUCKET")
UPLOADS: dict[str, Any] = {"BACKEND": "django.core.files.storage.FileSystemStorage"}
if MEDIA_S3_BUCKET:
    if importlib.util.find_spec("storages") is None or importlib.util.find_spec("boto3") is None:
        env.wrong("MEDIA_S3_BUCKET needs the packages of requirements-s3.txt installed.")
    UPLOADS = {
        "BACKEND": "education.uploads_in_s3.UploadsInS3",
        "OPTIONS": {
            "bucket_name": MEDIA_S3_BUCKET,
            # Empty: the provider's own, and the machine's own leave.
            "endpoint_url": env.text("MEDIA_S3_ENDPOINT_URL") or None,
            "region_name": env.text("MEDIA_S3_REGION") or None,
            "access_key": env.text("MEDIA_S3_ACCESS_KEY") or None,
            "secret_key": env.secret("MEDIA_S3_SECRET_KEY", may_be_empty=True) or None,
            "default_acl": None,
            "file_overwrite": False,
        },
    }
    if bool(UPLOADS["OPTIONS"]["access_key"]) != bool(UPLOADS["OPTIONS"]["secret_key"]):
        env.wrong("MEDIA_S3_ACCESS_KEY and MEDIA_S3_SECRET_KEY go together: set both or neither.")
elif env.text("MEDIA_S3_ACCESS_KEY"):
    env.wrong("MEDIA_S3_ACCESS_KEY is set and MEDIA_S3_BUCKET is not.")

# Refused by the length that is announced, before a byte is kept (clinic/uploads.py).
FILE_UPLOAD_HANDLERS = [
    "clinic.uploads.WithinLimit",
    "django.core.files.uploadhandler.MemoryFileUploadHandler",
    "django.core.files.uploadhandler.TemporaryFileUploadHandler",
]
LARGEST_VIDEO = env.whole_number("LARGEST_VIDEO_MB", 200) * 1024 * 1024  # bytes

# Static files. Before collectstatic has run, embedded mode serves them from the source folders.

STATIC_URL = "/static/"
STATIC_ROOT = Path(
    env.text("STATIC_ROOT", str(DATA_DIR / "static" if EMBEDDED else BASE_DIR / "staticfiles"))
)
STATICFILES_DIRS = [folder for folder in [BASE_DIR / "static"] if folder.is_dir()]
STORAGES = {
    "default": UPLOADS,
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
# Seconds that a question may lie idle on a shared screen before it asks who is there; a lesson four
# times as long (education/shared_screen.py).
SHARED_SCREEN_IDLE = env.whole_number("SHARED_SCREEN_IDLE", 300)
# In the session, not in a cookie: a message may name a patient.
MESSAGE_STORAGE = "django.contrib.messages.storage.session.SessionStorage"

# What every response says to the browser (promise T2)

CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [SELF],
        # Bootstrap's stylesheet draws its ticks and arrows as data: pictures.
        "img-src": [SELF, "data:"],
        "media-src": [SELF],
        "object-src": [NONE],
        "base-uri": [SELF],
        "form-action": [SELF],
        "frame-ancestors": [NONE],
    }
}
SECURE_CONTENT_TYPE_NOSNIFF = True
CSRF_FAILURE_VIEW = "clinic.typed_before.csrf_refused"
# Not no-referrer: that makes the Origin header "null" and every form fails its CSRF check.
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
BEHIND_PROXY = env.flag("BEHIND_PROXY")
if BEHIND_PROXY:
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
if PRODUCTION:
    SECURE_SSL_REDIRECT = True
    # Asked from inside, past the proxy that speaks https.
    SECURE_REDIRECT_EXEMPT = [r"^(healthz|readyz|metrics)$"]
    SECURE_HSTS_SECONDS = 365 * 24 * 60 * 60
    SECURE_HSTS_INCLUDE_SUBDOMAINS = True
    SECURE_HSTS_PRELOAD = True
    SESSION_COOKIE_SECURE = True
    CSRF_COOKIE_SECURE = True

# Mail. Without EMAIL_HOST, embedded mode writes each message to a file in the data folder.

EMAIL_HOST = env.text("EMAIL_HOST")
EMAIL_PORT = env.whole_number("EMAIL_PORT", 25)
EMAIL_HOST_USER = env.text("EMAIL_HOST_USER")
EMAIL_HOST_PASSWORD = env.secret("EMAIL_HOST_PASSWORD", may_be_empty=True)
EMAIL_USE_TLS = env.flag("EMAIL_USE_TLS")  # begins plainly, then STARTTLS (port 587)
EMAIL_USE_SSL = env.flag("EMAIL_USE_SSL")  # TLS from the first byte (port 465)
if EMAIL_USE_TLS and EMAIL_USE_SSL:
    env.wrong("EMAIL_USE_TLS and EMAIL_USE_SSL are both 1: choose one.")
if bool(EMAIL_HOST_USER) != bool(EMAIL_HOST_PASSWORD):
    env.wrong("EMAIL_HOST_USER and EMAIL_HOST_PASSWORD go together: set both or neither.")
if PRODUCTION and EMAIL_HOST_USER and not (EMAIL_USE_TLS or EMAIL_USE_SSL):
    env.wrong("EMAIL_HOST_PASSWORD would be sent unencrypted: set EMAIL_USE_TLS or EMAIL_USE_SSL.")
EMAIL_TIMEOUT = 10
MAIL_FROM = env.text("MAIL_FROM", "post@programme.invalid")
DEFAULT_FROM_EMAIL = MAIL_FROM
# The part behind the @ in Message-ID.
MAIL_DOMAIN = MAIL_FROM.rpartition("@")[2].rstrip("> ")
SERVER_EMAIL = MAIL_FROM
# The folder with the messages that "went out", or None where a mail server takes them.
MAIL_FOLDER = None if EMAIL_HOST else DATA_DIR / "mail"
# `manage.py demo` alone shows that folder as a page, in place of the patients' mailboxes.
MAIL_TRAY = EMBEDDED and MAIL_FOLDER is not None and env.flag("CLINIC_DEMO")
EMAIL_BACKEND = "education.mail_server.Backend" if EMAIL_HOST else "clinic.mail_folder.Backend"
# The class that hands messages over (education/channel.py).
MAIL_CHANNEL = "education.by_email.ByEmail"

# A mail service in place of a mail server: its name in django-anymail. Its own settings are those
# of the environment that begin with ANYMAIL_; its reports come to /mail/events/, which is closed
# until ANYMAIL_WEBHOOK_SECRET is set ("user:password").
HOSTED_MAIL = env.text("HOSTED_MAIL").lower()
_hosted = {
    name.removeprefix("ANYMAIL_").removesuffix("_FILE")
    for name in os.environ
    if name.startswith("ANYMAIL_")
}
# What is empty is not set: a file of docker-compose.yml is there, whether or not it is needed.
_told = {name: env.secret(f"ANYMAIL_{name}", may_be_empty=True) for name in sorted(_hosted)}
ANYMAIL: dict[str, Any] = {name: value for name, value in _told.items() if value}
ANYMAIL |= {"REQUESTS_TIMEOUT": EMAIL_TIMEOUT, "IGNORE_UNSUPPORTED_FEATURES": True}
MAIL_EVENTS = bool(HOSTED_MAIL and ANYMAIL.get("WEBHOOK_SECRET"))
MAIL_LISTENERS: list[str] = []
if HOSTED_MAIL:
    if not HOSTED_MAIL.isidentifier() or not importlib.util.find_spec(
        f"anymail.backends.{HOSTED_MAIL}"
    ):
        env.wrong(f"HOSTED_MAIL: django-anymail knows no {HOSTED_MAIL!r}.")
    if EMAIL_HOST:
        env.wrong("EMAIL_HOST and HOSTED_MAIL are both set: choose one.")
    if MAIL_EVENTS and not re.fullmatch(r"[^:]+:.{20,}", ANYMAIL["WEBHOOK_SECRET"]):
        env.wrong("ANYMAIL_WEBHOOK_SECRET must be user:password, of at least 20 characters.")
    MAIL_FOLDER, MAIL_TRAY = None, False
    EMAIL_BACKEND = f"anymail.backends.{HOSTED_MAIL}.EmailBackend"
    MAIL_CHANNEL = "education.hosted_mail.ByHostedMail"
    MAIL_LISTENERS = ["education.hosted_events.connect"]

# The mailbox to which delivery reports and answers come (IMAP); without a host it is not read.
IMAP_HOST = env.text("IMAP_HOST")
IMAP_TLS = env.text("IMAP_TLS", "tls").lower()  # from the first byte, or by STARTTLS
IMAP_PORT = env.whole_number("IMAP_PORT", 993 if IMAP_TLS == "tls" else 143)
IMAP_CA = env.text("IMAP_CA")  # a file with whom to trust besides the system's
IMAP_USER = env.text("IMAP_USER")
IMAP_PASSWORD = env.secret("IMAP_PASSWORD", may_be_empty=True)
IMAP_FOLDER = env.text("IMAP_FOLDER", "INBOX")
IMAP_TAKEN_FOLDER = env.text("IMAP_TAKEN_FOLDER", "Taken")
if IMAP_TLS not in {"tls", "starttls", "none"}:
    env.wrong(f"IMAP_TLS must be tls, starttls or none, not {IMAP_TLS!r}.")
if IMAP_HOST and not (IMAP_USER and IMAP_PASSWORD):
    env.wrong("IMAP_HOST needs IMAP_USER and IMAP_PASSWORD too.")
if PRODUCTION and IMAP_HOST and IMAP_TLS == "none":
    env.wrong("IMAP_PASSWORD would be sent unencrypted: set IMAP_TLS to tls or starttls.")
# Errors go to the log, without patients' facts; nobody is mailed a traceback (promise T3).
ADMINS: list[tuple[str, str]] = []
MANAGERS: list[tuple[str, str]] = []

# For operators: who may read /metrics, and what this is a release of (the image says it).

METRICS_TOKEN = env.secret("METRICS_TOKEN")
if METRICS_TOKEN and len(METRICS_TOKEN) < 20:
    env.wrong("METRICS_TOKEN must have at least 20 characters.")
RELEASE = env.text("RELEASE", "not said")
# Where the worker and the scheduler show that they go on (clinic/pulse.py, clinic/ask_health.py).
PULSE_FOLDER = Path(env.text("PULSE_FOLDER", str(DATA_DIR) if EMBEDDED else "/tmp"))

# Celery. The rows are the truth and a message only a hint (promise B2), so nothing here retries.

REDIS_URL = env.text("REDIS_URL")
if REDIS_URL and not REDIS_URL.startswith(("redis://", "rediss://", "redis+socket://")):
    env.wrong("REDIS_URL must begin with redis:// or rediss://.")
# Time limits hold in worker processes (--pool=prefork), not in threads. A sweep ends by itself
# after a minute; the daily mail of a large programme takes the longest.
CELERY_TASK_SOFT_TIME_LIMIT, CELERY_TASK_TIME_LIMIT = 600, 660  # seconds
REDIS_TRANSPORT_OPTIONS: dict[str, Any] = {
    "socket_timeout": 1,
    "socket_connect_timeout": 1,
    # Above the longest task, or it would be handed out a second time while it runs.
    "visibility_timeout": 900,
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
    # What kills its worker must not come back by itself, or it would kill every worker in turn.
    # Its row comes back: once the lease is over, and a limited number of times.
    CELERY_TASK_REJECT_ON_WORKER_LOST = False
    CELERY_WORKER_MAX_MEMORY_PER_CHILD = 400_000  # KiB; a process that grew beyond it is replaced
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
    "note-schedule": {
        "task": "clinic.tasks.note_schedule",
        "schedule": 30.0,
        "options": {"expires": 30.0},
    },
    "sweep-duplicates": {
        "task": "patients.tasks.find_duplicates",
        "schedule": 60.0,
        "options": {"expires": 60.0},
    },
    "ask-again-whose": {
        "task": "education.tasks.ask_again_whose",
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
if IMAP_HOST:
    CELERY_BEAT_SCHEDULE["read-mailbox"] = {
        "task": "education.tasks.read_mailbox",
        "schedule": 60.0,
        "options": {"expires": 60.0},
    }
CELERY_BEAT_SCHEDULER = "clinic.pulse:Scheduler"
CELERY_BEAT_SCHEDULE_FILENAME = env.text(
    "BEAT_SCHEDULE_FILE", str(DATA_DIR / "beat-schedule" if EMBEDDED else "/tmp/beat-schedule")
)

# Logs: to stderr, by a formatter that lets no patient's fact and no token through (promise T3).

LOG_LEVEL = env.text("LOG_LEVEL", "INFO").upper()
if LOG_LEVEL not in {"DEBUG", "INFO", "WARNING", "ERROR", "CRITICAL"}:
    env.wrong(f"LOG_LEVEL must be DEBUG, INFO, WARNING, ERROR or CRITICAL, not {LOG_LEVEL!r}.")
    LOG_LEVEL = "INFO"
LOG_FORMAT = env.text("LOG_FORMAT", "json" if PRODUCTION else "lines").lower()
if LOG_FORMAT not in {"json", "lines"}:
    env.wrong(f"LOG_FORMAT must be json or lines, not {LOG_FORMAT!r}.")
    LOG_FORMAT = "lines"
LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {
        "lines": {"()": "clinic.discreet_logging.DiscreetFormatter"},
        "json": {"()": "clinic.discreet_logging.DiscreetJson"},
    },
    "handlers": {"stderr": {"class": "logging.StreamHandler", "formatter": LOG_FORMAT}},
    "root": {"handlers": ["stderr"], "level": LOG_LEVEL},
    "loggers": {
        # Django gives these two handlers of their own (a console, mail to ADMINS): taken away.
        "django": {"handlers": [], "level": "INFO", "propagate": True},
        "django.server": {"handlers": [], "level": "INFO", "propagate": True},
        "django.db.backends": {"level": "WARNING"},
    },
}

# The MLLP listener's TLS (manage.py listen_mllp): certificate, key, and whose clients may connect.
MLLP_TLS_CERT, MLLP_TLS_KEY, MLLP_TLS_CLIENT_CA = (
    Path(env.text(name)) if env.text(name) else None
    for name in ("MLLP_TLS_CERT", "MLLP_TLS_KEY", "MLLP_TLS_CLIENT_CA")
)

# Whatever is wrong above, in one message.
env.complain()
