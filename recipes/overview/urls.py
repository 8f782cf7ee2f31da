"""Addresses of overview."""

from django.urls import URLPattern, path

from recipes.overview import api, pages

page_urls: list[URLPattern] = [
    path("recipes/<int:pk>/over-time/", pages.parameter_over_time, name="over_time"),
    path("slots/<int:pk>/overwritten/", pages.overwritten, name="overwritten"),
    path("sites/<int:pk>/year/", pages.year, name="year"),
]
api_urls: list[URLPattern] = [
    path("parameters/", api.Parameters.as_view(), name="parameters"),
    path("work/", api.Work.as_view(), name="work"),
]
