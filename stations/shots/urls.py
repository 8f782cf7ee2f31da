"""Addresses of shots."""

from django.urls import URLPattern, path

from stations.shots import api, pages

page_urls: list[URLPattern] = [
    path("at/<slug:code>/", pages.at, name="at"),
    path("slots/<int:pk>/shots/new/", pages.shot_log, name="shot_log"),
    path("shots/<int:pk>/correct/", pages.shot_correct, name="shot_correct"),
]
api_urls: list[URLPattern] = [
    path("slots/<int:pk>/shots/", api.Shots.as_view(), name="shots"),
    path("shots/<int:pk>/", api.OneShot.as_view(), name="shot"),
    path("shots/<int:pk>/corrections/", api.ShotCorrections.as_view(), name="shot_corrections"),
]
