"""Addresses of change requests."""

from django.urls import path

from recipes.views import decisions, requests

urlpatterns = [
    path("requests/", requests.requests, name="requests"),
    path("requests/new/", requests.request_new, name="request_new"),
    path("requests/<int:pk>/", requests.request_page, name="request"),
    path("requests/<int:pk>/edit/", requests.request_edit, name="request_edit"),
    path("requests/<int:pk>/decide/", decisions.request_decide, name="request_decide"),
    path("requests/<int:pk>/rebase/", decisions.request_rebase, name="request_rebase"),
    path("requests/<int:pk>/take-back/", requests.request_take_back, name="request_take_back"),
]
