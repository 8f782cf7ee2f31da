"""Pages of recipes; each topic's addresses are beside its views."""

from django.urls import URLPattern, URLResolver, include, path

app_name = "recipes"
urlpatterns: list[URLPattern | URLResolver] = [
    path("", include("recipes.views.coffees_urls")),
    path("", include("recipes.views.versions_urls")),
    path("", include("recipes.views.requests_urls")),
    path("", include("recipes.views.publications_urls")),
    path("", include("recipes.views.permits_urls")),
    path("", include("recipes.views.calibrations_urls")),
    path("", include("recipes.views.tastings_urls")),
    path("", include("recipes.views.owners_urls")),
]
