"""Addresses of requests."""

from django.urls import URLPattern, path

from recipes.requests import api, pages

page_urls: list[URLPattern] = [
    path("requests/", pages.requests, name="requests"),
    path("requests/new/", pages.request_new, name="request_new"),
    path("requests/evidence/", pages.request_evidence, name="request_evidence"),
    path("requests/<int:pk>/", pages.request_page, name="request"),
    path("requests/<int:pk>/edit/", pages.request_edit, name="request_edit"),
    path("requests/<int:pk>/decide/", pages.request_decide, name="request_decide"),
    path("requests/<int:pk>/rebase/", pages.request_rebase, name="request_rebase"),
    path("requests/<int:pk>/take-back/", pages.request_take_back, name="request_take_back"),
    path("requests/<int:pk>/seen/", pages.request_seen, name="request_seen"),
]
api_urls: list[URLPattern] = [
    path("change-requests/", api.Requests.as_view(), name="requests"),
    path("change-requests/<int:pk>/", api.OneRequest.as_view(), name="request"),
    path("change-requests/<int:pk>/accept/", api.Acceptance.as_view(), name="request_accept"),
    path("change-requests/<int:pk>/decline/", api.Declining.as_view(), name="request_decline"),
    path("change-requests/<int:pk>/ask-back/", api.AskingBack.as_view(), name="request_ask_back"),
    path("change-requests/<int:pk>/rebase/", api.Rebase.as_view(), name="request_rebase"),
    path("change-requests/<int:pk>/take-back/", api.TakingBack.as_view(), name="request_take_back"),
    path("change-requests/<int:pk>/seen/", api.SeeingAnswer.as_view(), name="request_seen"),
]
