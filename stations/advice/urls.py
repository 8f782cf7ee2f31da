"""Addresses of advice."""

from django.urls import URLPattern, path

from stations.advice import api, pages

page_urls: list[URLPattern] = [path("shots/<int:pk>/", pages.shot, name="shot")]
api_urls: list[URLPattern] = [
    path("shots/<int:pk>/advice/", api.ShotAdvice.as_view(), name="shot_advice"),
]
