"""Endpoints of recipes, under /api/v1/."""

from django.urls import URLPattern, URLResolver

app_name = "recipes_api"
urlpatterns: list[URLPattern | URLResolver] = []
