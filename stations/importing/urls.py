"""Addresses of importing."""

from django.urls import URLPattern, path

from stations.importing import api, pages

page_urls: list[URLPattern] = [
    path("equipment/import/", pages.import_page, name="import"),
    path("equipment/import/example.csv", pages.import_example, name="import_example"),
]
api_urls: list[URLPattern] = [
    path("equipment/import/", api.Import.as_view(), name="import"),
]
