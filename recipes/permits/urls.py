"""Addresses of permits."""

from django.urls import URLPattern, path

from recipes.permits import api, asking_api, asking_pages, pages

page_urls: list[URLPattern] = [
    path("permits/ask/", asking_pages.permit_ask, name="permit_ask"),
    path("permits/ask/<int:pk>/", asking_pages.permit_ask_edit, name="permit_ask_edit"),
    path("permits/", pages.permits, name="permits"),
    path("permits/new/", pages.permit_new, name="permit_new"),
    path("permits/<int:pk>/", pages.permit, name="permit"),
    path("permits/<int:pk>/end/", pages.permit_end, name="permit_end"),
]
api_urls: list[URLPattern] = [
    path("permits/", api.Permits.as_view(), name="permits"),
    path("permit-requests/", asking_api.PermitRequests.as_view(), name="permit_requests"),
    path("permit-requests/<int:pk>/", asking_api.OnePermitRequest.as_view(), name="permit_request"),
    path("permits/plan/", api.PermitPlanning.as_view(), name="permit_plan"),
    path("permits/<int:pk>/", api.OnePermit.as_view(), name="permit"),
    path("permits/<int:pk>/end/", api.PermitEnd.as_view(), name="permit_end"),
]
