"""All settings, fed by the environment. Nothing set at all is the one-machine default: SQLite, no broker."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import environ
from csp.constants import NONCE, NONE, SELF
from django.core.management.utils import get_random_secret_key

BASE_DIR = Path(__file__).resolve().parent.parent
env = environ.Env()

DATA_DIR = Path(env.str("FOLLOWUP_DATA_DIR", default=str(BASE_DIR / "data")))
DATA_DIR.mkdir(parents=True, exist_ok=True)


def _kept_secret(path: Path) -> str:
    """The secret key of the one-machine default: made once, readable by its owner alone."""
    if not path.exists():
        path.touch(mode=0o600)
        path.write_text(get_random_secret_key())
    return path.read_text()


PRODUCTION = env.bool("FOLLOWUP_PRODUCTION", default=False)
SECRET_KEY = env.str("SECRET_KEY", default="") or _kept_secret(DATA_DIR / "secret_key")
SECRET_KEY_IS_SET = bool(env.str("SECRET_KEY", default=""))
DEBUG = env.bool("DEBUG", default=False)
ALLOWED_HOSTS = env.list("ALLOWED_HOSTS", default=["localhost", "127.0.0.1", "[::1]"])
BASE_URL = env.str("BASE_URL", default="http://localhost:8000")

INSTALLED_APPS = [
    "django.contrib.admin",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "axes",
    "csp",
    "config.apps.SettingsConfig",
    "followup",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.auth.middleware.LoginRequiredMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "axes.middleware.AxesMiddleware",
]

ROOT_URLCONF = "config.urls"
WSGI_APPLICATION = "config.wsgi.application"

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
            ],
        },
    }
]

# SQLite before 3.51.3 (3.50.7, 3.44.6) can corrupt a write-ahead log when two connections checkpoint at once.
_SQLITE = sqlite3.sqlite_version_info
_WAL_IS_SAFE = _SQLITE >= (3, 51, 3) or (3, 50, 7) <= _SQLITE < (3, 51) or (3, 44, 6) <= _SQLITE < (3, 45)
_SQLITE_PRAGMAS = (
    "PRAGMA journal_mode=WAL; PRAGMA synchronous=NORMAL"
    if _WAL_IS_SAFE
    else "PRAGMA journal_mode=TRUNCATE; PRAGMA synchronous=FULL"
)

DATABASES = {"default": env.db("DATABASE_URL", default=f"sqlite:///{DATA_DIR / 'followup.sqlite3'}")}
if DATABASES["default"]["ENGINE"].endswith("sqlite3"):
    DATABASES["default"]["OPTIONS"] = {
        "transaction_mode": "IMMEDIATE",
        "timeout": 20,
        "init_command": _SQLITE_PRAGMAS,
    }
elif env.bool("DATABASE_POOL", default=False):
    DATABASES["default"]["CONN_MAX_AGE"] = 0
    DATABASES["default"]["OPTIONS"] = {"pool": {"min_size": 1, "max_size": 4, "timeout": 10}}

AUTH_USER_MODEL = "followup.Staff"
AUTHENTICATION_BACKENDS = [
    "axes.backends.AxesStandaloneBackend",
    "django.contrib.auth.backends.ModelBackend",
]
PASSWORD_HASHERS = [
    "django.contrib.auth.hashers.Argon2PasswordHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",
]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
]
LOGIN_URL = "sign_in"
LOGIN_REDIRECT_URL = "home"
LOGOUT_REDIRECT_URL = "sign_in"
AXES_FAILURE_LIMIT = 5
AXES_COOLOFF_TIME = 0.25
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_RESET_ON_SUCCESS = True
AXES_LOCKOUT_TEMPLATE = "staff/locked_out.html"
AXES_VERBOSE = False

LANGUAGE_CODE = "en-gb"
# Pages are in English; messages and letters to patients are in the language of each.
LANGUAGES = [("en-gb", "English"), ("en", "English"), ("ar", "العربية")]
LOCALE_PATHS = [BASE_DIR / "locale"]
TIME_ZONE = "UTC"
USE_TZ = True
USE_I18N = True
DATE_FORMAT = "j M Y"

STATIC_URL = "static/"
STATIC_ROOT = DATA_DIR / "static"
STATIC_ROOT.mkdir(exist_ok=True)
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {
        "BACKEND": "whitenoise.storage.CompressedManifestStaticFilesStorage"
        if PRODUCTION
        else "django.contrib.staticfiles.storage.StaticFilesStorage"
    },
}
WHITENOISE_USE_FINDERS = not PRODUCTION

SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SECURE = PRODUCTION
SESSION_COOKIE_AGE = 12 * 3600
CSRF_COOKIE_SECURE = PRODUCTION
SECURE_SSL_REDIRECT = False
SECURE_REFERRER_POLICY = "same-origin"
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if PRODUCTION else None
SECURE_HSTS_SECONDS = env.int("HSTS_SECONDS", default=0)
CSRF_TRUSTED_ORIGINS = env.list("CSRF_TRUSTED_ORIGINS", default=[])
X_FRAME_OPTIONS = "DENY"
# The proxy redirects to HTTPS; the domain's other names and the preload list are the clinic's own affair.
SILENCED_SYSTEM_CHECKS = ["security.W005", "security.W008", "security.W021"]

CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [NONE],
        "script-src": [SELF, NONCE],
        "style-src": [SELF],
        "img-src": [SELF, "data:"],
        "font-src": [SELF],
        "connect-src": [SELF],
        "form-action": [SELF],
        "manifest-src": [SELF],
        "base-uri": [NONE],
        "frame-ancestors": [NONE],
    }
}

DATA_UPLOAD_MAX_NUMBER_FIELDS = 5000
SHEET_MAX_BYTES = env.int("SHEET_MAX_BYTES", default=40 * 1024 * 1024)
DATA_UPLOAD_MAX_MEMORY_SIZE = 5 * 1024 * 1024

EMAIL_BACKEND = "django.core.mail.backends.console.EmailBackend"
if env.str("EMAIL_URL", default=""):
    vars().update(env.email_url("EMAIL_URL"))
EMAIL_TIMEOUT = env.int("EMAIL_TIMEOUT", default=20)
# The gateway that takes text messages for telephones; without one, people are written to by e-mail alone.
TEXT_GATEWAY_URL = env.str("TEXT_GATEWAY_URL", default="")
TEXT_GATEWAY_TOKEN = env.str("TEXT_GATEWAY_TOKEN", default="")
TEXT_GATEWAY_TIMEOUT = env.int("TEXT_GATEWAY_TIMEOUT", default=20)
DEFAULT_FROM_EMAIL = env.str("DEFAULT_FROM_EMAIL", default="follow-up@localhost")

BROKER_URL = env.str("REDIS_URL", default="")
CELERY_BROKER_URL = BROKER_URL or "memory://localhost/"
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_ACKS_LATE = True
CELERY_TASK_REJECT_ON_WORKER_LOST = True
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_TASK_SOFT_TIME_LIMIT = 840
CELERY_TASK_TIME_LIMIT = 900
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_WORKER_CANCEL_LONG_RUNNING_TASKS_ON_CONNECTION_LOSS = True
CELERY_WORKER_HIJACK_ROOT_LOGGER = False
CELERY_TIMEZONE = "UTC"
# A killed worker's task comes back after the visibility timeout; it must outlast the longest task.
CELERY_BROKER_TRANSPORT_OPTIONS = (
    {"visibility_timeout": 1800, "unacked_restore_interval": 10, "unacked_restore_throttle": 1}
    if BROKER_URL
    else {}
)
# Beat only ticks; a row in the database, unique on site, job and local day, decides what runs.
TICK_SECONDS = env.int("TICK_SECONDS", default=60)
CELERY_BEAT_SCHEDULE = {
    "tick": {
        "task": "followup.jobs.tasks.tick",
        "schedule": float(TICK_SECONDS),
        "options": {"expires": TICK_SECONDS},
    },
}
CELERY_BEAT_SCHEDULE_FILENAME = str(DATA_DIR / "beat-schedule")

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"line": {"format": "{asctime} {levelname} {name}: {message}", "style": "{"}},
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": "line"}},
    "root": {"handlers": ["console"], "level": env.str("LOG_LEVEL", default="WARNING")},
}
