"""Addresses of tastings."""

from django.urls import URLPattern, path

from recipes.tastings import api, pages

page_urls: list[URLPattern] = [
    path("tastings/", pages.tastings, name="tastings"),
    path("tastings/new/", pages.tasting_new, name="tasting_new"),
    path("tastings/<int:pk>/", pages.tasting, name="tasting"),
    path("tastings/<int:pk>/sheets/", pages.tasting_sheets, name="tasting_sheets"),
    path("tastings/<int:pk>/answers/", pages.tasting_answers, name="tasting_answers"),
    path("tastings/<int:pk>/lock/", pages.tasting_lock, name="tasting_lock"),
    path("tastings/<int:pk>/open/", pages.tasting_open, name="tasting_open"),
    path("tastings/<int:pk>/attach/", pages.tasting_attach, name="tasting_attach"),
]
api_urls: list[URLPattern] = [
    path("tastings/", api.Tastings.as_view(), name="tastings"),
    path("tastings/forecast/", api.TastingForecast.as_view(), name="tasting_forecast"),
    path("tastings/<int:pk>/servings/", api.TastingServings.as_view(), name="tasting_servings"),
    path("tastings/<int:pk>/", api.OneTasting.as_view(), name="tasting"),
    path("tastings/<int:pk>/answers/", api.TastingAnswers.as_view(), name="tasting_answers"),
    path("tastings/<int:pk>/lock/", api.TastingLock.as_view(), name="tasting_lock"),
    path("tastings/<int:pk>/open/", api.TastingKey.as_view(), name="tasting_open"),
    path("tastings/<int:pk>/attach/", api.TastingEvidence.as_view(), name="tasting_attach"),
]
