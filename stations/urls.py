"""Pages of stations."""

from django.urls import URLPattern, URLResolver

app_name = "stations"
urlpatterns: list[URLPattern | URLResolver] = []
