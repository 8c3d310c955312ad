"""Every setting of the portal, read once and loudly from the environment (listed in DEVELOPERS.md)."""

from datetime import timedelta
from pathlib import Path
from urllib.parse import quote

from django.core.exceptions import ImproperlyConfigured

from . import environment as env

BASE_DIR = Path(__file__).resolve().parent.parent
DEBUG = env.flag("TAPOFF_DEBUG")
VAR_DIR = env.folder("TAPOFF_VAR_DIR", BASE_DIR / "var")
DATABASES = {"default": env.database("TAPOFF_DATABASE_URL", f"sqlite:///{quote(str(VAR_DIR / 'tapoff.sqlite3'))}")}
EMBEDDED = DATABASES["default"]["ENGINE"].endswith("sqlite3")
if EMBEDDED:
    Path(DATABASES["default"]["NAME"]).parent.mkdir(parents=True, exist_ok=True)
SECRET_KEY = env.secret("TAPOFF_SECRET_KEY", VAR_DIR / "secret-key" if EMBEDDED or DEBUG else None)

# Where the portal is reached from outside: links in mail start with it.
BASE_URL = env.text("TAPOFF_BASE_URL", "http://localhost:8000").rstrip("/")
if not BASE_URL.startswith(("http://", "https://")):
    raise ImproperlyConfigured(f"TAPOFF_BASE_URL is {BASE_URL!r}; it must begin with http:// or https://.")
ALLOWED_HOSTS = env.words("TAPOFF_ALLOWED_HOSTS", "localhost,127.0.0.1,[::1]")
SECURE = BASE_URL.startswith("https://")
CSRF_TRUSTED_ORIGINS = [BASE_URL]

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "django_htmx",
    "axes",
    "submissions",
]
MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.locale.LocaleMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "portal.headers.SecurityHeadersMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "submissions.views.too_often.TooOftenMiddleware",
    "axes.middleware.AxesMiddleware",
]
AUTHENTICATION_BACKENDS = ["axes.backends.AxesStandaloneBackend", "django.contrib.auth.backends.ModelBackend"]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 12}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
ROOT_URLCONF = "portal.urls"
WSGI_APPLICATION = "portal.wsgi.application"
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"
LOGIN_URL, LOGIN_REDIRECT_URL, LOGOUT_REDIRECT_URL = "sign-in", "home", "home"
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
            ]
        },
    }
]

# Five wrong passwords for one name from one address, then a quarter of an hour of waiting (common practice, no source).
AXES_FAILURE_LIMIT = env.whole("TAPOFF_SIGN_IN_FAILURES", 5)
AXES_COOLOFF_TIME = timedelta(minutes=env.whole("TAPOFF_SIGN_IN_WAIT_MINUTES", 15))
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_RESET_ON_SUCCESS = True
AXES_LOCKOUT_TEMPLATE = "organizer/locked.html"
AXES_IPWARE_PROXY_COUNT = env.whole("TAPOFF_PROXIES", 0, least=0)

SESSION_COOKIE_AGE = 60 * 60 * 24 * 90  # a player comes back to the same phone until the call is over
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = SECURE
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = CSRF_COOKIE_SAMESITE = "Lax"
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"  # no address travels to another site; with no-referrer browsers send Origin: null, and every form would fail
SECURE_HSTS_SECONDS = 60 * 60 * 24 * 30 if SECURE else 0
SECURE_SSL_REDIRECT = SECURE and env.flag("TAPOFF_REDIRECT_TO_HTTPS")
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if env.flag("TAPOFF_BEHIND_TLS_PROXY") else None
X_FRAME_OPTIONS = "DENY"

LANGUAGE_CODE = "en"
LANGUAGES = [("en", "English"), ("de", "Deutsch")]
LOCALE_PATHS = [BASE_DIR / "locale"]
USE_I18N = True
TIME_ZONE, USE_TZ = "UTC", True

