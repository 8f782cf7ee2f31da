"""Recipes, decisions about them, and their publication."""

from django.apps import AppConfig


class RecipesConfig(AppConfig):
    """Recipes, decisions about them, and their publication."""

    name = "recipes"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        """Tell the equipment what there is to set, and the history how to show it."""
        from recipes import (
            history,  # noqa: F401 - registers its words
            shown,
            signed,
        )
        from recipes.formula import parameters
        from recipes.publishing import history as publishing  # noqa: F401 - the same
        from stations.machine_types import catalogue

        catalogue.enter(parameters.machine_settings(), dict(parameters.ENDINGS))
        shown.register()
        signed.register()
