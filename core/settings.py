"""Django settings: every choice of a deployment is an environment variable read here.

Without any of them the program runs from `.data/`, with an embedded PostgreSQL and a
message queue in plain files.
"""

from pathlib import Path
from typing import Any

import environ
from csp.constants import NONE, SELF
from kombu import Exchange, Queue

from core import embedded_postgres
from core.logs import configure_logs
from core.vocabulary import ReleaseKind

BASE_DIR = Path(__file__).resolve().parent.parent
env = environ.Env()

# Application
DEBUG = env.bool("DEBUG", default=False)
HTTPS = env.bool("HTTPS", default=False)
SECRET_KEY = env.str("SECRET_KEY", default="only-for-tests-and-the-demo")
if HTTPS and "SECRET_KEY" not in env.ENVIRON:
    msg = (
        "HTTPS=true is a deployment: set SECRET_KEY to 50 or more random characters,"
        " the same on every server."
    )
    raise environ.ImproperlyConfigured(msg)
SECRET_KEY_FALLBACKS = env.list("SECRET_KEY_FALLBACKS", default=[])
ALLOWED_HOSTS = env.list("ALLOWED_HOSTS", default=["localhost", "127.0.0.1", "[::1]"])
CSRF_TRUSTED_ORIGINS = env.list("CSRF_TRUSTED_ORIGINS", default=[])
DATA_DIR = Path(env.str("DATA_DIR", default=str(BASE_DIR / ".data"))).absolute()

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "pgtrigger",
    "django_htmx",
    "axes",
    "csp",
    "rest_framework",
    "knox",
    "drf_spectacular",
    "drf_spectacular_sidecar",
    "core",
    "jobs",
    "jobs.accounts",
    "jobs.notifications",
    "checks",
    "api",
]

MIDDLEWARE = [
    "core.middleware.log_requests",
    "django.middleware.security.SecurityMiddleware",
    "csp.middleware.CSPMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "core.middleware.TextCompressionMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "core.timezones.activate_user_timezone",
    "core.middleware.record_devices",
    "django.contrib.auth.middleware.LoginRequiredMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "axes.middleware.AxesMiddleware",
]

ROOT_URLCONF = "core.urls"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "core.context_processors.page_context",
            ],
        },
    },
]
FORM_RENDERER = "core.forms.FieldRenderer"

# Database
database: dict[str, Any] = (
    dict(env.db("DATABASE_URL"))
    if "DATABASE_URL" in env.ENVIRON
    else embedded_postgres.connection_settings(DATA_DIR)
)
DATABASE_POOL_SIZE = env.int("DATABASE_POOL_SIZE", default=0)
if DATABASE_POOL_SIZE:
    pool = {"min_size": 1, "max_size": DATABASE_POOL_SIZE}
    database["OPTIONS"] = {**database.get("OPTIONS", {}), "pool": pool}
else:
    database = {"CONN_MAX_AGE": 60, "CONN_HEALTH_CHECKS": True, **database}
DATABASES = {"default": database}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"
MEDIA_ROOT = Path(env.str("MEDIA_ROOT", default=str(DATA_DIR / "media")))
MEDIA_URL = "media/"

# Background jobs
CELERY_BROKER_URL = env.str("CELERY_BROKER_URL", default="filesystem://")
if CELERY_BROKER_URL == "filesystem://":
    QUEUE_DIR = DATA_DIR / "queue"
    CELERY_BROKER_TRANSPORT_OPTIONS = {
        "data_folder_in": str(QUEUE_DIR / "messages"),
        "data_folder_out": str(QUEUE_DIR / "messages"),
        "control_folder": str(QUEUE_DIR / "control"),
        "polling_interval": 0.5,
    }
    CELERY_WORKER_ENABLE_REMOTE_CONTROL = False
