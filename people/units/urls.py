"""Addresses of one's units."""

from django.urls import URLPattern, path

from people.units import api, pages

page_urls: list[URLPattern] = [path("account/units/", pages.units, name="units")]
api_urls: list[URLPattern] = [path("me/units/", api.OwnUnits.as_view(), name="units")]
