"""Endpoints of the history."""

from django.urls import path

from audit.api.exports import BundleView, CsvView, JsonLinesView
from audit.api.ledger import CheckpointsView, ConsistencyView, ProofView
from audit.api.views import EntryView, HistoryView

app_name = "audit_api"
urlpatterns = [
    path("history/", HistoryView.as_view(), name="history"),
    path("history/<int:pk>/", EntryView.as_view(), name="entry"),
    path("history/json-lines/", JsonLinesView.as_view(), name="export_json_lines"),
    path("history/csv/", CsvView.as_view(), name="export_csv"),
    path("history/bundle/", BundleView.as_view(), name="bundle"),
    path("ledger/checkpoints/", CheckpointsView.as_view(), name="checkpoints"),
    path("ledger/entries/<int:pk>/proof/", ProofView.as_view(), name="proof"),
    path("ledger/consistency/", ConsistencyView.as_view(), name="consistency"),
]
