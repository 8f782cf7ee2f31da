"""What a field of choices can hold is a check of the database too."""

from typing import Any

import pytest
from django.apps import apps
from django.db import models
from django.db.models import CheckConstraint, Lookup, Q

OURS = ("audit", "people", "recipes", "stations", "web")
Values = set[Any] | None  # None: anything


def allowed(condition: Any, name: str) -> Values:  # noqa: ANN401 - a Q, or a leaf of one
    """The values that a condition leaves the field; None where it does not speak of it."""
    if isinstance(condition, Lookup):
        return None  # a calculation says nothing of choices
    if not isinstance(condition, Q):
        field, value = condition
        return {f"{name}__in": set, name: lambda one: {one}}.get(field, lambda _: None)(value)
    if condition.negated:
        return None
    parts = [allowed(child, name) for child in condition.children]
    if condition.connector == Q.OR:
        return None if None in parts else set().union(*[part for part in parts if part])
    bounded = [part for part in parts if part is not None]
    return set.intersection(*bounded) if bounded else None


def fields() -> list["models.Field[Any, Any]"]:
    """Every field of ours that names its choices."""
    every = [model for label in OURS for model in apps.get_app_config(label).get_models()]
    return [f for model in every for f in model._meta.local_fields if f.choices]


@pytest.mark.parametrize("field", fields(), ids=str)
def test_the_database_knows_the_choices(field: "models.Field[Any, Any]") -> None:
    checks = [c for c in field.model._meta.constraints if isinstance(c, CheckConstraint)]
    found = [allowed(check.condition, field.name) for check in checks]
    choices = {value for value, _ in field.flatchoices}
    nothing = {None, ""} if field.blank else {None}
    assert choices in [values and values - nothing for values in found], found
