"""Endpoints of the history."""

from django.urls import path

from audit.api.views import EntryView, HistoryView

app_name = "audit_api"
urlpatterns = [
    path("history/", HistoryView.as_view(), name="history"),
    path("history/<int:pk>/", EntryView.as_view(), name="entry"),
]
