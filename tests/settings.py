"""What is different in tests. TEST_DATABASE chooses sqlite (the default) or postgres."""

import atexit
import os
import shutil
import tempfile
from pathlib import Path

# Each test process has a data folder of its own, whatever the shell it runs in has set.
_folder = tempfile.mkdtemp(prefix="clear-by-tests-")
atexit.register(shutil.rmtree, _folder, ignore_errors=True)
for _name in (
    "CLINIC_PRODUCTION",
    "CLINIC_DEBUG",
    "CLINIC_DEMO",
    "DATABASE_URL",
    "REDIS_URL",
    "PUBLIC_URL",
    "EMAIL_HOST",
    "EMAIL_PORT",
    "EMAIL_HOST_USER",
    "EMAIL_HOST_PASSWORD",
    "EMAIL_USE_TLS",
    "MAIL_FROM",
    "ALLOWED_HOSTS",
    "BEHIND_PROXY",
    "PROGRAMME_PHONE",
    "STATIC_ROOT",
    "MEDIA_ROOT",
    "MEDIA_S3_BUCKET",
    "LARGEST_VIDEO_MB",
    "SECRET_KEY",
    "LANGUAGES_DIR",
):
    os.environ.pop(_name, None)
os.environ["CLINIC_DATA_DIR"] = _folder

from clinic.settings import *  # noqa: E402, F403
from clinic.settings import SQLITE_OPTIONS  # noqa: E402

_chosen = os.environ.get("TEST_DATABASE", "sqlite")
if _chosen == "postgres":
    # A database with the tables in it already, or an empty one.
    _template = os.environ.get("TEST_POSTGRES_TEMPLATE", "template0")
    DATABASES = {
        "default": {
            "ENGINE": "django.db.backends.postgresql",
            "NAME": os.environ.get("TEST_POSTGRES_NAME", "postgres"),
            "USER": "postgres",
            "HOST": os.environ["TEST_POSTGRES_HOST"],  # the folder of a unix socket
            "PORT": os.environ.get("TEST_POSTGRES_PORT", "5432"),
            "TEST": {"NAME": "test_clear_by", "TEMPLATE": _template},
        }
    }
elif _chosen == "sqlite":
    # A file, not memory: tests with threads need the locking that production has.
    DATABASES = {
        "default": {
            "ENGINE": "django.db.backends.sqlite3",
            "NAME": Path(_folder) / "db.sqlite3",
            "OPTIONS": {
                **SQLITE_OPTIONS,
                "init_command": SQLITE_OPTIONS["init_command"].replace("NORMAL", "OFF"),
            },
            "TEST": {"NAME": str(Path(_folder) / "test.sqlite3")},
        }
    }
else:
    raise ValueError(f"TEST_DATABASE must be sqlite or postgres, not {_chosen!r}")

# Hashing a password is slow on purpose; tests make many users.
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
