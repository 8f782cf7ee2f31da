"""Secrets, cookies, transport, what a page may load, and who may sign in and how."""

import hashlib

from csp.constants import NONE, SELF
from django.core.exceptions import ImproperlyConfigured

from config.environment import env
from config.settings.base import DEBUG, DEMO, TESTING

_PLAIN_HTTP = DEMO or TESTING or DEBUG
# How many proxies of ours stand in front; only what they add to X-Forwarded-For is believed.
TRUSTED_PROXIES: int = env.int("TRUSTED_PROXIES", default=0)

SECRET_KEY = env.str("SECRET_KEY", default="for-tests-only" if TESTING else "")
if not SECRET_KEY:
    raise ImproperlyConfigured(
        "SECRET_KEY is not set: give 50 or more random characters, the same to every process."
    )
SECRET_KEY_FALLBACKS = env.list("SECRET_KEY_FALLBACKS", cast=str.strip, default=[])
ALLOWED_HOSTS = env.list(
    "ALLOWED_HOSTS", cast=str.strip, default=["127.0.0.1", "localhost", "testserver"]
)
CSRF_TRUSTED_ORIGINS = env.list("CSRF_TRUSTED_ORIGINS", cast=str.strip, default=[])

SESSION_ENGINE = "django.contrib.sessions.backends.db"
SESSION_COOKIE_AGE = 12 * 60 * 60  # one working day, in seconds
SESSION_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = not _PLAIN_HTTP
CSRF_COOKIE_SAMESITE = "Lax"

# The proxy in front ends TLS; believe its header only where it is known to be there.
if TRUSTED_PROXIES:
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
SECURE_SSL_REDIRECT = env.bool("SSL_REDIRECT", default=not _PLAIN_HTTP)
SECURE_REDIRECT_EXEMPT = [r"^((health|live|ready)z|metrics)$"]  # asked from inside, without TLS
SECURE_HSTS_SECONDS = 0 if _PLAIN_HTTP else 365 * 24 * 60 * 60
SECURE_HSTS_INCLUDE_SUBDOMAINS = SECURE_HSTS_PRELOAD = not _PLAIN_HTTP
CSRF_FAILURE_VIEW = "web.sent_later.csrf_failed"
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"

# No inline script or style anywhere: injected markup can run nothing.
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [NONE],
        "script-src": [SELF],
        "worker-src": [SELF],
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

METRICS_TOKEN = env.str("METRICS_TOKEN", default="")  # what Prometheus shows for /metrics

# Who may sign in and how: users, passwords, second factor

AUTH_USER_MODEL = "people.User"
# One backend: allauth's for signing in, with rights from our own table of verbs.
AUTHENTICATION_BACKENDS = ["people.sign_in.adapter.RoleBackend"]
LOGIN_URL = "account_login"
LOGIN_REDIRECT_URL = "/"

