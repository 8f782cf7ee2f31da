"""Which run this is, what is installed, addresses, templates, static files, the API, and logs."""

from pathlib import Path

from config.environment import env

BASE_DIR = Path(__file__).resolve().parents[2]

# pytest sets PYTEST_VERSION before it loads anything; the servers that tests start are
# told their own mode by whoever starts them (embedded), so the mode wins.
MODE: str = env.str("PORTALEDGER_MODE", default="test" if "PYTEST_VERSION" in env else "production")
TESTING = MODE == "test"
DEMO = MODE == "demo"
DEBUG: bool = env.bool("DEBUG", default=False)

INSTALLED_APPS = [
    # First: pages of ours replace those that libraries ship under the same name.
    "config.schema",
    "audit",
    "web",
    "people",
    "stations",
    "recipes",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "django.contrib.humanize",
    "django.forms",  # the widgets' own templates, for the renderer in config/forms.py
    "django_htmx",
    "csp",
    "pgtrigger",
    "allauth",
    "allauth.account",
    "allauth.mfa",
    "allauth.socialaccount",
    "allauth.socialaccount.providers.openid_connect",
    "rest_framework",
    "drf_spectacular",
    "drf_spectacular_sidecar",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "csp.middleware.CSPMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "web.compression.CompressionMiddleware",
    "web.metrics.MeasuringMiddleware",
    "web.unavailable.OutageMiddleware",
    "web.limits.LimitMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "allauth.account.middleware.AccountMiddleware",
    "web.middleware.RequestContextMiddleware",
    "people.tablets.middleware.TabletMiddleware",
    "people.sign_in.middleware.SeenMiddleware",
    "people.notices.middleware.OpenedMiddleware",
    "web.bodies.BodyLimitMiddleware",
]

ROOT_URLCONF = "config.urls"
WSGI_APPLICATION = "config.wsgi.application"
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

# Stored and logged in UTC; pages show each site's own zone.
USE_TZ = True
TIME_ZONE = "UTC"
HOUSE_ZONE = env.str("HOUSE_ZONE", default="UTC")  # of what belongs to no one site
USE_I18N = True
LANGUAGE_CODE = "en"

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
                "config.navigation.places",
                "people.tablets.showing.at_tablet",
                "audit.reconciling.notices.not_as_recorded",
            ]
        },
    }
]
FORM_RENDERER = "config.forms.PageForms"

STATIC_URL = "/static/"
STATICFILES_DIRS = [BASE_DIR / "static"]
STATIC_ROOT = env.str("STATIC_ROOT", default=str(BASE_DIR / "staticfiles"))

# Hashed names let browsers keep files for ever, and need collectstatic first: not so in tests.
_PLAIN = TESTING or DEBUG
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {
        "BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"
        if _PLAIN
        else "whitenoise.storage.CompressedManifestStaticFilesStorage"
    },
}
WHITENOISE_USE_FINDERS = _PLAIN
WHITENOISE_AUTOREFRESH = DEBUG

# The HTTP API: REST framework and its OpenAPI description

REST_FRAMEWORK: dict[str, object] = {
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "people.tokens.authentication.TokenAuthentication",
        "people.tokens.authentication.SignedInAuthentication",
    ],
    "DEFAULT_PERMISSION_CLASSES": [
        "rest_framework.permissions.IsAuthenticated",
        "people.tokens.authentication.ScopePermission",
    ],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PARSER_CLASSES": ["web.parsing.ExactJSONParser"],
    "DEFAULT_PAGINATION_CLASS": "web.paging.KeysetPagination",
    "DEFAULT_SCHEMA_CLASS": "web.schema.Schema",
    "EXCEPTION_HANDLER": "web.problems.problem_details",
    "URL_FORMAT_OVERRIDE": None,  # by Accept alone: `?format=` is no parameter of ours
    "COERCE_DECIMAL_TO_STRING": True,
    "UNAUTHENTICATED_USER": "django.contrib.auth.models.AnonymousUser",
    "TEST_REQUEST_DEFAULT_FORMAT": "json",
}
# Of a minute, 0 for no bound; tests ask all they have at once.
REQUESTS_OF_A_SIGN_IN = env.int("REQUESTS_OF_A_SIGN_IN", default=0 if TESTING else 1200)
REQUESTS_OF_A_CLIENT = env.int("REQUESTS_OF_A_CLIENT", default=0 if TESTING else 3000)
IDEMPOTENCY_KEY_DAYS = 7  # how long the answer to an acting request is kept for its repetition

