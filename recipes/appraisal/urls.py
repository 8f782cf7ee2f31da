"""Addresses of appraisals."""

from django.urls import URLPattern, path

from recipes.appraisal import api, pages

page_urls: list[URLPattern] = [
    path("versions/<int:pk>/follows/", pages.version_appraisal, name="version_appraisal"),
]
api_urls: list[URLPattern] = [
    path("versions/<int:pk>/appraisal/", api.VersionAppraisal.as_view(), name="version_appraisal"),
]
