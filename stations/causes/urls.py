"""Addresses of what was found."""

from django.urls import URLPattern, path

from stations.causes import api, pages

page_urls: list[URLPattern] = [
    path("sites/<int:pk>/findings/", pages.findings, name="findings"),
    path("findings/<int:pk>/", pages.finding, name="finding"),
    path("findings/<int:pk>/settle/", pages.finding_settle, name="finding_settle"),
]
api_urls: list[URLPattern] = [
    path("sites/<slug:code>/findings/", api.Findings.as_view(), name="findings"),
    path("findings/<int:pk>/", api.OneFinding.as_view(), name="finding"),
]
