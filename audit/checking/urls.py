"""Addresses of checking."""

from django.urls import URLPattern, path

from audit.checking import pages

page_urls: list[URLPattern] = [
    path("history/intact/", pages.intact, name="intact"),
    path("history/intact/<int:pk>/", pages.check, name="check"),
]
