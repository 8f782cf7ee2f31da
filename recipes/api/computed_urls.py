"""Endpoints of what is worked out and never stored."""

from django.urls import path

from recipes.api import appraisals, foretold

urlpatterns = [
    path(
        "versions/<int:pk>/appraisal/",
        appraisals.VersionAppraisal.as_view(),
        name="version_appraisal",
    ),
    path("versions/<int:pk>/foretold/", foretold.Foretold.as_view(), name="foretold"),
    path("stations/<int:pk>/beverage/", appraisals.Beverage.as_view(), name="beverage"),
]
