"""Addresses of hand-over notes."""

from django.urls import URLPattern, path

from stations.handover import api, pages

page_urls: list[URLPattern] = [
    path("sites/<int:pk>/notes/", pages.handover, name="handover"),
    path("sites/<int:pk>/notes/read/", pages.handover_read, name="handover_read"),
]
api_urls: list[URLPattern] = [
    path("sites/<slug:code>/notes/", api.Notes.as_view(), name="notes"),
    path("sites/<slug:code>/notes/read/", api.NotesRead.as_view(), name="notes_read"),
]
