"""The identity of a recipe."""

from django.db import models
from django.urls import reverse

from audit.governed import governed
from audit.revision import Revised
from recipes.guards import name_guard
from recipes.models.coffee import Coffee


class Recipe(Revised):
    """A coffee made into a drink. What it says is in its versions."""

    coffee = models.ForeignKey(Coffee, models.PROTECT, related_name="recipes")
    drink = models.CharField(max_length=60)

    class Meta:
        ordering = ["coffee__name", "drink"]
        constraints = [
            models.UniqueConstraint(
                fields=["coffee", "drink"], name="recipe_once_per_coffee_and_drink"
            )
        ]
        triggers = [
            name_guard("coffee_id drink", "v.recipe_id = NEW.id"),
            *governed(
                subject="recipe",
                label="(SELECT f.name FROM recipes_coffee f WHERE f.id = n.coffee_id)"
                " || ' · ' || n.drink",
                exclude=("revision",),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.coffee} · {self.drink}"

    def get_absolute_url(self) -> str:
        """The recipe's page."""
        return reverse("recipes:recipe", args=[self.pk])
