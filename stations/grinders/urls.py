"""Addresses of grinders."""

from django.urls import URLPattern, path

from stations.grinders import api, pages

page_urls: list[URLPattern] = [
    path("sites/<int:pk>/grinders/", pages.grinders, name="grinders"),
    path("grinders/add/", pages.grinder_add, name="grinder_add"),
    path("grinders/<int:pk>/", pages.grinder, name="grinder"),
    path("grinders/<int:pk>/edit/", pages.grinder_edit, name="grinder_edit"),
    path("grinders/<int:pk>/set/", pages.grinder_set, name="grinder_set"),
    path("grinders/<int:pk>/replaced/", pages.grinder_work, name="grinder_work"),
]
api_urls: list[URLPattern] = [
    path("sites/<slug:code>/grinders/", api.Grinders.as_view(), name="grinders"),
    path("grinders/<int:pk>/", api.OneGrinder.as_view(), name="grinder"),
    path("grinders/<int:pk>/settings/", api.GrinderSettings.as_view(), name="grinder_settings"),
    path("grinders/<int:pk>/works/", api.GrinderWorks.as_view(), name="grinder_works"),
]
