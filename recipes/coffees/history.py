"""What the history calls the changes of coffees, lots and recipes, and how it shows them."""

from collections.abc import Iterable

from audit.registry import register_subject
from audit.vocabulary import register as action
from recipes.coffees.models import Coffee, Recipe

COFFEE_ADDED = action("coffee.added", "Added coffee")
COFFEE_CHANGED = action("coffee.changed", "Changed coffee")
LOT_ADDED = action("lot.added", "Added roast lot")
RECIPE_ADDED = action("recipe.added", "Added recipe")

FOUND_AT_MOST = 50


def register() -> None:
    """Called once, when the program starts."""
    register_subject("coffee", "Coffee", "recipes:coffee", find=_coffees_named)
    register_subject("recipe", "Recipe", "recipes:recipe", _recipes_named, _recipe_name)


def _coffees_named(text: str) -> Iterable[tuple[int, str]]:
    return Coffee.objects.filter(name__icontains=text).values_list("pk", "name")[:FOUND_AT_MOST]


def _recipes_named(text: str) -> Iterable[tuple[int, str]]:
    """By coffee or by drink."""
    recipes = Recipe.objects.select_related("coffee")
    by_coffee = recipes.filter(coffee__name__icontains=text)
    named = (by_coffee | recipes.filter(drink__icontains=text)).distinct()[:FOUND_AT_MOST]
    return [(recipe.pk, str(recipe)) for recipe in named]


def _recipe_name(pk: int) -> str:
    recipe = Recipe.objects.select_related("coffee").filter(pk=pk).first()
    return str(recipe) if recipe else ""
