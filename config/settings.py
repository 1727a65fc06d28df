"""Settings. Everything has its safe value here; environment variables only turn knobs (DEVELOPERS.md lists them)."""

from __future__ import annotations

import os
from datetime import timedelta
from pathlib import Path
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from csp.constants import NONE, SELF
from django.core.exceptions import ImproperlyConfigured

from config.database import database_settings
from config.environment import Environment
from config.secret_key import secret_key_from

env = Environment()

# --- Where things are ------------------------------------------------------------------------------------------------
BASE_DIR = Path(__file__).resolve().parent.parent
VAR_DIR = env.folder("CAVITYBOOK_VAR", default=BASE_DIR / "var")
DOCUMENTS_DIR = VAR_DIR / "documents"
BACKUP_DIR = VAR_DIR / "backups"

# matplotlib writes a font cache at import; a service account often has no home folder to put it in.
os.environ.setdefault("MPLCONFIGDIR", str(VAR_DIR / "matplotlib"))

# --- Knobs -----------------------------------------------------------------------------------------------------------
DEBUG = env.flag("CAVITYBOOK_DEBUG", default=False)
PRODUCTION = env.flag("CAVITYBOOK_PRODUCTION", default=False)
if DEBUG and PRODUCTION:
    raise ImproperlyConfigured("CAVITYBOOK_DEBUG and CAVITYBOOK_PRODUCTION are both on. Turn CAVITYBOOK_DEBUG off.")
SECRET_KEY = env.secret("CAVITYBOOK_SECRET_KEY") or secret_key_from(VAR_DIR / "secret_key")
ALLOWED_HOSTS = env.words("CAVITYBOOK_ALLOWED_HOSTS", default=["localhost", "127.0.0.1", "[::1]"])
# Only set this when every request passes our own proxy, which replaces these headers: anybody can send them.
TRUST_PROXY = env.flag("CAVITYBOOK_TRUST_PROXY", default=False)

# --- Applications ----------------------------------------------------------------------------------------------------
INSTALLED_APPS = [
    "estimates",
    "jobs",
    "reports",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "django_tables2",
    "django_filters",
    "django_htmx",
    "axes",
    "csp",
]

MIDDLEWARE = [
    "config.middleware.RequestIdMiddleware",
    "config.middleware.ProxyAddressMiddleware",
    "django.middleware.security.SecurityMiddleware",
    "csp.middleware.CSPMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.auth.middleware.LoginRequiredMiddleware",
    "config.middleware.NoStoreMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "config.middleware.ConflictMiddleware",
    "axes.middleware.AxesMiddleware",
]

ROOT_URLCONF = "config.urls"
WSGI_APPLICATION = "config.wsgi.application"
CSRF_FAILURE_VIEW = "config.errors.csrf_failure"
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
    },
]

# --- Data ------------------------------------------------------------------------------------------------------------
DATABASES = {
    "default": database_settings(
        url=env.secret("DATABASE_URL"), var=VAR_DIR, test_name=env.text("CAVITYBOOK_TEST_DATABASE")
    )
}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

# --- People and sessions ---------------------------------------------------------------------------------------------
AUTH_USER_MODEL = "estimates.User"
LOGIN_URL = "estimates-sign-in"
LOGIN_REDIRECT_URL = "/"
LOGOUT_REDIRECT_URL = "estimates-sign-in"
AUTHENTICATION_BACKENDS = ["axes.backends.AxesStandaloneBackend", "django.contrib.auth.backends.ModelBackend"]
PASSWORD_HASHERS = [
    "django.contrib.auth.hashers.Argon2PasswordHasher",
    "django.contrib.auth.hashers.ScryptPasswordHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",
]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 12}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {
        "NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator",
        "OPTIONS": {"user_attributes": ("email", "full_name")},
    },
]

SESSION_COOKIE_AGE = 3600 * env.whole("CAVITYBOOK_SESSION_HOURS", default=12, low=1, high=720)
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_SECURE = PRODUCTION
SESSION_COOKIE_NAME = "__Host-session" if PRODUCTION else "session"
CSRF_COOKIE_HTTPONLY = True  # pages carry the token in their forms; no script needs the cookie
CSRF_COOKIE_SAMESITE = "Lax"
CSRF_COOKIE_SECURE = PRODUCTION
CSRF_COOKIE_NAME = "__Host-csrf" if PRODUCTION else "csrf"

# Guessing of passwords: ten wrong ones for an account, or from an address, close it for a quarter of an hour.
AXES_LOCKOUT_PARAMETERS = ["username", "ip_address"]
AXES_FAILURE_LIMIT = 10
AXES_COOLOFF_TIME = timedelta(minutes=15)
AXES_RESET_ON_SUCCESS = True
AXES_USERNAME_FORM_FIELD = "username"
AXES_LOCKOUT_CALLABLE = "estimates.views.session.locked_out"
AXES_VERBOSE = False

