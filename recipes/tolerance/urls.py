"""Addresses of tolerance."""

from django.urls import URLPattern, path

from recipes.tolerance import api, pages

page_urls: list[URLPattern] = [path("tolerance/", pages.tolerance, name="tolerance")]
api_urls: list[URLPattern] = [path("tolerance/", api.OutsideNow.as_view(), name="tolerance")]
