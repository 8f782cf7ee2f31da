"""Addresses of people."""

from django.urls import URLPattern, path

from people import history_checks

api_urls: list[URLPattern] = [
    path("history/checks/", history_checks.Checks.as_view(), name="history_checks"),
    path("history/checks/<int:pk>/", history_checks.OneCheck.as_view(), name="history_check"),
]
