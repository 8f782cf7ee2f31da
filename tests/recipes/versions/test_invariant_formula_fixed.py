"""Invariant 1: an approved version's formula never changes, by any way.

The ORM, bulk updates, raw SQL and the API try here; racing requests in test_races.py.
"""

from decimal import Decimal
from functools import partial

import pytest
from django.db import connection

from recipes.coffees.models import Recipe
from recipes.versions.models import FormulaValue, Version
from tests.attacks import refused, sql
from tests.cast import ApiAs, Cast
from tests.recipes.shelf import FORMULA, make_approved, make_draft

NEVER = "never changes"
STATES = ["in_review", "approved", "superseded"]


@pytest.fixture(params=STATES)
def fixed(request: pytest.FixtureRequest, cast: Cast) -> Version:
    """A version whose content must not change any more."""
    if request.param == "superseded":
        older: Version = request.getfixturevalue("approved")
        make_approved(cast, older.recipe)
        older.refresh_from_db()
        return older
    version: Version = request.getfixturevalue(request.param)
    return version


def dose(version: Version) -> FormulaValue:
    return version.formula.get(code="dose_mass")


def test_by_the_orm(fixed: Version) -> None:
    row = dose(fixed)
    row.target = Decimal("19.0")
    refused(row.save, NEVER)
    refused(dose(fixed).delete, NEVER)
    more = FormulaValue(version=fixed, code="rise_time", target=Decimal(3))
    refused(more.save, NEVER)
    assert {row.code for row in fixed.formula.all()} == set(FORMULA)


def test_in_bulk(fixed: Version, cast: Cast) -> None:
    rows = FormulaValue.objects.filter(version=fixed)
    refused(lambda: rows.filter(text="").update(target=Decimal(20)), NEVER)
    refused(rows.delete, NEVER)
    more = [FormulaValue(version=fixed, code="rise_time", target=Decimal(3))]
    refused(lambda: FormulaValue.objects.bulk_create(more), NEVER)
    changed = [dose(fixed)]
    changed[0].target = Decimal(20)
    refused(lambda: FormulaValue.objects.bulk_update(changed, ["target"]), NEVER)
    draft = make_draft(cast, fixed.recipe)
    # Rows smuggled in from a draft, or out into one.
    smuggled = draft.formula.filter(code="dose_mass")
    refused(lambda: smuggled.update(version=fixed, code="rise_time"), NEVER)
    FormulaValue.objects.filter(version=draft, code="dose_mass").delete()
    refused(lambda: rows.filter(code="dose_mass").update(version=draft), NEVER)


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE recipes_formulavalue SET target = 20 WHERE text = '' AND version_id = %s",
        "DELETE FROM recipes_formulavalue WHERE version_id = %s",
        "INSERT INTO recipes_formulavalue (version_id, code, text) VALUES (%s, 'basket', 'wide')",
        "UPDATE recipes_version SET note = 'other' WHERE id = %s",
        "UPDATE recipes_version SET content_digest = repeat('0', 64) WHERE id = %s",
        "DELETE FROM recipes_version WHERE id = %s",
    ],
)
def test_by_raw_sql(approved: Version, statement: str) -> None:
    refused(sql(statement, approved.pk), "never|only a draft|keeps|digest")
    # Not even by a session that asks our triggers to look away.
    ignoring = (
        "SELECT set_config('pgtrigger.ignore', '{recipes_formulavalue:a_guard_update}', true)"
    )
    with connection.cursor() as cursor:
        cursor.execute(ignoring)
    refused(sql(statement, approved.pk), "never|keeps|digest")


def test_emptying_the_table(approved: Version) -> None:
    sql("SET CONSTRAINTS ALL IMMEDIATE")()
    refused(sql("TRUNCATE recipes_formulavalue"), "can't be emptied")


def test_by_going_back_to_draft(approved: Version) -> None:
    for state in ("draft", "in_review"):
        back = partial(Version.objects.filter(pk=approved.pk).update, state=state)
        refused(back, "cannot go")


def test_identity_and_names_stay(approved: Version, cast: Cast) -> None:
    recipe: Recipe = approved.recipe
    refused(lambda: Version.objects.filter(pk=approved.pk).update(number=9), "keeps its recipe")
    refused(sql("UPDATE recipes_recipe SET drink = 'x' WHERE id = %s", recipe.pk), "stays as it")
    refused(sql("UPDATE recipes_coffee SET name = 'x' WHERE id = %s", recipe.coffee_id), "stays as")


def test_by_the_api(approved: Version, cast: Cast, api_as: ApiAs) -> None:
    client = api_as(cast.head_roaster)
    url = f"/api/v1/versions/{approved.pk}/formula/"
    read = client.get(url)
    body = {**read.json(), "note": "other"}
    answer = client.put(url, body, headers={"If-Match": read["ETag"]})
    assert answer.status_code == 409
    assert "only a version that is draft can be edited" in answer.json()["detail"]
