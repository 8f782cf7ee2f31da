"""Addresses of PINs."""

from django.urls import URLPattern, path

from people.pins import pages

page_urls: list[URLPattern] = [
    path("account/pin/", pages.own_pin, name="pin"),
    path("account/pin/remove/", pages.own_pin_remove, name="own_pin_remove"),
    path("people/<int:pk>/pin/remove/", pages.pin_remove, name="pin_remove"),
]
