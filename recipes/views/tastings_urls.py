"""Addresses of tastings."""

from django.urls import path

from recipes.views import tastings

urlpatterns = [
    path("tastings/", tastings.tastings, name="tastings"),
    path("tastings/new/", tastings.tasting_new, name="tasting_new"),
    path("tastings/<int:pk>/", tastings.tasting, name="tasting"),
    path("tastings/<int:pk>/sheets/", tastings.tasting_sheets, name="tasting_sheets"),
    path("tastings/<int:pk>/answers/", tastings.tasting_answers, name="tasting_answers"),
    path("tastings/<int:pk>/lock/", tastings.tasting_lock, name="tasting_lock"),
    path("tastings/<int:pk>/open/", tastings.tasting_open, name="tasting_open"),
    path("tastings/<int:pk>/attach/", tastings.tasting_attach, name="tasting_attach"),
]
