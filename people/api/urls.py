"""Endpoints of people, under /api/v1/."""

from django.urls import URLPattern, URLResolver

app_name = "people_api"
urlpatterns: list[URLPattern | URLResolver] = []
