"""The HTTP API: REST framework and its OpenAPI description."""

REST_APPS: list[str] = ["rest_framework", "drf_spectacular", "drf_spectacular_sidecar"]
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
    "COERCE_DECIMAL_TO_STRING": True,
    "UNAUTHENTICATED_USER": "django.contrib.auth.models.AnonymousUser",
    "TEST_REQUEST_DEFAULT_FORMAT": "json",
}
IDEMPOTENCY_KEY_DAYS = 7  # how long the answer to an acting request is kept for its repetition

SPECTACULAR_SETTINGS: dict[str, object] = {
    "TITLE": "Portaledger",
    "DESCRIPTION": "Everything the pages do. Errors are problem details (RFC 9457).",
    "VERSION": "1",
    "SCHEMA_PATH_PREFIX": r"/api/v1",
    "SERVE_INCLUDE_SCHEMA": False,
    # Worked out anew each time, which takes a second: not for everybody who passes by.
    "SERVE_PERMISSIONS": ["rest_framework.permissions.IsAuthenticated"],
    "POSTPROCESSING_HOOKS": [
        "drf_spectacular.hooks.postprocess_schema_enums",
        "web.schema.describe_problems",
    ],
    "COMPONENT_SPLIT_REQUEST": True,
    "SWAGGER_UI_DIST": "SIDECAR",
    "SWAGGER_UI_FAVICON_HREF": "SIDECAR",
    "REDOC_DIST": "SIDECAR",
}
