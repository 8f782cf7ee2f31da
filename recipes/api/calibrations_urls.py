"""Endpoints of calibrations."""

from django.urls import path

from recipes.api import calibrations

urlpatterns = [
    path("calibrations/<int:pk>/", calibrations.OneCalibration.as_view(), name="calibration"),
    path(
        "calibrations/<int:pk>/plan/",
        calibrations.CalibrationPlan.as_view(),
        name="calibration_plan",
    ),
    path(
        "calibrations/<int:pk>/accept/",
        calibrations.CalibrationAccept.as_view(),
        name="calibration_accept",
    ),
    path(
        "calibrations/<int:pk>/reject/",
        calibrations.CalibrationReject.as_view(),
        name="calibration_reject",
    ),
]
