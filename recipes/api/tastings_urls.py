"""Addresses of tastings' endpoints."""

from django.urls import path

from recipes.api import tasting_plans, tastings

urlpatterns = [
    path("tastings/", tastings.Tastings.as_view(), name="tastings"),
    path("tastings/forecast/", tasting_plans.TastingForecast.as_view(), name="tasting_forecast"),
    path(
        "tastings/<int:pk>/servings/",
        tasting_plans.TastingServings.as_view(),
        name="tasting_servings",
    ),
    path("tastings/<int:pk>/", tastings.OneTasting.as_view(), name="tasting"),
    path("tastings/<int:pk>/answers/", tastings.TastingAnswers.as_view(), name="tasting_answers"),
    path("tastings/<int:pk>/lock/", tastings.TastingLock.as_view(), name="tasting_lock"),
    path("tastings/<int:pk>/open/", tastings.TastingKey.as_view(), name="tasting_open"),
    path("tastings/<int:pk>/attach/", tastings.TastingEvidence.as_view(), name="tasting_attach"),
]
