"""How recipes' documents are shown on the history's pages."""

from collections.abc import Iterable

from audit.registry import register_parameters, register_subject
from recipes.coffees.models import Coffee, Recipe
from recipes.formula.parameters import PARAMETERS

FOUND_AT_MOST = 50


def register() -> None:
    """Called once, when the program starts."""
    register_parameters(lambda: [(each.code, each.label) for each in PARAMETERS.values()])
    register_subject("coffee", "Coffee", "recipes:coffee", find=_coffees_named)
    register_subject("recipe", "Recipe", "recipes:recipe", _recipes_named, _recipe_name)
    register_subject("version", "Version", "recipes:version")
    register_subject("change request", "Change request", "recipes:request")
    register_subject("publication", "Publication", "recipes:publication")
    register_subject("re_translation", "Calibration", "recipes:calibration")
    register_subject("tasting", "Tasting", "recipes:tasting")
    register_subject("permit", "Deviation permit", "recipes:permit")


def _coffees_named(text: str) -> Iterable[tuple[int, str]]:
    return Coffee.objects.filter(name__icontains=text).values_list("pk", "name")[:FOUND_AT_MOST]


def _recipes_named(text: str) -> Iterable[tuple[int, str]]:
    """By coffee or by drink."""
    recipes = Recipe.objects.select_related("coffee")
    by_coffee = recipes.filter(coffee__name__icontains=text)
    found = (by_coffee | recipes.filter(drink__icontains=text)).distinct()[:FOUND_AT_MOST]
    return [(recipe.pk, str(recipe)) for recipe in found]


def _recipe_name(pk: int) -> str:
    recipe = Recipe.objects.select_related("coffee").filter(pk=pk).first()
    return str(recipe) if recipe else ""
