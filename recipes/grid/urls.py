"""Addresses of the grid."""

from django.urls import URLPattern, path

from recipes.grid import api, pages

page_urls: list[URLPattern] = [
    path("grid/", pages.grid, name="grid"),
    path("grid/what-if/", pages.what_if, name="what_if"),
]
api_urls: list[URLPattern] = [path("grid/", api.Grid.as_view(), name="grid")]
