"""Pages of recipes."""

from django.urls import URLPattern, URLResolver

app_name = "recipes"
urlpatterns: list[URLPattern | URLResolver] = []
