"""Endpoints of recipes, under /api/v1/."""

from django.urls import URLPattern, URLResolver, include, path

app_name = "recipes_api"
urlpatterns: list[URLPattern | URLResolver] = [
    path("", include("recipes.api.documents_urls")),
    path("", include("recipes.api.publishing_urls")),
    path("", include("recipes.api.calibrations_urls")),
    path("", include("recipes.api.tastings_urls")),
    path("", include("recipes.api.computed_urls")),
    path("", include("recipes.api.shot_fits_urls")),
]
