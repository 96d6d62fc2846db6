"""The one settings file. What a deployment changes comes from the environment (deploy/env.example lists it)."""

import os
import secrets
from pathlib import Path

import django_stubs_ext
from csp.constants import NONCE, NONE, SELF

from herdplan import environment as env

# Lets forms and admin classes say their model as a type parameter.
django_stubs_ext.monkeypatch()

ROOT = Path(__file__).resolve().parent.parent
DATA = Path(env.text("HERDPLAN_DATA", str(ROOT / "var")))
DATA.mkdir(parents=True, exist_ok=True)
# The planner's machine code is kept beside the code; where that is closed to writing, in the data folder.
if not os.access(ROOT / "scheduling", os.W_OK):
    os.environ.setdefault("NUMBA_CACHE_DIR", str(DATA / "machine-code"))


def _secret_key() -> str:
    """The key of this installation: given, or made once and kept in the data folder, readable by its owner alone."""
    given = env.text("HERDPLAN_SECRET_KEY")
    if given:
        return given
    path = DATA / "secret_key"
    if not path.exists():
        path.touch(mode=0o600)
        path.write_text(secrets.token_urlsafe(50), encoding="utf-8")
    return path.read_text(encoding="utf-8")


SECRET_KEY = _secret_key()
SECRET_KEY_FALLBACKS = env.words("HERDPLAN_SECRET_KEY_FALLBACKS")
DEBUG = env.flag("HERDPLAN_DEBUG", False)
PORT = env.number("HERDPLAN_PORT", 8000, low=1, high=65535)
BASE_URL = env.text("HERDPLAN_BASE_URL", f"http://localhost:{PORT}").rstrip("/")
HTTPS = BASE_URL.startswith("https://")
ALLOWED_HOSTS = env.words("HERDPLAN_HOSTS", "localhost,127.0.0.1,[::1]" if not HTTPS else BASE_URL.split("/")[2])
CSRF_TRUSTED_ORIGINS = [BASE_URL] if HTTPS else []

INSTALLED_APPS = [
    "django.contrib.admin",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "django.contrib.humanize",
    "allauth",
    "allauth.account",
    "allauth.mfa",
    "allauth.usersessions",
    "csp",
    "django_htmx",
    "rest_framework",
    "rest_framework.authtoken",
    "drf_spectacular",
    "drf_spectacular_sidecar",
    "accounts",
    "herdplan.herds",
    "herdplan.technicians",
    "scheduling",
    "herdplan.calendars",
    "herdplan.reminders",
    "herdplan",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "herdplan.zipping.PagesZipped",
    "csp.middleware.CSPMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "allauth.account.middleware.AccountMiddleware",
    "allauth.usersessions.middleware.UserSessionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
]

ROOT_URLCONF = "herdplan.urls"
WSGI_APPLICATION = "herdplan.wsgi.application"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [ROOT / "herdplan" / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "accounts.context.member",
                "herdplan.reminders.context.unseen",
            ],
            "builtins": ["django.templatetags.static", "django.contrib.humanize.templatetags.humanize"],
        },
    }
]

DATABASES = {"default": env.database(env.text("HERDPLAN_DATABASE_URL"), DATA / "herdplan.sqlite3")}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

# Workers, perhaps on several machines, that plan parts of a large season at the same time (0: processes of one machine do).
PART_WORKERS = env.number("HERDPLAN_PART_WORKERS", 0, low=0, high=64)
REDIS_URL = env.text("HERDPLAN_REDIS_URL")
CACHES: dict[str, dict[str, object]] = {
    # Sign-in limits count in the cache, so it must be shared by all processes: Redis, or the database.
    "default": {"BACKEND": "django.core.cache.backends.redis.RedisCache", "LOCATION": REDIS_URL}
    if REDIS_URL
    else {
        "BACKEND": "django.core.cache.backends.db.DatabaseCache",
        "LOCATION": "shared_cache",
        "OPTIONS": {"MAX_ENTRIES": 50_000},
    }
}

