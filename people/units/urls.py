"""Addresses of one's units."""

from django.urls import URLPattern, path

from people.units import pages

page_urls: list[URLPattern] = [path("account/units/", pages.units, name="units")]
