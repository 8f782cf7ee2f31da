"""Addresses of coffees."""

from django.urls import URLPattern, path

from recipes.coffees import api, pages

page_urls: list[URLPattern] = [
    path("coffees/", pages.coffees, name="coffees"),
    path("coffees/add/", pages.coffee_add, name="coffee_add"),
    path("coffees/<int:pk>/", pages.coffee, name="coffee"),
    path("coffees/<int:pk>/edit/", pages.coffee_edit, name="coffee_edit"),
    path("coffees/<int:pk>/lots/add/", pages.lot_add, name="lot_add"),
    path("coffees/lots/<int:pk>/label/", pages.lot_label, name="lot_label"),
]
api_urls: list[URLPattern] = [
    path("coffees/", api.Coffees.as_view(), name="coffees"),
    path("coffees/<int:pk>/", api.OneCoffee.as_view(), name="coffee"),
    path("coffees/<int:pk>/lots/", api.Lots.as_view(), name="lots"),
    path("recipes/", api.Recipes.as_view(), name="recipes"),
    path("recipes/<int:pk>/", api.OneRecipe.as_view(), name="recipe"),
]
