"""Pages of audit."""

from django.urls import URLPattern, URLResolver

app_name = "audit"
urlpatterns: list[URLPattern | URLResolver] = []
