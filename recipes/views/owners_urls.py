"""Addresses of the owner's questions."""

from django.urls import path

from recipes.views import overwritten, yearly

urlpatterns = [
    path("slots/<int:pk>/overwritten/", overwritten.overwritten, name="overwritten"),
    path("sites/<int:pk>/year/", yearly.year, name="year"),
]
