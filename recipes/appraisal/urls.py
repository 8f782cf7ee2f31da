"""Addresses of appraisals."""

from django.urls import URLPattern, path

from recipes.appraisal import api

api_urls: list[URLPattern] = [
    path("versions/<int:pk>/appraisal/", api.VersionAppraisal.as_view(), name="version_appraisal"),
]