# Files: takes and materials go through Django's storage interface, to a local folder or to an S3-compatible server.
STORAGE = env.text("TAPOFF_STORAGE", "local", choices=("local", "s3"))
MEDIA_ROOT = env.folder("TAPOFF_FILES_DIR", VAR_DIR / "files")
SPOOL_DIR = env.folder("TAPOFF_SPOOL_DIR", VAR_DIR / "spool")  # uploads are put together here before they are stored
FILE_STORES: dict[str, dict] = {
    "local": {"BACKEND": "django.core.files.storage.FileSystemStorage", "OPTIONS": {"location": MEDIA_ROOT}},
}
if STORAGE == "s3":
    FILE_STORES["s3"] = {
        "BACKEND": "storages.backends.s3.S3Storage",
        "OPTIONS": {
            "bucket_name": env.needed("TAPOFF_S3_BUCKET", "TAPOFF_STORAGE is s3"),
            "endpoint_url": env.text("TAPOFF_S3_ENDPOINT") or None,
            "region_name": env.text("TAPOFF_S3_REGION", "us-east-1"),
            "access_key": env.needed("TAPOFF_S3_ACCESS_KEY", "TAPOFF_STORAGE is s3"),
            "secret_key": env.needed("TAPOFF_S3_SECRET_KEY", "TAPOFF_STORAGE is s3"),
            "addressing_style": "path",
            "signature_version": "s3v4",
            "default_acl": None,
            "file_overwrite": False,
            "querystring_expire": 600,
        },
    }
STATIC_URL, STATIC_ROOT = "/static/", env.folder("TAPOFF_STATIC_DIR", BASE_DIR / "static-built")
STATIC_ROOT.mkdir(parents=True, exist_ok=True)
STATIC_STORE = "django.contrib.staticfiles.storage.StaticFilesStorage"
if env.flag("TAPOFF_STATIC_MANIFEST"):
    STATIC_STORE = "whitenoise.storage.CompressedManifestStaticFilesStorage"
# Links to stored files may need another address than the one workers use (a name inside the machine room).
LINK_STORE = {"BACKEND": FILE_STORES[STORAGE]["BACKEND"], "OPTIONS": dict(FILE_STORES[STORAGE]["OPTIONS"])}
STORAGE_ORIGIN = ""
if STORAGE == "s3" and (STORAGE_ORIGIN := env.text("TAPOFF_S3_PUBLIC_ENDPOINT", env.text("TAPOFF_S3_ENDPOINT"))):
    LINK_STORE["OPTIONS"]["endpoint_url"] = STORAGE_ORIGIN
STORAGES = {"default": FILE_STORES[STORAGE], "links": LINK_STORE, "staticfiles": {"BACKEND": STATIC_STORE}}
WHITENOISE_USE_FINDERS = EMBEDDED
STATICFILES_DIRS = [path for path in (BASE_DIR / "static", VAR_DIR / "front-end") if path.is_dir()]

# Broker, workers and leases. The database is the queue; a message only wakes a worker up.
CELERY_BROKER_URL = env.text("TAPOFF_BROKER_URL", "redis://127.0.0.1:6379/0")
CELERY_TASK_ACKS_LATE = CELERY_TASK_REJECT_ON_WORKER_LOST = True
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
# Workers take from their queues in turn, so that a sweep or a mail never waits behind many long pieces of work.
CELERY_TASK_ROUTES = {
    "submissions.probe_next": {"queue": "probe"},
    "submissions.make_materials": {"queue": "make"},
    "submissions.make_export": {"queue": "make"},
    "submissions.make_previews": {"queue": "make"},
}
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_SERIALIZER, CELERY_ACCEPT_CONTENT = "json", ["json"]
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_WORKER_HIJACK_ROOT_LOGGER = False
CELERY_TASK_ALWAYS_EAGER = False
LEASE_S = env.whole("TAPOFF_LEASE_S", 60)  # a worker renews it while it lives; a dead one's take is free after it
SWEEP_S = env.whole("TAPOFF_SWEEP_S", 10)
PROBE_ATTEMPTS = env.whole("TAPOFF_PROBE_ATTEMPTS", 3)  # after so many dead workers the take is put aside
PROBE_TIMEOUT_S = env.whole("TAPOFF_PROBE_TIMEOUT_S", 900)
CELERY_BROKER_TRANSPORT_OPTIONS = {"visibility_timeout": max(120, 2 * PROBE_TIMEOUT_S)}
CELERY_BEAT_SCHEDULE = {
    "sweep": {"task": "submissions.sweep", "schedule": SWEEP_S, "options": {"expires": 5 * SWEEP_S}},
    "tidy": {"task": "submissions.tidy", "schedule": 300.0, "options": {"expires": 300}},
    "remind": {"task": "submissions.remind", "schedule": 900.0, "options": {"expires": 900}},
}
CELERY_BEAT_SCHEDULE_FILENAME = str(VAR_DIR / "beat-schedule")

