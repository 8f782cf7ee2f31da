"""Endpoints of stations, under /api/v1/."""

from django.urls import URLPattern, URLResolver

app_name = "stations_api"
urlpatterns: list[URLPattern | URLResolver] = []
