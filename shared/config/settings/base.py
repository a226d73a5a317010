"""
Production settings, read from the environment.

SECRET_KEY and ALLOWED_HOSTS must be given. DATABASE_URL and REDIS_URL choose real servers; without
them everything lives in the folder SHOP_DATA. `dev` and `test` only relax what stands here.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import dj_database_url
from django.core.exceptions import ImproperlyConfigured

from shared.config import environment

ROOT = Path(__file__).resolve().parents[3]
DATA = environment.folder("SHOP_DATA", ROOT / ".shop-data")

SECRET_KEY = environment.text(
    "SECRET_KEY", hint="Give a long random text; cookies and cursors are signed with it."
)
ALLOWED_HOSTS = environment.words(
    "ALLOWED_HOSTS", hint="Give the names under which the shop is reached, with commas between."
)
# Encrypt secrets of the database, the first one; each opens them. See `shared/sealed.py`.
SECRETS_KEYS = environment.words("SECRETS_KEYS", "")
CSRF_TRUSTED_ORIGINS = environment.words("CSRF_TRUSTED_ORIGINS", "")
DEBUG = False

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "rest_framework",
    "drf_spectacular",
    "drf_spectacular_sidecar",
    "django_filters",
    "django_htmx",
    "axes",
    "shared.apps.SharedConfig",
    "shop.apps.ShopConfig",
    "planning.apps.PlanningConfig",
]
MIDDLEWARE = [
    "shared.config.headers.RequestId",
    "shared.config.headers.RateLimitTold",
    "shared.config.headers.ClientAddress",
    "shared.config.metrics.CallTimes",
    "django.middleware.security.SecurityMiddleware",
    "shared.config.headers.Packing",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "shared.config.headers.ContentPolicy",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "axes.middleware.AxesMiddleware",
    "shared.sign_in.middleware.SecondStepWanted",
]
ROOT_URLCONF = "shared.config.urls"
WSGI_APPLICATION = "shared.config.wsgi.application"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
            ],
        },
    },
]

SQLITE_OPTIONS = {
    # A deferred transaction that reads and then writes fails at once when another has written.
    "transaction_mode": "IMMEDIATE",
    "timeout": 20,
    # A ledger keeps FULL: with NORMAL a power cut may take the last commits back.
    "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL;",
}


def database(address: str) -> dict[str, Any]:
    """Return Django's description of a database, with what SQLite needs to stand many writers."""
    found: dict[str, Any] = dict(dj_database_url.parse(address, conn_max_age=60))
    if found["ENGINE"].endswith("sqlite3"):
        found["OPTIONS"] = {**found.get("OPTIONS", {}), **SQLITE_OPTIONS}
        found["CONN_MAX_AGE"] = 0
    else:
        found["CONN_HEALTH_CHECKS"] = True
        found["OPTIONS"] = {"connect_timeout": 5, **found.get("OPTIONS", {})}
    return found


DATABASES = {
    "default": database(environment.text("DATABASE_URL", f"sqlite:///{DATA / 'shop.sqlite3'}"))
}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

