"""Addresses of reconciliation."""

from django.urls import URLPattern, path

from audit.reconciling import pages

page_urls: list[URLPattern] = [
    path("history/reconciliations/", pages.reconciliations, name="reconciliations"),
    path("history/reconciliations/<int:pk>/", pages.reconciliation, name="reconciliation"),
]
