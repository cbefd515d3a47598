"""Django's settings for the studio, read from environment variables.

deploy/README.md lists every variable with its default. What is wrong is refused at the
start with the value, the bound, and what to set instead (:mod:`studio.environment`).
"""

import os
from pathlib import Path

from csp.constants import NONE, SELF
from django.conf.locale.en_GB.formats import *  # noqa: F403  # used while there is one language

from studio import environment, permissions
from studio.log_filters import is_no_probe, outage, refusal_in_one_line

BASE_DIR = Path(__file__).resolve().parent
STUDIO_DATA = environment.data_folder()

# -- the site ------------------------------------------------------------------------------
DEBUG = environment.flag("DEBUG")
HTTPS = environment.flag("HTTPS")
SECRET_KEY = environment.secret_key("SECRET_KEY", STUDIO_DATA)
ALLOWED_HOSTS = environment.words("ALLOWED_HOSTS", ["localhost", "127.0.0.1", "[::1]"])
CSRF_TRUSTED_ORIGINS = environment.origins("CSRF_TRUSTED_ORIGINS")
ADDRESS = environment.text("ADDRESS", "127.0.0.1")
PORT = environment.whole("PORT", 8000, low=1, high=65535)
WEB_PROCESSES = environment.whole("WEB_PROCESSES", 2, low=1, high=64)
WEB_THREADS = environment.whole("WEB_THREADS", 8, low=1, high=256)
WEB_UPLOADS = environment.whole("WEB_UPLOADS", 24, low=1, high=256)
PROXY = environment.flag("PROXY", HTTPS)

# -- clips ---------------------------------------------------------------------------------
MAX_UPLOAD_BYTES = environment.whole("MAX_UPLOAD_BYTES", 1_000_000_000, low=1_000_000, high=10**11)
MAX_UNFINISHED_UPLOADS = environment.whole("MAX_UNFINISHED_UPLOADS", 5, low=1, high=100)
DAILY_CLIPS_PUPIL = environment.whole("DAILY_CLIPS_PUPIL", 100, low=1, high=10**6)
DAILY_BYTES_PUPIL = environment.whole("DAILY_BYTES_PUPIL", 10**10, low=10**6, high=10**15)
DAILY_CLIPS_STUDIO = environment.whole("DAILY_CLIPS_STUDIO", 1_000, low=1, high=10**6)
DAILY_BYTES_STUDIO = environment.whole("DAILY_BYTES_STUDIO", 10**11, low=10**6, high=10**15)
MAX_CLIP_S = environment.whole("MAX_CLIP_S", 900, low=10, high=3600)
OBJECT_STORE = environment.object_store("OBJECT_STORE")
MEDIA_ROOT = STUDIO_DATA / "media"
MEDIA_BY_NGINX = environment.flag("MEDIA_BY_NGINX")
if MEDIA_BY_NGINX and OBJECT_STORE:
    raise environment.SettingError(
        "MEDIA_BY_NGINX is 1, and so nginx would look for recordings in STUDIO_DATA, but "
        "OBJECT_STORE keeps them elsewhere. Set MEDIA_BY_NGINX=0."
    )
# Every process of the studio reads these settings first, and so none makes files for others.
os.umask(permissions.mask(MEDIA_BY_NGINX))
FILE_UPLOAD_TEMP_DIR = STUDIO_DATA / "incoming"
FILE_UPLOAD_HANDLERS = ["studio.web.spooling.SpooledFiles"]
FILE_UPLOAD_PERMISSIONS = 0o600
FILE_UPLOAD_DIRECTORY_PERMISSIONS = 0o700

# -- backups -------------------------------------------------------------------------------
BACKUP_FOLDER = environment.text("BACKUP_FOLDER")
BACKUP_RECIPIENT = environment.backup_recipient("BACKUP_RECIPIENT")
BACKUP_IDENTITY = environment.text("BACKUP_IDENTITY")
BACKUP_KEEP = environment.counts("BACKUP_KEEP", "7,5,3", ("days", "weeks", "months"))
BACKUP_ERASED_DAYS = environment.whole("BACKUP_ERASED_DAYS", 30, low=0, high=1000)
OPERATOR_EMAIL = environment.text("OPERATOR_EMAIL")

