"""Addresses of replacements."""

from django.urls import URLPattern, path

from stations.replacements import api, pages

page_urls: list[URLPattern] = [
    path("stations/<int:pk>/replaced/", pages.replace_at_station, name="station_replaced"),
    path("machines/<int:pk>/replaced/", pages.replace_at_machine, name="machine_replaced"),
    path("sites/<int:pk>/replaced/", pages.replace_at_site, name="site_replaced"),
]
api_urls: list[URLPattern] = [
    path("sites/<slug:code>/replacements/", api.Replacements.as_view(), name="replacements"),
]