SPECTACULAR_SETTINGS: dict[str, object] = {
    "TITLE": "Portaledger",
    "DESCRIPTION": (
        "Everything the pages do. Errors are problem details (RFC 9457). A body may have 8 MB. "
        "A list is answered a page at a time, newest first: `limit` rows, from `cursor` on, turned "
        "round by `sort=id`; with `fields=id,name` its rows hold those alone, required or not. "
        f"At most {REQUESTS_OF_A_SIGN_IN} requests a minute are answered for one token or "
        f"session, and {REQUESTS_OF_A_CLIENT} for one client address; past that the answer is 429, "
        "and while something the program leans on is away 503, both with Retry-After."
    ),
    "VERSION": "1",
    "SCHEMA_PATH_PREFIX": r"/api/v1",
    "SERVE_INCLUDE_SCHEMA": False,
    # Worked out anew each time, which takes a second: not for everybody who passes by.
    "SERVE_PERMISSIONS": ["rest_framework.permissions.IsAuthenticated"],
    "POSTPROCESSING_HOOKS": [
        "drf_spectacular.hooks.postprocess_schema_enums",
        "web.schema.describe_problems",
    ],
    # Where two things of one name offer the same choices, a name has to be given.
    "ENUM_NAME_OVERRIDES": {
        "CalibrationKindEnum": "stations.calibrations.models.CalibrationKind.choices",
        "CauseFindingStateEnum": "stations.causes.models.FindingState.choices",
        "PublicationStateEnum": "recipes.publishing.models.PublicationState.choices",
        "RunStateEnum": "audit.runs.RunState.choices",
        "ShownEnum": "people.tablets.models.Shown.choices",
        "VersionStateEnum": "recipes.versions.document.VersionState.choices",
    },
    "COMPONENT_SPLIT_REQUEST": True,
    "SWAGGER_UI_DIST": "SIDECAR",
    "SWAGGER_UI_FAVICON_HREF": "SIDECAR",
    "REDOC_DIST": "SIDECAR",
}

# Logs: one line an event on standard error, times in UTC; whoever runs us stores them

LOG_FORMAT = env.str("LOG_FORMAT", default="line")

# Traces: where OpenTelemetry's own variable names an endpoint (OTLP over HTTP)
TRACES_TO = env.str("OTEL_EXPORTER_OTLP_ENDPOINT", default="")
if TRACES_TO:
    MIDDLEWARE.insert(
        MIDDLEWARE.index("web.metrics.MeasuringMiddleware"), "web.tracing.TracingMiddleware"
    )

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {
        "line": {
            "()": "web.logs.Lines",
            "format": "%(asctime)s %(levelname)s %(name)s %(message)s",
        },
        "json": {"()": "web.logs.JsonLines"},
    },
    "filters": {
        "addresses": {"()": "web.logs.WithoutAddresses"},
        "outages": {"()": "web.outages.WithoutTraceback"},
    },
    "handlers": {
        "stderr": {
            "class": "logging.StreamHandler",
            "formatter": LOG_FORMAT,
            "filters": ["addresses", "outages"],
        }
    },
    "root": {"handlers": ["stderr"], "level": env.str("LOG_LEVEL", default="INFO")},
    "loggers": {
        "django": {"handlers": [], "propagate": True},
        # A line for every answer is for programs to read: people read what failed.
        "portaledger.requests": {"level": "INFO" if LOG_FORMAT == "json" else "WARNING"},
        # Two lines for every task that found nothing to do are 25 MB a day; failures are told.
        "celery.worker.strategy": {"level": "WARNING"},
        "celery.app.trace": {"level": "WARNING"},
        "celery.beat": {"level": "WARNING"},
    },
}