# -- the parts -----------------------------------------------------------------------------
INSTALLED_APPS = [
    "studio.apps.StudioConfig",
    "studio.workers",
    "studio.accounts",
    "studio.clips",
    "studio.drills",
    "studio.review",
    "studio.progress",
    "studio.rights",
    "studio.demo",
    "studio.operations",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "django.contrib.humanize",
    "axes",
    "django_otp",
    "django_otp.plugins.otp_totp",
    "csp",
    "django_htmx",
]
MIDDLEWARE = [
    "studio.operations.probes.StandsApart",
    "studio.operations.requests.CountsRequests",
    "studio.operations.requests.NamesRequests",
    "django.middleware.security.SecurityMiddleware",
    "studio.headers.StudioHeaders",
    "studio.headers.LogInOnAPageOfItsOwn",
    "studio.headers.ContentSecurityPolicy",
    "studio.compression.CompressPages",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "studio.headers.KeptNowhere",
    "studio.accounts.middleware.Sessions",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "studio.web.strangers.ShortBodies",
    "studio.accounts.middleware.KnowsBrowsers",
    # Every view asks for a log-in unless it is marked with login_not_required.
    "studio.accounts.middleware.LogInFirst",
    "studio.accounts.middleware.PageAbove",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "axes.middleware.AxesMiddleware",
]
ROOT_URLCONF = "studio.urls"
WSGI_APPLICATION = "studio.wsgi.application"
ASGI_APPLICATION = "studio.asgi.application"
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"
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
            # Every sentence of a page can be translated, so every template may say so.
            "builtins": [
                "django.templatetags.i18n",
                "studio.accounts.templatetags.sentences",
            ],
        },
    },
    # For rows of lists; a template is looked for above first.
    {
        "NAME": "compiled",
        "BACKEND": "django.template.backends.jinja2.Jinja2",
        "DIRS": [BASE_DIR / "jinja2"],
        "OPTIONS": {"environment": "studio.accounts.compiled.environment"},
    },
]
# A form's fields are small templates, and a page has dozens.
FORM_RENDERER = "studio.accounts.form_fields.FieldRenderer"

# -- stores --------------------------------------------------------------------------------
DATABASES = {"default": environment.database("DATABASE_URL", STUDIO_DATA)}
STATIC_URL = "/static/"
STATIC_ROOT = STUDIO_DATA / "static"
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {
        "BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"
        if DEBUG
        else "studio.staticfiles.NamedByContent"
    },
}
if OBJECT_STORE:
    STORAGES["clips"] = {"BACKEND": "storages.backends.s3.S3Storage", "OPTIONS": OBJECT_STORE}
WHITENOISE_USE_FINDERS = DEBUG
WHITENOISE_AUTOREFRESH = DEBUG

# -- people --------------------------------------------------------------------------------
AUTH_USER_MODEL = "accounts.Person"
LOGIN_URL = "/log-in/"
LOGIN_REDIRECT_URL = "/"
LOGOUT_REDIRECT_URL = "/log-in/"
AUTHENTICATION_BACKENDS = [
    "axes.backends.AxesStandaloneBackend",
    "django.contrib.auth.backends.ModelBackend",
]
PASSWORD_HASHERS = [
    "django.contrib.auth.hashers.Argon2PasswordHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",
]
AUTH_PASSWORD_VALIDATORS = [
    {
        "NAME": "django.contrib.auth.password_validation.MinimumLengthValidator",
        "OPTIONS": {"min_length": 8},
    },
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {
        "NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator",
        "OPTIONS": {"user_attributes": ("email", "login_name", "name")},
    },
    {"NAME": "studio.accounts.password_words.WordsOfThePlace"},
]
AXES_HANDLER = "studio.accounts.lockout.BackOff"  # says who waits for how long
AXES_USERNAME_FORM_FIELD = "username"  # what the form calls the e-mail address
AXES_CLIENT_IP_CALLABLE = "studio.accounts.lockout.address_of"
AXES_HTTP_RESPONSE_CODE = 429
AXES_LOCKOUT_TEMPLATE = "accounts/locked_out.html"
AXES_DISABLE_ACCESS_LOG = True
AXES_ENABLE_ADMIN = False
AXES_VERBOSE = False

