"""Addresses of opening checks."""

from django.urls import URLPattern, path

from stations.opening import api, pages

page_urls: list[URLPattern] = [
    path("sites/<int:pk>/opening-check/", pages.opening_set, name="opening_set"),
]
api_urls: list[URLPattern] = [
    path("sites/<slug:code>/opening-check/", api.OpeningCheck.as_view(), name="opening_check"),
]
