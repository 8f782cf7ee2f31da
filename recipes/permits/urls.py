"""Addresses of permits."""

from django.urls import URLPattern, path

from recipes.permits import api, pages

page_urls: list[URLPattern] = [
    path("permits/", pages.permits, name="permits"),
    path("permits/new/", pages.permit_new, name="permit_new"),
    path("permits/<int:pk>/", pages.permit, name="permit"),
    path("permits/<int:pk>/end/", pages.permit_end, name="permit_end"),
]
api_urls: list[URLPattern] = [
    path("permits/", api.Permits.as_view(), name="permits"),
    path("permits/plan/", api.PermitPlanning.as_view(), name="permit_plan"),
    path("permits/<int:pk>/", api.OnePermit.as_view(), name="permit"),
    path("permits/<int:pk>/end/", api.PermitEnd.as_view(), name="permit_end"),
]
