"""Addresses of recalibration."""

from django.urls import URLPattern, path

from recipes.recalibration import api, pages

page_urls: list[URLPattern] = [
    path("calibrations/<int:pk>/", pages.calibration, name="calibration"),
    path("calibrations/<int:pk>/accept/", pages.calibration_accept, name="calibration_accept"),
    path("calibrations/<int:pk>/reject/", pages.calibration_reject, name="calibration_reject"),
]
api_urls: list[URLPattern] = [
    path("calibrations/<int:pk>/", api.OneCalibration.as_view(), name="calibration"),
    path("calibrations/<int:pk>/plan/", api.CalibrationPlan.as_view(), name="calibration_plan"),
    path(
        "calibrations/<int:pk>/accept/", api.CalibrationAccept.as_view(), name="calibration_accept"
    ),
    path(
        "calibrations/<int:pk>/reject/", api.CalibrationReject.as_view(), name="calibration_reject"
    ),
]
