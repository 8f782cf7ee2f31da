"""Addresses of coffees and recipes."""

from django.urls import path

from recipes.views import coffees, recipes

urlpatterns = [
    path("coffees/", coffees.coffees, name="coffees"),
    path("coffees/add/", coffees.coffee_add, name="coffee_add"),
    path("coffees/<int:pk>/", coffees.coffee, name="coffee"),
    path("coffees/<int:pk>/edit/", coffees.coffee_edit, name="coffee_edit"),
    path("coffees/<int:pk>/lots/add/", coffees.lot_add, name="lot_add"),
    path("recipes/", recipes.recipes, name="recipes"),
    path("recipes/add/", recipes.recipe_add, name="recipe_add"),
    path("recipes/<int:pk>/", recipes.recipe, name="recipe"),
]
