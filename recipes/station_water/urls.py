"""Addresses of station water."""

from django.urls import URLPattern, path

from recipes.station_water import api, pages

page_urls: list[URLPattern] = [
    path("stations/<int:pk>/beverage/", pages.beverage, name="beverage"),
    path("slots/<int:pk>/delivered-water/", pages.delivery, name="delivery"),
]
api_urls: list[URLPattern] = [
    path("stations/<int:pk>/beverage/", api.Beverage.as_view(), name="beverage"),
]