AUTH_PASSWORD_VALIDATORS = [
    {
        "NAME": "django.contrib.auth.password_validation.MinimumLengthValidator",
        "OPTIONS": {"min_length": 12},
    },
    {
        "NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator",
        "OPTIONS": {"user_attributes": ["email", "name"]},
    },
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
if TESTING:
    # A slow hash is the point of the real ones, and half the time of the tests.
    PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
PASSWORD_RESET_TIMEOUT = 3 * 24 * 60 * 60  # seconds; also how long an invitation's link lasts

# People are added by an owner, who knows their address: nobody signs up, nothing is confirmed.
ACCOUNT_ADAPTER = "people.sign_in.adapter.AccountAdapter"
ACCOUNT_USER_MODEL_USERNAME_FIELD = None
ACCOUNT_LOGIN_METHODS = {"email"}
ACCOUNT_SIGNUP_FIELDS = ["email*", "password1*"]
ACCOUNT_EMAIL_VERIFICATION = "none"
ACCOUNT_EMAIL_UNKNOWN_ACCOUNTS = False
ACCOUNT_LOGOUT_ON_PASSWORD_CHANGE = False
ACCOUNT_PASSWORD_RESET_TOKEN_GENERATOR = "people.sign_in.adapter.LinkTokens"  # noqa: S105 - no secret
ACCOUNT_SESSION_REMEMBER = False
ACCOUNT_REAUTHENTICATION_TIMEOUT = 5 * 60  # seconds in which a confirmation counts
# Counted in the database, so over all processes together.
ACCOUNT_RATE_LIMITS = {
    "login_failed": "10/m/ip,5/5m/key",  # the key is address and client
    "login_address": "20/5m/key",  # of one address, from anywhere; past it the next line counts
    "login_slowed": "1/m/key",
    "tablet_code": "10/m/ip,60/m/key",  # codes to enrol a tablet with, from all clients together
    "reset_password": "10/m/ip,3/m/key",
}
ACCOUNT_EMAIL_SUBJECT_PREFIX = "[Portaledger] "
ACCOUNT_FORMS = {
    "login": "people.sign_in.forms.LoginForm",
    "reauthenticate": "people.sign_in.forms.ReauthenticateForm",
    "reset_password": "people.sign_in.forms.ResetPasswordForm",
    "reset_password_from_key": "people.sign_in.forms.ResetPasswordKeyForm",
    "change_password": "people.sign_in.forms.ChangePasswordForm",
}
MFA_FORMS = {
    "authenticate": "people.sign_in.forms.AuthenticateForm",
    "reauthenticate": "people.sign_in.forms.ReauthenticateCodeForm",
    "activate_totp": "people.sign_in.forms.ActivateTOTPForm",
    "add_webauthn": "people.sign_in.forms.AddWebAuthnForm",
}

MFA_SUPPORTED_TYPES = ["totp", "webauthn", "recovery_codes"]
MFA_PASSKEY_LOGIN_ENABLED = True
MFA_ALLOW_UNVERIFIED_EMAIL = True
MFA_TOTP_ISSUER = "Portaledger"
MFA_TOTP_TOLERANCE = 1  # one step of 30 s, for clocks a little off
MFA_RECOVERY_CODES_SHOW_ONCE = False
# Browsers allow passkeys on http only for localhost: the demo and development.
MFA_WEBAUTHN_ALLOW_INSECURE_ORIGIN = DEMO or TESTING or DEBUG

# Single sign-on by OpenID Connect: one provider, none unless its issuer is set


def single_sign_on_settings(
    issuer: str, client: str, client_key: str, name: str
) -> dict[str, object]:
    """The settings that name a provider by its issuer, an https:// address.

    The issuer is part of the id by which the people it vouches for are kept: another issuer's
    subjects are other people. Raises ImproperlyConfigured.
    """
    issuer = issuer.rstrip("/")
    if issuer and not (issuer.startswith("https://") or _PLAIN_HTTP):
        raise ImproperlyConfigured("OIDC_ISSUER is not an https:// address.")
    known = "sso-" + hashlib.sha256(issuer.encode()).hexdigest()[:8]
    app = {
        "provider_id": known,
        "name": name,
        "client_id": client,
        "secret": client_key,
        "settings": {"server_url": issuer, "oauth_pkce_enabled": True},
    }
    return {
        "OIDC_ISSUER": issuer,
        "OIDC_ID": known,
        "OIDC_NAME": name,
        "SOCIALACCOUNT_PROVIDERS": {"openid_connect": {"APPS": [app] if issuer else []}},
    }


OIDC = single_sign_on_settings(
    env.str("OIDC_ISSUER", default=""),
    env.str("OIDC_CLIENT_ID", default=""),
    env.str("OIDC_CLIENT_SECRET", default=""),
    env.str("OIDC_NAME", default=""),
)
OIDC_ISSUER, OIDC_ID, OIDC_NAME = OIDC["OIDC_ISSUER"], OIDC["OIDC_ID"], OIDC["OIDC_NAME"]
SOCIALACCOUNT_PROVIDERS = OIDC["SOCIALACCOUNT_PROVIDERS"]
SOCIALACCOUNT_ADAPTER = "people.sign_in.single.SingleSignOn"
SOCIALACCOUNT_EMAIL_AUTHENTICATION = False  # the library's wipes passwords; ours is the adapter's
SOCIALACCOUNT_STORE_TOKENS = False
# A link leads to the provider: a form's redirect there would be stopped by our own form-action.
SOCIALACCOUNT_LOGIN_ON_GET = True