AUTH_USER_MODEL = "accounts.User"
AUTHENTICATION_BACKENDS = ["allauth.account.auth_backends.AuthenticationBackend"]
PASSWORD_HASHERS = [
    "django.contrib.auth.hashers.Argon2PasswordHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",
]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
LOGIN_URL = "account_login"
LOGIN_REDIRECT_URL = "home"
LOGOUT_REDIRECT_URL = "account_login"
ACCOUNT_USER_MODEL_USERNAME_FIELD = None
ACCOUNT_LOGIN_METHODS = {"email"}
ACCOUNT_SIGNUP_FIELDS = ["email*", "password1*", "password2*"]
ACCOUNT_ADAPTER = "accounts.adapter.AccountAdapter"
ACCOUNT_EMAIL_VERIFICATION = "optional"
ACCOUNT_EMAIL_SUBJECT_PREFIX = "herdplan: "
ACCOUNT_DEFAULT_HTTP_PROTOCOL = "https" if HTTPS else "http"
ACCOUNT_LOGOUT_ON_PASSWORD_CHANGE = True
MFA_SUPPORTED_TYPES = ["totp", "webauthn", "recovery_codes"]
MFA_PASSKEY_LOGIN_ENABLED = True
MFA_TOTP_ISSUER = "herdplan"
MFA_WEBAUTHN_ALLOW_INSECURE_ORIGIN = not HTTPS
ALLAUTH_TRUSTED_PROXY_COUNT = env.number("HERDPLAN_TRUSTED_PROXIES", 0, low=0, high=5)

EMAIL_HOST = env.text("HERDPLAN_EMAIL_HOST")
EMAIL_PORT = env.number("HERDPLAN_EMAIL_PORT", 587, low=1, high=65535)
EMAIL_HOST_USER = env.text("HERDPLAN_EMAIL_USER")
EMAIL_HOST_PASSWORD = env.text("HERDPLAN_EMAIL_PASSWORD")
EMAIL_USE_TLS = env.flag("HERDPLAN_EMAIL_TLS", True)
EMAIL_TIMEOUT = 20
DEFAULT_FROM_EMAIL = env.text("HERDPLAN_EMAIL_FROM", "herdplan@localhost")
SERVER_EMAIL = DEFAULT_FROM_EMAIL
# Without a mail server, messages are written to files that the person who runs the box can read.
EMAIL_BACKEND = f"django.core.mail.backends.{'smtp' if EMAIL_HOST else 'filebased'}.EmailBackend"
EMAIL_FILE_PATH = DATA / "mail"
# Which messages have left, beside the database (herdplan/reminders/journal.py says why).
OUTBOX_JOURNAL = DATA / "outbox"
# Web push: the key that signs pushes is given, or made once and kept in the data folder.
VAPID_PRIVATE_KEY = env.text("HERDPLAN_VAPID_PRIVATE_KEY")
VAPID_KEY_FILE = DATA / "vapid_key"
# Hosts inside the private network that people's message services may use, for example the co-op's own SMS gateway.
SERVICE_HOSTS = env.words("HERDPLAN_SERVICE_HOSTS")

# The mailbox of the address above, where calendars send their answers to invitations.
IMAP_HOST = env.text("HERDPLAN_IMAP_HOST")
IMAP_TLS = env.flag("HERDPLAN_IMAP_TLS", True)
IMAP_PORT = env.number("HERDPLAN_IMAP_PORT", 993 if IMAP_TLS else 143, low=1, high=65535)
IMAP_USER = env.text("HERDPLAN_IMAP_USER", EMAIL_HOST_USER)
IMAP_PASSWORD = env.text("HERDPLAN_IMAP_PASSWORD", EMAIL_HOST_PASSWORD)
IMAP_FOLDER = env.text("HERDPLAN_IMAP_FOLDER", "INBOX")

