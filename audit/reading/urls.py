"""Addresses of reading."""

from django.urls import URLPattern, path

from audit.reading import api, pages

page_urls: list[URLPattern] = [
    path("history/", pages.history, name="history"),
    path("history/<int:pk>/", pages.entry, name="entry"),
    path("history/of/<str:subject_type>/<int:subject_id>/", pages.timeline, name="timeline"),
]
api_urls: list[URLPattern] = [
    path("history/", api.HistoryView.as_view(), name="history"),
    path("history/<int:pk>/", api.EntryView.as_view(), name="entry"),
    path(
        "history/of/<str:subject_type>/<int:subject_id>/",
        api.TimelineView.as_view(),
        name="timeline",
    ),
]
