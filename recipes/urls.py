"""Addresses of recipes: pages, and endpoints under /api/v1/."""

from django.urls import URLPattern

from recipes.appraisal import urls as appraisal
from recipes.book import urls as book
from recipes.coffees import urls as coffees
from recipes.exchange import urls as exchange
from recipes.grid import urls as grid
from recipes.menus import urls as menus
from recipes.modelling import urls as modelling
from recipes.overview import urls as overview
from recipes.permits import urls as permits
from recipes.publishing import urls as publishing
from recipes.recalibration import urls as recalibration
from recipes.requests import urls as requests
from recipes.station_water import urls as station_water
from recipes.tastings import urls as tastings
from recipes.tolerance import urls as tolerance
from recipes.variants import urls as variants
from recipes.versions import urls as versions

app_name = "recipes"
urlpatterns: list[URLPattern] = [
    *book.page_urls,
    *exchange.page_urls,
    *coffees.page_urls,
    *versions.page_urls,
    *variants.page_urls,
    *appraisal.page_urls,
    *menus.page_urls,
    *requests.page_urls,
    *publishing.page_urls,
    *permits.page_urls,
    *recalibration.page_urls,
    *station_water.page_urls,
    *tastings.page_urls,
    *modelling.page_urls,
    *overview.page_urls,
    *grid.page_urls,
    *tolerance.page_urls,
]
api_urls: list[URLPattern] = [
    *coffees.api_urls,
    *exchange.api_urls,
    *appraisal.api_urls,
    *menus.api_urls,
    *station_water.api_urls,
    *versions.api_urls,
    *variants.api_urls,
    *requests.api_urls,
    *publishing.api_urls,
    *permits.api_urls,
    *recalibration.api_urls,
    *tastings.api_urls,
    *modelling.api_urls,
    *overview.api_urls,
    *grid.api_urls,
    *tolerance.api_urls,
]
