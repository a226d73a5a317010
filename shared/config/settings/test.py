"""Settings for the tests: a data folder of their own, fast passwords, tasks run at once."""

from __future__ import annotations

import os
import tempfile

os.environ.setdefault("SECRET_KEY", "only-for-tests-never-for-a-shop-that-is-reached-by-others")
os.environ.setdefault("ALLOWED_HOSTS", "localhost,127.0.0.1,testserver")
os.environ.setdefault("SHOP_DATA", tempfile.mkdtemp(prefix="shop-test-"))

from shared.config.settings.base import *  # noqa: F403
from shared.config.settings.base import DATA, DATABASES, REST_FRAMEWORK

if DATABASES["default"]["ENGINE"].endswith("sqlite3"):
    # A file, as in a shop: threads with connections of their own meet the real locks.
    DATABASES["default"]["TEST"] = {"NAME": str(DATA / "test.sqlite3")}
    DATABASES["default"]["OPTIONS"]["init_command"] = (
        "PRAGMA journal_mode=WAL; PRAGMA synchronous=OFF;"
    )

SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = False
SECURE_SSL_REDIRECT = False
SECURE_HSTS_SECONDS = 0

PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
CELERY_TASK_ALWAYS_EAGER = True
CELERY_TASK_EAGER_PROPAGATES = True
REST_FRAMEWORK["DEFAULT_THROTTLE_RATES"] = {"caller": None, "stranger": None}
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
}
