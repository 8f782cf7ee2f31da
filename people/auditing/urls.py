"""Addresses of checks of the history."""

from django.urls import URLPattern, path

from people.auditing import api, reconciliations

api_urls: list[URLPattern] = [
    path("history/checks/", api.HistoryChecks.as_view(), name="history_checks"),
    path("history/checks/<int:pk>/", api.OneCheck.as_view(), name="history_check"),
    path(
        "history/reconciliations/",
        reconciliations.Reconciliations.as_view(),
        name="history_reconciliations",
    ),
    path(
        "history/reconciliations/<int:pk>/",
        reconciliations.OneReconciliation.as_view(),
        name="history_reconciliation",
    ),
]
