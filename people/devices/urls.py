"""Addresses of devices."""

from django.urls import URLPattern, path

from people.devices import pages

page_urls: list[URLPattern] = [
    path("notices/devices/", pages.device_add, name="device_add"),
    path("notices/devices/<int:pk>/remove/", pages.device_remove, name="device_remove"),
]