elif CELERY_BROKER_URL.startswith(("redis://", "rediss://")):
    # Redis asks the queues in the order of CELERY_TASK_QUEUES, or of --queues.
    CELERY_BROKER_TRANSPORT_OPTIONS = {"queue_order_strategy": "priority"}
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_ACKS_LATE = True
CELERY_TASK_TIME_LIMIT = 300
# A queue for each kind of work, so that a deployment can give each its workers: what
# somebody waits for, what is due by the clock, and what has hours. A worker without
# --queues serves all.
CELERY_TASK_QUEUES = [
    # With an exchange of its own each; one shared would copy a message to all.
    Queue(name, Exchange(name), routing_key=name)  # type: ignore[no-untyped-call]
    for name in ("interactive", "padstone", "bulk")
]
CELERY_TASK_DEFAULT_QUEUE = "padstone"
CELERY_TASK_ROUTES = {
    "checks.tasks.evaluate_building": {"queue": "interactive"},
    "checks.tasks.evaluate_changes": {"queue": "interactive"},
    "core.tasks.email_*": {"queue": "interactive"},
    "checks.tasks.queue_reevaluation": {"queue": "bulk"},
    "checks.tasks.reevaluate_buildings": {"queue": "bulk"},
}
# A worker takes a message when it has time for it, and leaves the others to others.
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_WORKER_HIJACK_ROOT_LOGGER = False
CELERY_TIMEZONE = "UTC"
CELERY_BEAT_SCHEDULE_FILENAME = str(DATA_DIR / "schedule")
CELERY_BEAT_SCHEDULE = {
    "evaluate due buildings": {
        "task": "checks.tasks.evaluate_due_buildings",
        "schedule": 10.0,
        "options": {"expires": 9.0},
    },
    "resume stalled re-evaluations": {
        "task": "checks.tasks.resume_stalled_reevaluations",
        "schedule": 60.0,
        "options": {"expires": 55.0},
    },
    "supplement latest evaluations": {
        "task": "checks.tasks.supplement_latest_evaluations",
        "schedule": 10.0,
        "options": {"expires": 9.0},
    },
    "send decision reminders": {
        "task": "checks.tasks.send_decision_reminders",
        "schedule": 60.0,
        "options": {"expires": 55.0},
    },
    "send daily summaries": {
        "task": "jobs.notifications.tasks.send_daily_summaries",
        "schedule": 300.0,
        "options": {"expires": 290.0},
    },
    "deliver webhooks": {
        "task": "jobs.notifications.tasks.deliver_webhooks",
        "schedule": 30.0,
        "options": {"expires": 28.0},
    },
    "delete expired notifications": {
        "task": "jobs.notifications.tasks.delete_expired_notifications",
        "schedule": 24 * 3600.0,
    },
    "delete expired sessions": {
        "task": "core.tasks.delete_expired_sessions",
        "schedule": 24 * 3600.0,
    },
    "delete expired rate counters": {
        "task": "core.tasks.delete_expired_counters",
        "schedule": 3600.0,
    },
}

# Caches of one process each: two processes may differ without harm
CACHES: dict[str, dict[str, Any]] = {
    name: {"BACKEND": "django.core.cache.backends.locmem.LocMemCache", "LOCATION": name}
    for name in ("default", "devices")
}
# Rendered parts of pages, of up to 0.3 MB each
CACHES["fragments"] = {
    **CACHES["default"],
    "LOCATION": "fragments",
    "TIMEOUT": 3600,
    "OPTIONS": {"MAX_ENTRIES": 64},
}
# Rate counters shared by all processes (core/rate_limits.py): in Redis, which may
# be the broker already, otherwise in the database
CACHE_URL = env.str(
    "CACHE_URL",
    default=CELERY_BROKER_URL
    if CELERY_BROKER_URL.startswith(("redis://", "rediss://"))
    else "",
)
if CACHE_URL:
    rate_limits = env.cache_url_config(CACHE_URL)
    if not rate_limits["BACKEND"].endswith("RedisCache"):
        msg = "CACHE_URL must name a Redis server, such as redis://broker:6379/1."
        raise environ.ImproperlyConfigured(msg)
    timeouts = {"socket_connect_timeout": 2, "socket_timeout": 2}  # s
    CACHES["rate_limits"] = {
        **rate_limits,
        "KEY_PREFIX": rate_limits.pop("key_prefix", "padstone"),
        "OPTIONS": {**timeouts, **rate_limits.get("OPTIONS", {})},
    }

