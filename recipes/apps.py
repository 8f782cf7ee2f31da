"""Recipes, decisions about them, and their publication."""

from django.apps import AppConfig


class RecipesConfig(AppConfig):
    """Recipes, decisions about them, and their publication."""

    name = "recipes"
    default_auto_field = "django.db.models.BigAutoField"
