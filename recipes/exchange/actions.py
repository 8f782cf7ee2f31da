"""Importing recipes: all of a file as drafts, or nothing of it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from django.db import transaction

from audit.capture.context import recorded
from audit.errors import Invalid, Problem
from people.persons.models import User
from people.persons.permissions import require
from people.persons.verbs import Verb
from recipes.coffees.actions import add_coffee, add_recipe
from recipes.coffees.models import Coffee, Recipe
from recipes.exchange import history
from recipes.exchange.reading import FAULTS, Given
from recipes.formula.formula import Formula
from recipes.versions.drafts import begin
from recipes.versions.models import Version
from stations.machine_types.models import MachineType


@dataclass(slots=True)
class Imported:
    """The drafts that were begun, and how many recipes say already what the file says."""

    drafts: list[Version] = field(default_factory=list)
    unchanged: int = 0


def import_recipes(*, by: User, recipes: Sequence[Given]) -> Imported:
    """Begin a draft for each recipe that says something else than its approved version.

    Coffees and recipes that are not there yet are added. Nothing is approved: a second person
    reviews and signs, as with every draft. Raises NotPermitted, and Invalid naming every fault
    with its place; then nothing of it is kept.
    """
    with recorded(by=by, action=history.RECIPES_IMPORTED):
        require(by, Verb.RECIPE_DRAFT)
        done, problems = Imported(), _twice(recipes)
        for one in recipes:
            try:
                with transaction.atomic():
                    _take(by, one, done)
            except Invalid as invalid:
                problems += [
                    Problem(f"{one.place}, {each.field}", each.value, each.allowed)
                    for each in invalid.problems
                ]
        if problems:
            raise Invalid.of(problems[:FAULTS])
        return done


def _twice(recipes: Sequence[Given]) -> list[Problem]:
    """The same drink of the same coffee, named again."""
    met: dict[tuple[str, str], str] = {}
    problems = []
    for one in recipes:
        key = (one.said["coffee"].strip(), one.said["drink"].strip())
        if key in met:
            problems.append(Problem(f"{one.place}, drink", key[1], f"each once: {met[key]} has it"))
        met.setdefault(key, one.place)
    return problems


def _take(by: User, one: Given, done: Imported) -> None:
    formula, variants = Formula.read(one.formula), _variants(one)
    recipe, note = _recipe(by, one.said), one.said.get("note", "")
    approved = Version.objects.approved().filter(recipe=recipe).first()
    if variants is None:  # it says nothing of them: they stay what they are
        variants = approved.variants if approved else {}
    if approved and _says(approved, formula, variants) and approved.note == note.strip():
        done.unchanged += 1
        return
    done.drafts.append(
        begin(
            by=by, recipe=recipe, based_on=approved, formula=formula, lot=None, note=note,
            variants=variants,
        )
    )  # fmt: skip


def _says(version: Version, formula: Formula, variants: Mapping[int, Formula]) -> bool:
    """Whether a version says just this, whole and to machine types."""
    said = version.variants
    same = said.keys() == variants.keys() and not version.stated.differing(formula)
    return same and not any(said[pk].differing(variants[pk]) for pk in said)


def _variants(one: Given) -> dict[int, Formula] | None:
    """By machine type (id); None where the file has no word of any. Raises Invalid naming each."""
    if "variants" not in one.said:
        return None
    known = {each.name: each.pk for each in MachineType.objects.filter(name__in=one.variants)}
    problems, found = list[Problem](), dict[int, Formula]()
    for name, given in one.variants.items():
        if name not in known:
            problems.append(Problem(f"variants.{name}", name, "the name of a machine type here"))
            continue
        try:
            found[known[name]] = Formula.read(given)
        except Invalid as invalid:
            problems += [
                replace(each, field=f"variants.{name}.{each.field}") for each in invalid.problems
            ]
    if problems:
        raise Invalid.of(problems)
    return found


def _recipe(by: User, said: Any) -> Recipe:  # noqa: ANN401 - as the schema has it
    """The recipe of that name, or a new one, of a new coffee where that is not there either."""
    name, drink = said["coffee"].strip(), said["drink"].strip()
    coffee = Coffee.objects.filter(name=name).first()
    if coffee is None:
        missing = [side for side in ("rest_from", "rest_to") if side not in said]
        if missing:
            allowed = f"days off roast, since the coffee {name} is not there yet"
            raise Invalid.of([Problem(side, None, allowed) for side in missing])
        coffee = add_coffee(by=by, name=name, rest_from=said["rest_from"], rest_to=said["rest_to"])
    found = Recipe.objects.filter(coffee=coffee, drink=drink).first()
    return found or add_recipe(by=by, coffee=coffee, drink=drink)
