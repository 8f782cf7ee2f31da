"""Addresses of the owner's questions."""

from django.urls import path

from recipes.views import over_time, overwritten, yearly

urlpatterns = [
    path("recipes/<int:pk>/over-time/", over_time.parameter_over_time, name="over_time"),
    path("slots/<int:pk>/overwritten/", overwritten.overwritten, name="overwritten"),
    path("sites/<int:pk>/year/", yearly.year, name="year"),
]