# Whether people's own calendars may stand on servers of this private network, and without https.
CALDAV_PRIVATE = env.flag("HERDPLAN_CALDAV_PRIVATE", False)

LANGUAGE_CODE = "en-us"
# A translation is a folder in herdplan/locale/ and in scheduling/locale/ (the catalogue's words), and a line here.
LANGUAGES = [("en", "English"), ("es", "Español")]
LOCALE_PATHS = [ROOT / "herdplan" / "locale"]
TIME_ZONE = "UTC"
USE_TZ = True
USE_I18N = True

STATIC_URL = "/static/"
STATIC_ROOT = DATA / "static"
STATICFILES_DIRS = [ROOT / "herdplan" / "static"]
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "whitenoise.storage.CompressedManifestStaticFilesStorage"},
}
DATA_UPLOAD_MAX_MEMORY_SIZE = 5_000_000
FILE_UPLOAD_MAX_MEMORY_SIZE = 5_000_000

SESSION_COOKIE_AGE = 60 * 60 * 24 * 60
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = SECURE_SSL_REDIRECT = HTTPS
SESSION_COOKIE_HTTPONLY = True
SECURE_HSTS_SECONDS = 31_536_000 if HTTPS else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = SECURE_HSTS_PRELOAD = HTTPS
SECURE_REFERRER_POLICY = "same-origin"
SECURE_CONTENT_TYPE_NOSNIFF = True
X_FRAME_OPTIONS = "DENY"
if env.flag("HERDPLAN_BEHIND_PROXY", False):
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
CONTENT_SECURITY_POLICY = {
    "EXCLUDE_URL_PREFIXES": ["/admin/"],
    "DIRECTIVES": {
        "default-src": [SELF],
        "script-src": [SELF, NONCE],
        "style-src": [SELF, NONCE],
        "img-src": [SELF, "data:"],
        "connect-src": [SELF],
        "object-src": [NONE],
        "base-uri": [SELF],
        "form-action": [SELF],
        "frame-ancestors": [NONE],
    },
}

REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "rest_framework.authentication.TokenAuthentication",
        "rest_framework.authentication.SessionAuthentication",
    ],
    "DEFAULT_PERMISSION_CLASSES": ["rest_framework.permissions.IsAuthenticated"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PARSER_CLASSES": ["rest_framework.parsers.JSONParser"],
    "DEFAULT_SCHEMA_CLASS": "drf_spectacular.openapi.AutoSchema",
    "DEFAULT_PAGINATION_CLASS": "rest_framework.pagination.LimitOffsetPagination",
    "PAGE_SIZE": 100,
    "DEFAULT_THROTTLE_CLASSES": ["rest_framework.throttling.UserRateThrottle"],
    "DEFAULT_THROTTLE_RATES": {"user": "2000/hour"},
}
SPECTACULAR_SETTINGS = {
    "TITLE": "herdplan",
    "DESCRIPTION": "Ranches, herds, groups, technicians, seasons, plans and feeds of a breeding co-op.",
    "VERSION": "1",
    "SERVE_INCLUDE_SCHEMA": False,
    "SWAGGER_UI_DIST": "SIDECAR",
    "SWAGGER_UI_FAVICON_HREF": "SIDECAR",
    "SCHEMA_PATH_PREFIX": r"/api/v1",
    "ENUM_NAME_OVERRIDES": {
        "VerdictEnum": ["ready", "ready_if", "not_this_time"],
        "VaccineEnum": "herdplan.herds.api.VACCINES",
    },
}

CELERY_BROKER_URL = REDIS_URL or None
CELERY_TASK_IGNORE_RESULT = True
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_TASK_ACKS_LATE = True
CELERY_TASK_REJECT_ON_WORKER_LOST = True

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "handlers": {"console": {"class": "logging.StreamHandler"}},
    "root": {"handlers": ["console"], "level": env.text("HERDPLAN_LOG_LEVEL", "WARNING")},
}
