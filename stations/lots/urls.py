"""Addresses of lots on the bar."""

from django.urls import URLPattern, path

from stations.lots import api, pages

page_urls: list[URLPattern] = [
    path("sites/<int:pk>/lots/", pages.lots, name="lots"),
    path("grinders/<int:pk>/lot/", pages.lot_open_at_grinder, name="lot_open"),
    path("stations/<int:pk>/lot/", pages.lot_open_at_station, name="lot_open_at_station"),
    path("lots/<int:pk>/close/", pages.lot_close, name="lot_close"),
]
api_urls: list[URLPattern] = [
    path("sites/<slug:code>/lots/", api.Openings.as_view(), name="lots"),
    path("lots/<int:pk>/close/", api.ClosedOpening.as_view(), name="lot_close"),
]
