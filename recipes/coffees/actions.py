"""Coffees, their roast lots, and the recipes made of them."""

from collections.abc import Callable
from datetime import date

from django.db import IntegrityError, transaction

from audit.capture.context import recorded
from audit.errors import Invalid, Refused, Subject
from audit.revision import compare_and_set
from people.persons.models import User
from people.persons.permissions import require
from people.persons.verbs import Verb
from recipes.coffees import history
from recipes.coffees.models import Coffee, Recipe, RoastLot
from web.checks import Checks

LONGEST_REST = 365  # days

NameUse = Callable[[Coffee], bool]
"""Whether a coffee's name stands in something that was submitted, and so has to stay."""

_name_uses: list[NameUse] = []


def register_name_use(stands: NameUse) -> None:
    """Called when the program starts, by the packages that have names signed."""
    _name_uses.append(stands)


def add_coffee(*, by: User, name: str, rest_from: int, rest_to: int, note: str = "") -> Coffee:
    """Add a coffee; its rest window is in days off roast.

    Raises NotPermitted, and Invalid naming name, note, rest_from or rest_to.
    """
    with recorded(by=by, action=history.COFFEE_ADDED, subject=Subject("coffee", None, str(name))):
        require(by, Verb.COFFEE_EDIT)
        fields = _coffee_fields(name, rest_from, rest_to, note)
        try:
            with transaction.atomic():
                return Coffee.objects.create(**fields)
        except IntegrityError as taken:
            raise _name_taken(name) from taken


def change_coffee(
    *, by: User, coffee: Coffee, revision: int, name: str, rest_from: int, rest_to: int,
    note: str = "",
) -> Coffee:  # fmt: skip
    """Change a coffee as it was at `revision`. Its lots keep the windows they were given.

    Raises NotPermitted, Invalid, Stale, and Refused for a new name once it stands in a version
    that was submitted.
    """
    subject = Subject("coffee", coffee.pk, coffee.name)
    with recorded(by=by, action=history.COFFEE_CHANGED, subject=subject):
        require(by, Verb.COFFEE_EDIT, subject=subject)
        fields = _coffee_fields(name, rest_from, rest_to, note)
        now = Coffee.objects.select_for_update().get(pk=coffee.pk)
        if fields["name"] != now.name and any(stands(now) for stands in _name_uses):
            raise Refused(
                f"“{now.name}” stands in versions that were submitted, and keeps its name.",
                how_to_ask="Add another coffee under the new name.",
                attempted={"name": (now.name, name)},
            )
        try:
            with transaction.atomic():
                compare_and_set(now, revision, **fields)
        except IntegrityError as taken:
            raise _name_taken(name) from taken
        return now


def add_lot(
    *, by: User, coffee: Coffee, code: str, roasted_on: date, rest_from: int | None = None,
    rest_to: int | None = None,
) -> RoastLot:  # fmt: skip
    """Add a roast of a coffee; without a rest window of its own it takes the coffee's.

    Raises NotPermitted, and Invalid naming code, roasted_on, rest_from or rest_to.
    """
    subject = Subject("coffee", coffee.pk, coffee.name)
    with recorded(by=by, action=history.LOT_ADDED, subject=subject):
        require(by, Verb.COFFEE_EDIT, subject=subject)
        first = coffee.rest_from if rest_from is None else rest_from
        last = coffee.rest_to if rest_to is None else rest_to
        checks = Checks()
        code = checks.text("code", code, most=40)
        roasted_on = checks.past_day("roasted_on", roasted_on)
        _window(checks, first, last)
        checks.done()
        try:
            with transaction.atomic():
                return RoastLot.objects.create(
                    coffee=coffee, code=code, roasted_on=roasted_on, rest_from=first, rest_to=last
                )
        except IntegrityError as taken:
            raise Invalid("code", code, "a code no other lot of this coffee has") from taken


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


def _coffee_fields(name: str, rest_from: int, rest_to: int, note: str) -> dict[str, object]:
    checks = Checks()
    fields = {
        "name": checks.text("name", name, most=80),
        "note": checks.text("note", note, most=2000, required=False, lines=True),
        "rest_from": rest_from,
        "rest_to": rest_to,
    }
    _window(checks, rest_from, rest_to)
    checks.done()
    return fields


def _window(checks: Checks, first: int, last: int) -> None:
    checks.whole("rest_from", first, 0, LONGEST_REST, " of days")
    checks.whole("rest_to", last, 0, LONGEST_REST, " of days")
    if not checks.problems:
        checks.that(first <= last, "rest_to", last, f"{first} days or more, the window's first day")


def _name_taken(name: str) -> Invalid:
    return Invalid("name", name, "a name no other coffee has")