REDIS_URL = environment.text("REDIS_URL", "")
CACHES: dict[str, Any] = {
    "default": {
        "BACKEND": "shared.config.cache.RedisOrMemory",
        "LOCATION": REDIS_URL,
        "OPTIONS": {"socket_connect_timeout": 0.5, "socket_timeout": 0.5},
    }
    if REDIS_URL
    else {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"}
}

CELERY_BROKER_URL = REDIS_URL or "shopfiles://localhost"
"""The folders count, not the host; one is named, or each process warns that none is."""
CELERY_TASK_PUBLISH_RETRY_POLICY = {"max_retries": 1, "interval_start": 0.1}
"""What waits for a worker is a row that the timetable finds; no request waits for the broker."""
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_ACKS_LATE = True
CELERY_TASK_REJECT_ON_WORKER_LOST = True
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_TASK_TIME_LIMIT = 1800
"""Seconds until a task that hangs is ended; a plan of 500 pours takes some minutes."""
CELERY_WORKER_HIJACK_ROOT_LOGGER = False
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_TIMEZONE = "UTC"
CELERY_BEAT_SCHEDULE_FILENAME = str(DATA / "timetable")
if not REDIS_URL:
    _BROKER = DATA / "broker"
    for _name in ("messages", "done", "control"):
        (_BROKER / _name).mkdir(parents=True, exist_ok=True)
    CELERY_BROKER_TRANSPORT_OPTIONS = {
        "data_folder_in": str(_BROKER / "messages"),
        "data_folder_out": str(_BROKER / "messages"),
        "processed_folder": str(_BROKER / "done"),
        "control_folder": str(_BROKER / "control"),
        "polling_interval": 0.1,
    }

AUTH_USER_MODEL = "shared.User"
AUTHENTICATION_BACKENDS = [
    "axes.backends.AxesStandaloneBackend",
    "django.contrib.auth.backends.ModelBackend",
]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {
        "NAME": "django.contrib.auth.password_validation.MinimumLengthValidator",
        "OPTIONS": {"min_length": 8},
    },
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
LOGIN_URL = "sign-in"
PASSWORD_RESET_TIMEOUT = 3600
# Roles whose holders must have a second step at signing in, such as administrator,purchasing.
SECOND_STEP_ROLES = environment.words("SECOND_STEP_ROLES", "")
# Whether the first visitor of an empty installation may found the shop; a server that others
# reach is founded by command instead.
FOUND_IN_BROWSER = environment.flag("FOUND_IN_BROWSER")
LOGIN_REDIRECT_URL = "/"
LOGOUT_REDIRECT_URL = "sign-in"
AXES_FAILURE_LIMIT = 10
AXES_COOLOFF_TIME = 0.25  # hours
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_HANDLER = "shared.access.lock.SignInLock"
AXES_RESET_ON_SUCCESS = True
AXES_LOCKOUT_TEMPLATE = "access/locked_out.html"
AXES_VERBOSE = False

SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = True
SESSION_COOKIE_SAMESITE = CSRF_COOKIE_SAMESITE = "Lax"
SECURE_SSL_REDIRECT = environment.flag("SECURE_SSL_REDIRECT", default=True)
SECURE_REDIRECT_EXEMPT = [r"^livez$", r"^readyz$"]
SECURE_HSTS_SECONDS = environment.number("SECURE_HSTS_SECONDS", 31_536_000)
SECURE_HSTS_INCLUDE_SUBDOMAINS = True
SECURE_HSTS_PRELOAD = True
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
# How many proxies of our own stand in front; only their entries of X-Forwarded-For are believed.
PROXY_COUNT = environment.number("PROXY_COUNT", int(environment.flag("BEHIND_PROXY")))
if PROXY_COUNT:
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")

LANGUAGE_CODE = "en-gb"
TIME_ZONE = "UTC"
USE_TZ = True
FORMAT_MODULE_PATH = "shared.config.formats"
USE_I18N = False

STATIC_URL = "/static/"
STATIC_ROOT = environment.folder("STATIC_ROOT", DATA / "static")
# Without this a server started before collectstatic has no scripts: every button is silently dead.
WHITENOISE_USE_FINDERS = True
MEDIA_URL = "/media/"
MEDIA_ROOT = DATA / "media"
FILE_UPLOAD_PERMISSIONS = 0o640
# Daily copies of the whole shop: where, and how many are kept (0: none is made).
BACKUPS_KEPT = environment.number("BACKUPS_KEPT", 0)
BACKUP_FOLDER = Path(environment.text("BACKUP_FOLDER", str(DATA / "copies")))
DATA_UPLOAD_MAX_MEMORY_SIZE = 2_621_440

# Without EMAIL_HOST the server entered under Set-up, Mail is used; without that none.
EMAIL_BACKEND = "shared.mail.backend.ShopMail"
EMAIL_HOST = environment.text("EMAIL_HOST", "")
EMAIL_PORT = environment.number("EMAIL_PORT", 25)
EMAIL_HOST_USER = environment.text("EMAIL_HOST_USER", "")
EMAIL_HOST_PASSWORD = environment.text("EMAIL_HOST_PASSWORD", "")
EMAIL_USE_TLS = environment.flag("EMAIL_USE_TLS")
EMAIL_TIMEOUT = 15
DEFAULT_FROM_EMAIL = environment.text("DEFAULT_FROM_EMAIL", "shop@localhost")

# Where people reach the shop; written into mails and calendars.
PUBLIC_URL = environment.text("PUBLIC_URL", "http://localhost:8000")
# Webhooks go to public addresses only, and to the networks and ports a shop names as its own.
WEBHOOK_ALLOWED_NETWORKS = environment.words("WEBHOOK_ALLOWED_NETWORKS", "")
WEBHOOK_ALLOWED_PORTS = [int(port) for port in environment.words("WEBHOOK_ALLOWED_PORTS", "")]
# An invented shop for other systems to try calls on; it is emptied and made anew each night.
SANDBOX = environment.flag("SANDBOX")
SANDBOX_PASSWORD = environment.text("SANDBOX_PASSWORD", "demo-shop")

# Set after a backup was put back, so that old reminders are looked at before they leave.
REMINDERS_PAUSED = environment.flag("REMINDERS_PAUSED")

# Opens /metrics to whoever sends it as a bearer; empty: there is no such address.
METRICS_TOKEN = environment.text("METRICS_TOKEN", "")

LOG_FORMAT = environment.text("LOG_FORMAT", "line")
if LOG_FORMAT not in ("line", "json"):
    raise ImproperlyConfigured(f"LOG_FORMAT is {LOG_FORMAT!r}; use line or json.")
LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {
        "line": {"format": "%(asctime)s %(levelname)s %(name)s %(message)s"},
        "json": {"()": "shared.config.logs.JsonLine"},
    },
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": LOG_FORMAT}},
    "root": {"handlers": ["console"], "level": environment.text("LOG_LEVEL", "INFO")},
    "loggers": {
        # Django's own handlers print nothing when DEBUG is off: a 500 would leave no trace.
        "django": {"handlers": ["console"], "level": "INFO", "propagate": False},
        "axes": {"level": "WARNING"},
        # Each PDF would write a dozen lines on the tables of its fonts.
        "fontTools": {"level": "WARNING"},
    },
}

REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "shared.api.authentication.BearerAuthentication",
        "shared.api.authentication.CookieAuthentication",
    ],
    "DEFAULT_PERMISSION_CLASSES": ["shared.api.permissions.HasScope"],
    "DEFAULT_THROTTLE_CLASSES": ["shared.api.throttles.PerCaller"],
    "DEFAULT_THROTTLE_RATES": {
        "caller": f"{environment.number('CALLS_PER_MINUTE', 3000)}/min",
        "stranger": f"{environment.number('STRANGERS_CALLS_PER_MINUTE', 120)}/min",
    },
    # The address is settled by ClientAddress; the header itself is anybody's to write.
    "NUM_PROXIES": 0,
    "DEFAULT_PARSER_CLASSES": ["shared.api.parsing.StrictJson"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PAGINATION_CLASS": "shared.api.pagination.SignedCursor",
    "DEFAULT_FILTER_BACKENDS": [
        "shared.api.filters.KnownParameters",
        "shared.api.filters.Filters",
        "shared.api.filters.Sorting",
    ],
    "DEFAULT_SCHEMA_CLASS": "shared.api.schema.ShopSchema",
    "EXCEPTION_HANDLER": "shared.api.problems.handle",
    "COERCE_DECIMAL_TO_STRING": True,
    "UNICODE_JSON": True,
    "TEST_REQUEST_DEFAULT_FORMAT": "json",
    "URL_FORMAT_OVERRIDE": None,
    "FORMAT_SUFFIX_KWARG": None,
}
SPECTACULAR_SETTINGS = {
    "TITLE": "Casting shop",
    "DESCRIPTION": "Stock, tools, pours, week plans, batches and cures of a shop that casts "
    "moulds from filled two-part epoxy.",
    "VERSION": "1.0.0",
    "OAS_VERSION": "3.1.0",
    "SERVE_INCLUDE_SCHEMA": False,
    "SERVE_PERMISSIONS": ["rest_framework.permissions.AllowAny"],
    "SERVE_AUTHENTICATION": [],
    "COMPONENT_SPLIT_REQUEST": True,
    "SCHEMA_PATH_PREFIX": r"/api/v[0-9]+",
    "SWAGGER_UI_DIST": "SIDECAR",
    "SWAGGER_UI_FAVICON_HREF": "SIDECAR",
    "REDOC_DIST": "SIDECAR",
    "ENUM_GENERATE_CHOICE_DESCRIPTION": False,
    "ENUM_NAME_OVERRIDES": {"EntryKindEnum": "planning.weigh_in.models.EntryKind"},
    # Lists of words stay where they are used: named apart, two steps' words would share a name.
    "POSTPROCESSING_HOOKS": [
        "shared.api.schema.add_problems",
        "shared.api.examples.add",
        "shared.config.webhooks.add",
    ],
}
