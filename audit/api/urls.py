"""Endpoints of audit, under /api/v1/."""

from django.urls import URLPattern, URLResolver

app_name = "audit_api"
urlpatterns: list[URLPattern | URLResolver] = []