# Authentication
AUTH_USER_MODEL = "core.Person"
AUTHENTICATION_BACKENDS = [
    "axes.backends.AxesStandaloneBackend",
    "django.contrib.auth.backends.ModelBackend",
    "core.passkeys.PasskeyBackend",
]
PASSWORD_HASHERS = [
    "django.contrib.auth.hashers.ScryptPasswordHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",
]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": f"django.contrib.auth.password_validation.{name}", "OPTIONS": options}
    for name, options in [
        ("UserAttributeSimilarityValidator", {}),
        ("MinimumLengthValidator", {"min_length": 10}),
        ("CommonPasswordValidator", {}),
        ("NumericPasswordValidator", {}),
    ]
]
LOGIN_URL = "sign-in"
LOGIN_REDIRECT_URL = "/"
LOGOUT_REDIRECT_URL = "sign-in"
AXES_FAILURE_LIMIT = 10
AXES_COOLOFF_TIME = 0.25  # hours
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_LOCKOUT_TEMPLATE = "core/sign_in_locked.html"
AXES_RESET_ON_SUCCESS = True
AXES_ENABLE_ADMIN = False
AXES_VERBOSE = False
AXES_SENSITIVE_PARAMETERS = ["username", "ip_address", "assertion"]

# Security headers
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [SELF],
        "img-src": [SELF, "data:", "blob:"],
        "object-src": [NONE],
        "base-uri": [SELF],
        "form-action": [SELF],
        "frame-ancestors": [NONE],
    }
}
X_FRAME_OPTIONS = "DENY"
CSRF_FAILURE_VIEW = "core.views.csrf_failure"
SECURE_REFERRER_POLICY = "same-origin"
SECURE_SSL_REDIRECT = HTTPS
SECURE_REDIRECT_EXEMPT = [r"^health/"]
SECURE_HSTS_SECONDS = env.int("HSTS_SECONDS", default=31_536_000) if HTTPS else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = HTTPS
SECURE_HSTS_PRELOAD = HTTPS
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = HTTPS
SESSION_COOKIE_AGE = 14 * 24 * 3600
if env.bool("BEHIND_PROXY", default=False):
    # Only where the proxy sets this header itself and strips what clients send.
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
    USE_X_FORWARDED_HOST = True

# Time and language
USE_TZ = True
TIME_ZONE = env.str("TIME_ZONE", default="UTC")
LANGUAGE_CODE = "en-us"

# Static files
STATIC_URL = "/static/"
STATIC_ROOT = Path(env.str("STATIC_ROOT", default=str(BASE_DIR / "static")))
STORAGES: dict[str, dict[str, Any]] = {
    "default": {"BACKEND": "core.file_storage.DurableFileStorage"},
    "staticfiles": {
        "BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"
        if DEBUG
        else "core.static_storage.HashedStaticStorage"
    },
}
WHITENOISE_USE_FINDERS = DEBUG

# Photographs: in MEDIA_ROOT, or on a server of the S3 protocol that machines share
if S3_BUCKET := env.str("S3_BUCKET", default=""):
    STORAGES["default"] = {
        "BACKEND": "core.object_storage.ObjectStorage",
        "OPTIONS": {
            "bucket_name": S3_BUCKET,
            "endpoint_url": env.str("S3_ENDPOINT_URL", default="") or None,
            "region_name": env.str("S3_REGION", default="") or None,
            # Left out, they come from the machine's own role or profile.
            "access_key": env.str("S3_ACCESS_KEY", default="") or None,
            "secret_key": env.str("S3_SECRET_KEY", default="") or None,
            "max_memory_size": 5_000_000,  # bytes; a larger file waits on disk
        },
    }

# E-mail
EMAIL_BACKEND = "django.core.mail.backends.console.EmailBackend"
if "EMAIL_URL" in env.ENVIRON:
    globals().update(env.email("EMAIL_URL"))
EMAIL_TIMEOUT = env.int("EMAIL_TIMEOUT", default=20)  # s
DEFAULT_FROM_EMAIL = env.str("DEFAULT_FROM_EMAIL", default="padstone@localhost")

# Notifications
PUBLIC_URL = env.str(  # start of links in e-mail and events; host of the passkeys
    "PUBLIC_URL",
    default=f"https://{ALLOWED_HOSTS[0]}" if HTTPS else "http://localhost:8000",
)
DAILY_SUMMARY_HOUR = env.int("DAILY_SUMMARY_HOUR", default=6)  # recipient's time
# New findings of one job are collected this long, then sent in one e-mail.
EMAIL_BATCH_MINUTES = env.int("EMAIL_BATCH_MINUTES", default=10)
# Allows webhooks over http and to the local network, for the demo.
WEBHOOKS_LOCAL = env.bool("WEBHOOKS_LOCAL", default=False)
EVENT_LINKS = {  # API addresses of the subjects of events
    "job": "api:job",
    "building": "api:building",
    "readings": "api:readings",
    "result": "api:result",
    "finding": "api:finding",
    "release": "api:release",
}

