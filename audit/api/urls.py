"""Endpoints of the history."""

from django.urls import path

from audit.api.ledger import CheckpointsView, ConsistencyView, ProofView
from audit.api.views import EntryView, HistoryView

app_name = "audit_api"
urlpatterns = [
    path("history/", HistoryView.as_view(), name="history"),
    path("history/<int:pk>/", EntryView.as_view(), name="entry"),
    path("ledger/checkpoints/", CheckpointsView.as_view(), name="checkpoints"),
    path("ledger/entries/<int:pk>/proof/", ProofView.as_view(), name="proof"),
    path("ledger/consistency/", ConsistencyView.as_view(), name="consistency"),
]
