"""A file of recipes: how it is written, and the JSON Schema that says what it may hold.

Numbers are decimals as text, so that nothing is rounded on the way; units are UCUM codes, and each
is the parameter's own.
"""

from collections.abc import Iterable, Mapping
from typing import Any

from recipes.formula.formula import TEXT, Formula
from recipes.formula.parameters import PARAMETERS, Parameter
from recipes.versions.complete import names_of
from recipes.versions.digest import content_digest
from recipes.versions.drafts import NOTE
from recipes.versions.models import Version

FORMAT = "portaledger-recipes-1"
MOST = 2000  # recipes in one file
VARIANTS = 100  # of one recipe
NUMBER = {"type": "string", "pattern": r"^[0-9]{1,12}(\.[0-9]{1,6})?$"}
SIDES = ("target", "below", "above")


def document(versions: Iterable[Version]) -> dict[str, Any]:
    """These versions as a file; what was altered since it was signed is left out.

    A query, where there are variants, for the names of their machine types.
    """
    intact = [each for each in versions if each.content_digest == content_digest(each)]
    names = names_of({pk for version in intact for pk in version.variants})
    return {"format": FORMAT, "recipes": [entry(version, names) for version in intact]}


def entry(version: Version, names: Mapping[int, str]) -> dict[str, Any]:
    """One recipe as it is approved, with the names of machine types by their ids."""
    recipe, coffee = version.recipe, version.recipe.coffee
    said = {names[pk]: _lines(each) for pk, each in version.variants.items()}
    return {
        "coffee": coffee.name,
        "rest_from": coffee.rest_from,
        "rest_to": coffee.rest_to,
        "drink": recipe.drink,
        "version": version.number,
        "note": version.note,
        "formula": _lines(version.stated),
        # Left out where there is none: readers of such files from before know nothing of it.
        **({"variants": said} if said else {}),
    }


def _lines(formula: Formula) -> dict[str, dict[str, str]]:
    return {
        code: _stated(PARAMETERS[code], stated.columns)
        for code, stated in formula.items()
        if code in PARAMETERS
    }


def _stated(parameter: Parameter, columns: Mapping[str, Any]) -> dict[str, str]:
    if not parameter.is_number:
        return {"text": columns["text"]}
    numbers = {side: f"{columns[side]:f}" for side in SIDES if columns[side] is not None}
    return {**numbers, "unit": parameter.unit}


def schema(address: str) -> dict[str, Any]:
    """The JSON Schema (2020-12) of such a file, published at this address."""
    formula: dict[str, Any] = {
        "type": "object",
        "additionalProperties": False,
        "properties": {code: _of(each) for code, each in PARAMETERS.items()},
    }
    recipe = {
        "type": "object",
        "required": ["coffee", "drink", "formula"],
        "additionalProperties": False,
        "properties": {
            "coffee": {"type": "string", "minLength": 1, "maxLength": 80},
            "rest_from": {**DAYS, "description": "days off roast; needed for a new coffee"},
            "rest_to": {**DAYS, "description": "days off roast; needed for a new coffee"},
            "drink": {"type": "string", "minLength": 1, "maxLength": 60},
            "version": {"type": "integer", "description": "as exported; an import numbers anew"},
            "note": {"type": "string", "maxLength": NOTE},
            "formula": formula,
            "variants": {
                "type": "object",
                "description": "by the name of a machine type, what machines of it are to do",
                "maxProperties": VARIANTS,
                "additionalProperties": {**formula, "minProperties": 1},
            },
        },
    }
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": address,
        "title": "Recipes of espresso bars",
        "type": "object",
        "required": ["format", "recipes"],
        "additionalProperties": False,
        "properties": {
            "format": {"const": FORMAT},
            "recipes": {"type": "array", "maxItems": MOST, "items": recipe},
        },
    }


DAYS = {"type": "integer", "minimum": 0, "maximum": 365}


def _of(parameter: Parameter) -> dict[str, Any]:
    """What may be said of one parameter."""
    said: dict[str, Any] = {"type": "object", "additionalProperties": False}
    if parameter.choices:
        words = {"enum": [code for code, _ in parameter.choices]}
        return {**said, "required": ["text"], "properties": {"text": words}}
    if not parameter.is_number:
        text = {"type": "string", "maxLength": TEXT}
        return {**said, "required": ["text"], "properties": {"text": text}}
    numbers: dict[str, Any] = dict.fromkeys(SIDES, NUMBER)
    unit = {"const": parameter.unit, "description": "UCUM"}
    return {
        **said, "description": parameter.label, "required": ["target", "unit"],
        "properties": {**numbers, "unit": unit},
    }  # fmt: skip
