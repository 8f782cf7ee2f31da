"""Addresses of station water."""

from django.urls import URLPattern, path

from recipes.station_water import pages

page_urls: list[URLPattern] = [
    path("stations/<int:pk>/beverage/", pages.beverage, name="beverage"),
    path("slots/<int:pk>/delivered-water/", pages.delivery, name="delivery"),
]
