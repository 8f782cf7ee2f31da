"""Addresses of audit: pages, and endpoints under /api/v1/."""

from django.urls import URLPattern

from audit.checking import urls as checking
from audit.exporting import urls as exporting
from audit.proving import urls as proving
from audit.reading import urls as reading
from audit.reconciling import urls as reconciling

app_name = "audit"
urlpatterns: list[URLPattern] = [
    *reading.page_urls,
    *proving.page_urls,
    *checking.page_urls,
    *reconciling.page_urls,
    *exporting.page_urls,
]
api_urls: list[URLPattern] = [
    *reading.api_urls,
    *proving.api_urls,
    *exporting.api_urls,
]
