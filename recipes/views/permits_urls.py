"""Addresses of deviation permits."""

from django.urls import path

from recipes.views import permits

urlpatterns = [
    path("permits/", permits.permits, name="permits"),
    path("permits/new/", permits.permit_new, name="permit_new"),
    path("permits/<int:pk>/", permits.permit, name="permit"),
    path("permits/<int:pk>/end/", permits.permit_end, name="permit_end"),
]
