"""Addresses of calibrations and of what a slot delivers."""

from django.urls import path

from recipes.views import beverage, calibrations, delivery

urlpatterns = [
    path("calibrations/<int:pk>/", calibrations.calibration, name="calibration"),
    path(
        "calibrations/<int:pk>/accept/", calibrations.calibration_accept, name="calibration_accept"
    ),
    path(
        "calibrations/<int:pk>/reject/", calibrations.calibration_reject, name="calibration_reject"
    ),
    path("stations/<int:pk>/beverage/", beverage.beverage, name="beverage"),
    path("slots/<int:pk>/delivered-water/", delivery.delivery, name="delivery"),
]
