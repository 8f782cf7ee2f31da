"""Recipes: a coffee made into a drink."""

from django.db import IntegrityError, transaction

from audit.context import recorded
from audit.errors import Invalid
from audit.subject import Subject
from people.models import User
from people.permissions import require
from people.verbs import Verb
from recipes import history
from recipes.checks import Checks
from recipes.models import Coffee, Recipe


def add_recipe(*, by: User, coffee: Coffee, drink: str) -> Recipe:
    """Add a recipe without any version yet.

    Raises NotPermitted, and Invalid naming drink.
    """
    subject = Subject("coffee", coffee.pk, coffee.name)
    with recorded(by=by, action=history.RECIPE_ADDED, subject=subject):
        require(by, Verb.RECIPE_DRAFT, subject=subject)
        checks = Checks()
        drink = checks.text("drink", drink, most=60)
        checks.done()
        try:
            with transaction.atomic():
                return Recipe.objects.create(coffee=coffee, drink=drink)
        except IntegrityError as taken:
            raise Invalid("drink", drink, f"a drink not yet made of {coffee}") from taken
