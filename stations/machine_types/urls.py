"""Addresses of machine types."""

from django.urls import URLPattern, path
from django.views.generic import RedirectView

from stations.machine_types import api, pages

page_urls: list[URLPattern] = [
    path("machine-types/", pages.machine_types, name="machine_types"),
    path("machine-types/add/", pages.machine_type_add, name="machine_type_add"),
    path("machine-types/<int:pk>/", pages.machine_type, name="machine_type"),
    path("machine-types/<int:pk>/edit/", pages.machine_type_edit, name="machine_type_edit"),
    # What these addresses were.
    path("abilities/", RedirectView.as_view(pattern_name="stations:machine_types"), name="former"),
    path(
        "abilities/<int:pk>/",
        RedirectView.as_view(pattern_name="stations:machine_type"),
        name="former_one",
    ),
]
api_urls: list[URLPattern] = [
    path("machine-types/", api.MachineTypes.as_view(), name="machine_types"),
    path("machine-types/<int:pk>/", api.OneMachineType.as_view(), name="machine_type"),
]
