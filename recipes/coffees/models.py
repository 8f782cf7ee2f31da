"""What is brewed."""

from django.db import models
from django.db.models import F, Q
from django.urls import reverse

from audit.capture.governed import governed
from audit.revision import Revised


class Coffee(Revised):
    """A coffee on the bars' shelves, with the rest its roasts usually need."""

    name = models.CharField(max_length=80, unique=True)
    note = models.TextField(blank=True)
    rest_from = models.PositiveSmallIntegerField(help_text="first day off roast it is ready")
    rest_to = models.PositiveSmallIntegerField(help_text="last day off roast it is at its best")

    class Meta:
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(
                name="coffee_rest_window_is_ordered", condition=Q(rest_from__lte=F("rest_to"))
            )
        ]
        triggers = [
            *governed(subject="coffee", label="n.name", exclude=("revision",)),
        ]

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        """The coffee's page."""
        return reverse("recipes:coffee", args=[self.pk])


class RoastLot(models.Model):
    """One roast of a coffee: its date and the window in which it should be brewed."""

    coffee = models.ForeignKey(Coffee, models.PROTECT, related_name="lots")
    code = models.CharField(max_length=40)
    roasted_on = models.DateField()
    rest_from = models.PositiveSmallIntegerField()
    rest_to = models.PositiveSmallIntegerField()

    class Meta:
        ordering = ["-roasted_on", "-id"]
        constraints = [
            models.UniqueConstraint(fields=["coffee", "code"], name="lot_code_once_per_coffee"),
            models.CheckConstraint(
                name="lot_rest_window_is_ordered", condition=Q(rest_from__lte=F("rest_to"))
            ),
        ]
        triggers = [
            *governed(subject="coffee", subject_id="n.coffee_id", label="n.code"),
        ]

    def __str__(self) -> str:
        return f"{self.coffee} {self.code}"


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
