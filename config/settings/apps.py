"""What is installed, and what every request passes through, in order."""

from config.settings.auth import AUTH_APPS, AUTH_MIDDLEWARE
from config.settings.rest import REST_APPS

INSTALLED_APPS = [
    # First: pages of ours replace those that libraries ship under the same name.
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
    *AUTH_APPS,
    *REST_APPS,
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "csp.middleware.CSPMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    *AUTH_MIDDLEWARE,
]