# The second step (studio.accounts.second_step). Its tries are counted as those at passwords are, so
# that nobody is shut out from afar; django-otp's own waits grow without bound.
OTP_TOTP_ISSUER = "Studio"
OTP_TOTP_THROTTLE_FACTOR = 0

# -- mail ----------------------------------------------------------------------------------
MAIL = environment.mail("EMAIL_URL")
MAIL_FROM = environment.text("MAIL_FROM")
if MAIL and "@" not in MAIL_FROM:
    raise environment.SettingError(
        f"EMAIL_URL is set, and MAIL_FROM is {MAIL_FROM!r}; set it to the address that letters "
        "come from, such as studio@studio.example."
    )
if MAIL:
    globals().update(MAIL)
    DEFAULT_FROM_EMAIL = MAIL_FROM
EMAIL_TIMEOUT = 20
PASSWORD_RESET_TIMEOUT = 60 * 60

# -- what browsers are told ----------------------------------------------------------------
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [SELF],
        "script-src": [SELF],
        "style-src": [SELF],
        "img-src": [SELF, "data:", "blob:"],
        "media-src": [SELF, "blob:"],
        "connect-src": [SELF],
        "font-src": [SELF],
        "worker-src": [SELF],
        "object-src": [NONE],
        "base-uri": [NONE],
        "form-action": [SELF],
        "frame-src": [NONE],
        "frame-ancestors": [NONE],
    }
}
X_FRAME_OPTIONS = "DENY"
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
SECURE_CROSS_ORIGIN_OPENER_POLICY = "same-origin"
SESSION_ENGINE = "studio.accounts.sessions"
SESSION_COOKIE_AGE = 60 * 60 * 24 * 30
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
CSRF_COOKIE_SAMESITE = "Lax"
# HTTPS=1: a web server in front ends the encryption and sets X-Forwarded-Proto itself.
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = SECURE_SSL_REDIRECT = HTTPS
SESSION_COOKIE_NAME = "__Host-session" if HTTPS else "session"
CSRF_COOKIE_NAME = "__Host-csrf" if HTTPS else "csrf"
KNOWN_COOKIE_NAME = "__Host-known" if HTTPS else "known"  # studio.accounts.remembered_person
SPARED_COOKIE_NAME = "__Host-spared" if HTTPS else "spared"  # studio.accounts.second_step
DEVICE_COOKIE_NAME = "__Host-device" if HTTPS else "device"  # studio.accounts.known_device
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if HTTPS else None
SECURE_HSTS_SECONDS = 60 * 60 * 24 * 365 if HTTPS else 0
# Sub-domains and the browsers' preload list are the domain owner's decision, not ours.
SILENCED_SYSTEM_CHECKS = ["security.W005", "security.W021"]

# -- language and time ---------------------------------------------------------------------
LANGUAGE_CODE = "en-gb"
LANGUAGES = [(LANGUAGE_CODE, "English")]  # and studio/locale has the others' words
LOCALE_PATHS = [BASE_DIR / "locale"]
# A sentence is looked up once there is another language to find it in: each look costs 30 µs.
USE_I18N = len(LANGUAGES) > 1
TIME_ZONE = environment.time_zone("TIME_ZONE", "UTC")
USE_TZ = True

# -- work in the background ----------------------------------------------------------------
CELERY_BROKER_URL = environment.broker("BROKER_URL")
if CELERY_BROKER_URL.startswith("filesystem:"):
    CELERY_BROKER_TRANSPORT_OPTIONS = {
        "data_folder_in": str(STUDIO_DATA / "queue"),
        "data_folder_out": str(STUDIO_DATA / "queue"),
        "control_folder": str(STUDIO_DATA / "queue" / "control"),
        "polling_interval": 0.1,
    }
