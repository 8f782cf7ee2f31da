"""Addresses of calibrations."""

from django.urls import URLPattern, path

from stations.calibrations import api, pages

page_urls: list[URLPattern] = [
    path("sites/<int:pk>/barometer/", pages.barometer, name="barometer"),
    path("stations/<int:pk>/edit/", pages.figure_new, name="figure_new"),
    path("calibrations/", pages.calibrations, name="calibrations"),
    path("stations/<int:pk>/calibrations/new/", pages.calibration_new, name="calibration_new"),
]
api_urls: list[URLPattern] = [
    path("stations/<int:pk>/calibrations/", api.Calibrations.as_view(), name="calibrations"),
]
