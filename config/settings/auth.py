"""Who may sign in and how: users, passwords, second factor."""

import os

from config.settings.mode import DEBUG, DEMO, TESTING

AUTH_USER_MODEL = "people.User"
AUTH_APPS: list[str] = ["allauth", "allauth.account", "allauth.mfa"]
AUTH_MIDDLEWARE: list[str] = [
    "allauth.account.middleware.AccountMiddleware",
    "web.middleware.RequestContextMiddleware",
    "web.bodies.BodyLimitMiddleware",
]
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
ACCOUNT_PASSWORD_RESET_TOKEN_GENERATOR = "people.sign_in.links.LinkTokens"  # noqa: S105 - no secret
ACCOUNT_SESSION_REMEMBER = False
# Counted in the shared cache, so over all processes together.
ACCOUNT_RATE_LIMITS = {"login_failed": "10/m/ip,5/5m/key", "reset_password": "10/m/ip,3/m/key"}
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

# How many proxies of ours stand in front; only what they add to X-Forwarded-For is believed.
TRUSTED_PROXIES: int = int(os.environ.get("TRUSTED_PROXIES", "0"))

# Without a mail server the demo prints mail into its own log. A deployment does not: a link to set
# a password is a password to whoever reads the log.
_WITHOUT = "console" if DEMO or TESTING or DEBUG else "dummy"
EMAIL_BACKEND = (
    f"django.core.mail.backends.{'smtp' if os.environ.get('EMAIL_HOST') else _WITHOUT}.EmailBackend"
)
EMAIL_HOST = os.environ.get("EMAIL_HOST", "localhost")
EMAIL_PORT = int(os.environ.get("EMAIL_PORT", "25"))
EMAIL_HOST_USER = os.environ.get("EMAIL_HOST_USER", "")
EMAIL_HOST_PASSWORD = os.environ.get("EMAIL_HOST_PASSWORD", "")
EMAIL_USE_TLS = os.environ.get("EMAIL_USE_TLS") == "1"
EMAIL_TIMEOUT = 10  # seconds
DEFAULT_FROM_EMAIL = os.environ.get("EMAIL_FROM", "portaledger@localhost")
