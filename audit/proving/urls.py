"""Addresses of checkpoints and proofs."""

from django.urls import URLPattern, path

from audit.proving import api, pages

page_urls: list[URLPattern] = [
    path("history/<int:pk>/receipt/", pages.receipt, name="receipt"),
    path("history/ledger/", pages.ledger, name="ledger"),
    path("history/ledger/checkpoint/", pages.checkpoint, name="checkpoint"),
]
api_urls: list[URLPattern] = [
    path("ledger/checkpoints/", api.CheckpointsView.as_view(), name="checkpoints"),
    path("ledger/entries/<int:pk>/proof/", api.ProofView.as_view(), name="proof"),
    path("ledger/consistency/", api.ConsistencyView.as_view(), name="consistency"),
]
