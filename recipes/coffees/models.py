"""What is brewed: coffees, their roast lots and how long those have rested, and recipes."""

from dataclasses import dataclass
from datetime import date

from django.db import models
from django.db.models import F, Q
from django.urls import reverse

from audit.capture.governed import governed
from audit.revision import Revised
from recipes.brewing.rest import Rest, RestState, check_rest, days_off_roast
from web.printing import counted


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


# How long a lot has rested, against the window in which it is best: never stored.


@dataclass(frozen=True)
class LotRest:
    """How a roast lot stands on one day: days off roast against its rest window."""

    lot: RoastLot
    rest: Rest

    @property
    def days(self) -> int:
        """Days off roast."""
        return self.rest.days

    @property
    def state(self) -> RestState:
        """One of resting, ready, past."""
        return self.rest.state

    @property
    def warn(self) -> bool:
        """Whether it is outside its window."""
        return self.rest.warn

    @property
    def warnings(self) -> list[str]:
        """The same as a list that a page can show as its problems."""
        advice = {
            "resting": "Younger than its window: cups will change until it has rested.",
            "past": "Older than its window: expect flatter cups, or name a fresher lot in a draft.",
        }
        return [advice[self.state]] if self.warn else []

    def words(self) -> str:
        """A sentence for the page."""
        window = f"best from day {self.lot.rest_from} to day {self.lot.rest_to}"
        sentence = {
            RestState.RESTING: f"still resting, {window}",
            RestState.READY: f"in its window, {window}",
            RestState.PAST: f"past its window, {window}",
        }[self.state]
        return f"{counted(self.days, 'day')} off roast: {sentence}"


def rest_of(lot: RoastLot, today: date) -> LotRest:
    """The lot's rest on that day; roasted where it is tomorrow already, it counts as day 0."""
    days = days_off_roast(lot.roasted_on, max(today, lot.roasted_on))
    return LotRest(lot, check_rest(days, lot.rest_from, lot.rest_to))