else:
    # A killed worker's message comes back in seconds; a job is never longer than the
    # visibility timeout, or it would be started again while it runs.
    CELERY_BROKER_TRANSPORT_OPTIONS = {
        "visibility_timeout": 2 * 60 * 60,
        "unacked_restore_interval": 2,
        "unacked_restore_throttle": 1,
    }
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_TASK_DEFAULT_QUEUE = "listening"
CELERY_TASK_CREATE_MISSING_QUEUES = True
CELERY_TASK_SERIALIZER = "json"
CELERY_RESULT_SERIALIZER = "json"
CELERY_ACCEPT_CONTENT = ["json"]
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_ACKS_LATE = True
# With True a task that kills its worker would run for ever; the row's lease brings it back.
CELERY_TASK_REJECT_ON_WORKER_LOST = False
CELERY_TASK_TIME_LIMIT = 60 * 60
CELERY_TASK_SOFT_TIME_LIMIT = 55 * 60
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_WORKER_MAX_TASKS_PER_CHILD = 50
CELERY_WORKER_ENABLE_REMOTE_CONTROL = False
CELERY_WORKER_SEND_TASK_EVENTS = False
CELERY_TIMEZONE = "UTC"
CELERY_BEAT_SCHEDULER = "celery.beat:Scheduler"
CELERY_BEAT_SCHEDULE = {
    "sweep": {
        "task": "studio.clips.tasks.sweep",
        "schedule": 15.0,
        # A sweep that waited until the next one is due has nothing to add.
        "options": {"queue": "sweep", "expires": 15.0},
    },
    "end-old-sessions": {
        "task": "studio.accounts.tasks.end_old_sessions",
        "schedule": 60.0 * 60.0,
        "options": {"queue": "sweep", "expires": 60.0 * 60.0},
    },
    "remove-left-overs": {
        "task": "studio.clips.tasks.remove_left_overs",
        "schedule": 60.0 * 60.0,
        "options": {"queue": "sweep", "expires": 60.0 * 60.0},
    },
    "keep-times": {
        "task": "studio.rights.tasks.keep_times",
        "schedule": 60.0 * 60.0,
        "options": {"queue": "sweep", "expires": 60.0 * 60.0},
    },
    "tell-answers": {
        "task": "studio.review.tasks.tell_answers",
        "schedule": 15.0,
        "options": {"queue": "sweep", "expires": 15.0},
    },
    "hear-anew": {
        "task": "studio.clips.tasks.hear_anew",
        "schedule": 30.0,
        "options": {"queue": "sweep", "expires": 30.0},
    },
}
if MAIL:
    CELERY_BEAT_SCHEDULE["send-letters"] = {
        "task": "studio.accounts.tasks.send_letters",
        "schedule": 15.0,
        "options": {"queue": "sweep", "expires": 15.0},
    }

# Whether clips that an engine of an earlier generation heard are heard anew in idle time.
HEAR_ANEW = environment.flag("HEAR_ANEW", True)

# -- what watches the studio ---------------------------------------------------------------
METRICS_TOKEN = environment.token("METRICS_TOKEN")

# -- the log: to standard error, for the terminal or the service manager to keep -----------
LOG_LEVEL = environment.choice("LOG_LEVEL", "INFO", ("DEBUG", "INFO", "WARNING", "ERROR"))
LOG_FORMAT = environment.choice("LOG_FORMAT", "text", ("text", "json"))
LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "filters": {
        "refusals": {"()": "django.utils.log.CallbackFilter", "callback": refusal_in_one_line},
        "outages": {"()": "django.utils.log.CallbackFilter", "callback": outage.tells},
        "probes": {"()": "django.utils.log.CallbackFilter", "callback": is_no_probe},
    },
    "formatters": {
        kind: {"()": "studio.log_lines.formatter", "kind": kind} for kind in ("text", "json")
    },
    "handlers": {
        "console": {
            "class": "logging.StreamHandler",
            "formatter": LOG_FORMAT,
            "filters": ["refusals", "probes", "outages"],
        }
    },
    "root": {"handlers": ["console"], "level": LOG_LEVEL},
    "loggers": {
        "django": {"handlers": [], "level": LOG_LEVEL, "propagate": True},
        "django.server": {"handlers": [], "level": LOG_LEVEL, "propagate": True},
        "axes": {"level": "WARNING"},
        # Tasks tell of their work themselves; a sweep every 15 s is no news.
        "celery.beat": {"level": "WARNING"},
        "celery.worker.strategy": {"level": "WARNING"},
        "celery.app.trace": {"level": "WARNING"},
        "kombu.connection": {"level": "ERROR"},  # warns that a folder has no host name
        "numba": {"level": "WARNING"},
    },
}
