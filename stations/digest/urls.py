"""Addresses of a site's week."""

from django.urls import URLPattern, path

from stations.digest import api, pages

page_urls: list[URLPattern] = [path("sites/<int:pk>/week/", pages.week, name="week")]
api_urls: list[URLPattern] = [
    path("sites/<slug:code>/week/", api.SiteWeek.as_view(), name="week"),
]
