"""Secrets, cookies, transport and what a page may load."""

import os

from csp.constants import NONE, SELF
from django.core.exceptions import ImproperlyConfigured

from config.settings.auth import TRUSTED_PROXIES
from config.settings.mode import DEBUG, DEMO, TESTING, listed, switched_on

_PLAIN_HTTP = DEMO or TESTING or DEBUG


def _secret_key() -> str:
    key = os.environ.get("SECRET_KEY", "")
    if key:
        return key
    if TESTING:
        return "for-tests-only"
    raise ImproperlyConfigured(
        "SECRET_KEY is not set: give 50 or more random characters, the same to every process."
    )


SECRET_KEY = _secret_key()
SECRET_KEY_FALLBACKS = listed("SECRET_KEY_FALLBACKS")
ALLOWED_HOSTS = listed("ALLOWED_HOSTS", default="127.0.0.1,localhost,testserver")
CSRF_TRUSTED_ORIGINS = listed("CSRF_TRUSTED_ORIGINS")

SESSION_ENGINE = "django.contrib.sessions.backends.db"
SESSION_COOKIE_AGE = 12 * 60 * 60  # one working day, in seconds
SESSION_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = not _PLAIN_HTTP
CSRF_COOKIE_SAMESITE = "Lax"

# The proxy in front ends TLS; believe its header only where it is known to be there.
if TRUSTED_PROXIES:
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
SECURE_SSL_REDIRECT = switched_on("SSL_REDIRECT", default=not _PLAIN_HTTP)
SECURE_REDIRECT_EXEMPT = [r"^healthz$"]  # asked from inside, without TLS
SECURE_HSTS_SECONDS = 0 if _PLAIN_HTTP else 365 * 24 * 60 * 60
SECURE_HSTS_INCLUDE_SUBDOMAINS = SECURE_HSTS_PRELOAD = not _PLAIN_HTTP
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"

# No inline script or style anywhere: injected markup can run nothing.
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [NONE],
        "script-src": [SELF],
        "style-src": [SELF],
        "img-src": [SELF, "data:"],
        "font-src": [SELF],
        "connect-src": [SELF],
        "manifest-src": [SELF],
        "form-action": [SELF],
        "frame-ancestors": [NONE],
        "base-uri": [NONE],
    }
}
DATA_UPLOAD_MAX_MEMORY_SIZE = 5 * 1024 * 1024  # bytes
# Of any request, files included; an import of 4 MB as JSON text fits. The proxy has the same.
LARGEST_BODY = 8_000_000  # bytes
