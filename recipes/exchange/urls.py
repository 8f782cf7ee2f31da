"""Addresses of recipes as files."""

from django.urls import URLPattern, path

from recipes.exchange import api, pages

page_urls: list[URLPattern] = [
    path("recipes/files/", pages.exchange, name="exchange"),
    path("recipes/recipes.json", pages.export_json, name="export_json"),
    path("recipes/recipes.xlsx", pages.export_sheet, name="export_sheet"),
    path("recipes/schema.json", pages.exchange_schema, name="exchange_schema"),
]
api_urls: list[URLPattern] = [
    path("recipe-documents/", api.Exchange.as_view(), name="exchange"),
]