# --- Browser and transport -------------------------------------------------------------------------------------------
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
SECURE_CROSS_ORIGIN_OPENER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
SECURE_SSL_REDIRECT = PRODUCTION
SECURE_HSTS_SECONDS = 365 * 24 * 3600 if PRODUCTION else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = PRODUCTION
SECURE_HSTS_PRELOAD = PRODUCTION
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if TRUST_PROXY else None

CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [SELF],
        "script-src": [SELF],
        "style-src": [SELF],
        "img-src": [SELF, "data:"],
        "font-src": [SELF],
        "connect-src": [SELF],
        "object-src": [NONE],
        "base-uri": [NONE],
        "form-action": [SELF],
        "frame-ancestors": [NONE],
    },
}

DATA_UPLOAD_MAX_MEMORY_SIZE = 5 * 1024 * 1024
FILE_UPLOAD_PERMISSIONS = 0o600

# --- Static files ----------------------------------------------------------------------------------------------------
STATIC_URL = "/static/"
STATIC_ROOT = VAR_DIR / "static"
STATIC_ROOT.mkdir(exist_ok=True)  # whitenoise warns about a folder that is not there
STATICFILES_DIRS = [BASE_DIR / "config" / "static"]
STATICFILES_FINDERS = [
    "django.contrib.staticfiles.finders.FileSystemFinder",
    "django.contrib.staticfiles.finders.AppDirectoriesFinder",
    "reports.finders.ChartBundleFinder",
]
# The demo serves files from where they lie, with DEBUG off and nothing collected; production collects and hashes them.
WHITENOISE_USE_FINDERS = not PRODUCTION
WHITENOISE_AUTOREFRESH = DEBUG
STORAGES = {
    "default": {
        "BACKEND": "django.core.files.storage.FileSystemStorage",
        "OPTIONS": {"location": DOCUMENTS_DIR},
    },
    "staticfiles": {
        "BACKEND": "whitenoise.storage.CompressedManifestStaticFilesStorage"
        if PRODUCTION
        else "django.contrib.staticfiles.storage.StaticFilesStorage",
    },
}

# --- Language and time -----------------------------------------------------------------------------------------------
LANGUAGE_CODE = "en-us"
USE_I18N = True
USE_TZ = True
TIME_ZONE = env.text("CAVITYBOOK_TIME_ZONE", default="America/New_York")
try:
    ZoneInfo(TIME_ZONE)
except (ZoneInfoNotFoundError, ValueError, OSError):
    raise ImproperlyConfigured(
        f'CAVITYBOOK_TIME_ZONE is "{TIME_ZONE}". Enter a name of the time zone database, for example America/Chicago.'
    ) from None

# --- Mail ------------------------------------------------------------------------------------------------------------
EMAIL_HOST = env.text("CAVITYBOOK_EMAIL_HOST")
EMAIL_BACKEND = (
    "django.core.mail.backends.smtp.EmailBackend" if EMAIL_HOST else "django.core.mail.backends.filebased.EmailBackend"
)
EMAIL_FILE_PATH = VAR_DIR / "mail"
EMAIL_PORT = env.whole("CAVITYBOOK_EMAIL_PORT", default=587, low=1, high=65535)
EMAIL_HOST_USER = env.text("CAVITYBOOK_EMAIL_USER")
EMAIL_HOST_PASSWORD = env.secret("CAVITYBOOK_EMAIL_PASSWORD")
EMAIL_USE_TLS = env.flag("CAVITYBOOK_EMAIL_TLS", default=True)
EMAIL_TIMEOUT = 10
DEFAULT_FROM_EMAIL = env.text("CAVITYBOOK_EMAIL_FROM", default="office@localhost")

# --- Logs ------------------------------------------------------------------------------------------------------------
LOG_LEVEL = env.text("CAVITYBOOK_LOG_LEVEL", default="INFO").upper()
if LOG_LEVEL not in {"DEBUG", "INFO", "WARNING", "ERROR"}:
    raise ImproperlyConfigured(f'CAVITYBOOK_LOG_LEVEL is "{LOG_LEVEL}". Enter DEBUG, INFO, WARNING or ERROR.')
LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "filters": {"request": {"()": "config.logs.RequestFilter"}},
    "formatters": {
        "line": {"format": "{asctime} {levelname} {name} [{request_id}] {message}", "style": "{"},
    },
    "handlers": {
        "console": {"class": "logging.StreamHandler", "filters": ["request"], "formatter": "line"},
    },
    "root": {"handlers": ["console"], "level": "WARNING"},
    "loggers": {
        "cavitybook": {"level": LOG_LEVEL},
        # Django's own default sends these to a handler of its own as well; ours carries the request id.
        "django": {"handlers": ["console"], "level": "WARNING", "propagate": False},
        "django.server": {"handlers": ["console"], "level": "INFO", "propagate": False},
    },
}