CACHE_URL = env.text("TAPOFF_CACHE_URL")
CACHES = {
    "default": {"BACKEND": "django.core.cache.backends.redis.RedisCache", "LOCATION": CACHE_URL}
    if CACHE_URL
    else {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"}
}

# Mail: printed, written to files, or sent.
MAIL = env.text("TAPOFF_MAIL", "file", choices=("console", "file", "smtp"))
EMAIL_BACKEND = {
    "console": "django.core.mail.backends.console.EmailBackend",
    "file": "django.core.mail.backends.filebased.EmailBackend",
    "smtp": "django.core.mail.backends.smtp.EmailBackend",
}[MAIL]
EMAIL_FILE_PATH = str(env.folder("TAPOFF_MAIL_DIR", VAR_DIR / "mail"))
EMAIL_TIMEOUT = 20
DEFAULT_FROM_EMAIL = env.text("TAPOFF_MAIL_FROM", "Tapoff <tapoff@example.org>")
if MAIL == "smtp":
    EMAIL_HOST = env.needed("TAPOFF_SMTP_HOST", "TAPOFF_MAIL is smtp")
    EMAIL_PORT = env.whole("TAPOFF_SMTP_PORT", 587)
    EMAIL_HOST_USER, EMAIL_HOST_PASSWORD = env.text("TAPOFF_SMTP_USER"), env.text("TAPOFF_SMTP_PASSWORD")
    EMAIL_USE_TLS = env.flag("TAPOFF_SMTP_TLS", True)

# Limits of what one player may send and ask for.
UPLOAD_MAX_BYTES = env.whole("TAPOFF_UPLOAD_MAX_BYTES", 2 * 1024**3)  # ten minutes of phone video at 25 Mb/s
UPLOAD_STALL_S = env.whole("TAPOFF_UPLOAD_STALL_S", 20)  # a connection that is silent so long is taken for dead
UPLOAD_EXPIRES_H = env.whole("TAPOFF_UPLOAD_EXPIRES_H", 72)  # an unfinished upload waits so long for its player
UPLOAD_QUOTA_BYTES = env.whole("TAPOFF_UPLOAD_QUOTA_BYTES", 8 * 1024**3)  # all of one player's takes in one call
UPLOAD_QUOTA_TAKES = env.whole("TAPOFF_UPLOAD_QUOTA_TAKES", 60)
LINK_DAYS = env.whole("TAPOFF_LINK_DAYS", 30)
TRYOUT_DAYS = env.whole("TAPOFF_TRYOUT_DAYS", 2)
RATE_LIMITS = {  # how often in how many seconds, by one address or one mail address
    "entry": (env.whole("TAPOFF_RATE_ENTRY", 10), 3600),
    "mail": (env.whole("TAPOFF_RATE_MAIL", 5), 3600),
    "link": (env.whole("TAPOFF_RATE_LINK", 10), 300),
    "upload": (env.whole("TAPOFF_RATE_UPLOAD", 60), 3600),
}
DATA_UPLOAD_MAX_MEMORY_SIZE = 5 * 1024**2
FILE_UPLOAD_MAX_MEMORY_SIZE = 1024**2
FILE_UPLOAD_TEMP_DIR = None

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "filters": {"no-links": {"()": "portal.logs.WithoutLinks"}},
    "formatters": {"line": {"format": "{asctime} {levelname} {name}: {message}", "style": "{"}},
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": "line", "filters": ["no-links"]}},
    "root": {"handlers": ["console"], "level": env.text("TAPOFF_LOG_LEVEL", "INFO")},
    "loggers": {
        "django": {"handlers": [], "level": "INFO", "propagate": True},
        "axes": {"level": "WARNING"},
    },
}