# How long the answer to a reading waits for an evaluation under way. [s]
VERDICT_WAIT_S = env.float("VERDICT_WAIT_S", default=2.0)
# A larger upload is evaluated by a worker, so that a web process stays responsive.
MAX_READINGS_EVALUATED_AT_ONCE = env.int("MAX_READINGS_EVALUATED_AT_ONCE", default=1000)

# API
API_MAX_BODY = env.int("API_MAX_BODY", default=8_000_000)  # bytes
OPEN_EVALUATE = env.bool("OPEN_EVALUATE", default=False)  # for people with no account
REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "api.authentication.CrewTokenAuthentication",
        "rest_framework.authentication.SessionAuthentication",
    ],
    "DEFAULT_PERMISSION_CLASSES": ["rest_framework.permissions.IsAuthenticated"],
    "DEFAULT_SCHEMA_CLASS": "drf_spectacular.openapi.AutoSchema",
    "DEFAULT_PAGINATION_CLASS": "api.pagination.NewestFirstPagination",
    "DEFAULT_FILTER_BACKENDS": [],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PARSER_CLASSES": ["api.parsers.StrictJSONParser"],
    "DEFAULT_THROTTLE_CLASSES": [
        "api.throttles.PersonRateThrottle",
        "api.throttles.ScopeRateThrottle",
    ],
    "DEFAULT_THROTTLE_RATES": {
        "user": env.str("API_RATE", default="600/min"),
        "evaluate": env.str("API_EVALUATE_RATE", default="60/min"),
        "password": env.str("API_PASSWORD_RATE", default="20/min"),
    },
    "NUM_PROXIES": 1 if env.bool("BEHIND_PROXY", default=False) else 0,
    "EXCEPTION_HANDLER": "api.errors.handle_exception",
    "PAGE_SIZE": 100,
    "TEST_REQUEST_DEFAULT_FORMAT": "json",
}
KNOX_TOKEN_MODEL = "knox.AuthToken"  # noqa: S105 - a model by its name
REST_KNOX = {
    "TOKEN_TTL": None,  # each token is given its own end when it is made
    "AUTH_HEADER_PREFIX": "Token",
    "AUTO_REFRESH": False,
}
SPECTACULAR_SETTINGS = {
    "TITLE": "Padstone",
    "DESCRIPTION": "Readings in, verdicts and findings out.",
    "VERSION": "1",
    "OAS_VERSION": "3.1.0",
    "PREPROCESSING_HOOKS": ["api.openapi.exclude_fallback_views"],
    "POSTPROCESSING_HOOKS": [
        "drf_spectacular.hooks.postprocess_schema_enums",
        "api.openapi.add_document_schemas",
        "api.openapi.add_problem_responses",
        "api.webhook_schema.add_webhooks",
    ],
    "ENUM_NAME_OVERRIDES": {
        "StageKind": "jobs.models.Stage.Kind",
        "StageState": "jobs.models.Stage.State",
        "FindingState": "checks.models.Finding.State",
        "EventKind": "checks.models.FindingEvent.Kind",
        "ReleaseKind": ReleaseKind.choices(),
    },
    "SCHEMA_PATH_PREFIX": "/api/v1",
    "SERVE_INCLUDE_SCHEMA": False,
    "SWAGGER_UI_DIST": "SIDECAR",
    "SWAGGER_UI_FAVICON_HREF": "SIDECAR",
    "REDOC_DIST": "SIDECAR",
}

# Reports: typeset PDFs are kept here for an hour
REPORT_FOLDER = Path(env.str("REPORT_FOLDER", default=str(DATA_DIR / "reports")))
# A page waits this long for a PDF, then shows progress. [s]
REPORT_WAIT_S = env.float("REPORT_WAIT_S", default=2.0)

# The package with the demo's invented jobs: `load()` and `SIGN_INS`
DEMO = "checks.demo"

LOGGING_CONFIG = None
LOG_LEVEL = env.str("LOG_LEVEL", default="INFO")
configure_logs(LOG_LEVEL, as_json=env.bool("LOG_JSON", default=not DEBUG))
