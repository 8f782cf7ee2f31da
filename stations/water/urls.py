"""Addresses of water."""

from django.urls import URLPattern, path

from stations.water import api, pages

page_urls: list[URLPattern] = [
    path("sites/<int:pk>/water/", pages.water, name="water"),
    path("sites/<int:pk>/water/add/", pages.water_add, name="water_add"),
]
api_urls: list[URLPattern] = [
    path("sites/<slug:code>/water/", api.Water.as_view(), name="water"),
]
