"""Addresses of checks of the history."""

from django.urls import URLPattern, path

from people.auditing import api

api_urls: list[URLPattern] = [
    path("history/checks/", api.HistoryChecks.as_view(), name="history_checks"),
    path("history/checks/<int:pk>/", api.OneCheck.as_view(), name="history_check"),
]
