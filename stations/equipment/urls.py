"""Addresses of equipment."""

from django.urls import URLPattern, path

from stations.equipment import api, pages

page_urls: list[URLPattern] = [
    path("sites/", pages.sites, name="sites"),
    path("sites/add/", pages.site_add, name="site_add"),
    path("sites/<int:pk>/edit/", pages.site_edit, name="site_edit"),
    path("machines/add/", pages.machine_add, name="machine_add"),
    path("machines/<int:pk>/", pages.machine, name="machine"),
    path("machines/<int:pk>/edit/", pages.machine_edit, name="machine_edit"),
    path("stations/add/", pages.station_add, name="station_add"),
]
api_urls: list[URLPattern] = [
    path("sites/", api.Sites.as_view(), name="sites"),
    path("sites/<slug:code>/", api.OneSite.as_view(), name="site"),
    path("machines/", api.Machines.as_view(), name="machines"),
    path("machines/<int:pk>/", api.OneMachine.as_view(), name="machine"),
    path("stations/", api.Stations.as_view(), name="stations"),
    path("stations/<int:pk>/", api.OneStation.as_view(), name="station"),
    path("stations/<int:pk>/slots/", api.StationSlots.as_view(), name="station_slots"),
]
