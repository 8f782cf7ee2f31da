"""Invariant 1 for variants: once a version was submitted no variant of it changes, by any way.

The ORM, bulk updates and raw SQL try here; the API and racing requests beside.
"""

from decimal import Decimal

import pytest
from django.db import connection

from audit.errors import Invalid, Refused, Stale
from recipes.variants.actions import remove_variant, set_variant
from recipes.variants.models import VariantValue
from recipes.versions.models import Version
from stations.machine_types.models import MachineType
from tests.attacks import refused, sql
from tests.bar import PLAIN, machine_type
from tests.cast import Cast
from tests.recipes.shelf import FORMULA, make_draft, number
from tests.recipes.variants.conftest import FLAT, STAGED, add_variant, sent_for_review, signed

NEVER = "never changes"


@pytest.fixture(params=["in_review", "approved", "superseded"])
def fixed(request: pytest.FixtureRequest, cast: Cast, varied: Version) -> Version:
    """A version with a variant that must not change any more."""
    if request.param == "in_review":
        return sent_for_review(cast, varied)
    version = signed(cast, varied)
    if request.param == "superseded":
        signed(cast, make_draft(cast, version.recipe, STAGED))
        version.refresh_from_db()
    return version


def one(version: Version) -> VariantValue:
    return version.variant_values.get(code="beverage_mass")


def test_by_the_orm(fixed: Version, plain: MachineType) -> None:
    row = one(fixed)
    row.target = Decimal("19.0")
    refused(row.save, NEVER)
    refused(one(fixed).delete, NEVER)
    more = {"code": "rise_time", "target": Decimal(3)}
    refused(VariantValue(version=fixed, machine_type=plain, **more).save, NEVER)
    other = machine_type("Other", PLAIN)
    refused(VariantValue(version=fixed, machine_type=other, **more).save, NEVER)
    assert set(fixed.variants[plain.pk]) == set(FLAT)


def test_in_bulk(fixed: Version, plain: MachineType, cast: Cast) -> None:
    rows = VariantValue.objects.filter(version=fixed)
    refused(lambda: rows.filter(text="").update(target=Decimal(20)), NEVER)
    refused(lambda: rows.update(machine_type=machine_type("Other", PLAIN)), NEVER)
    refused(rows.delete, NEVER)
    changed = [one(fixed)]
    changed[0].target = Decimal(20)
    refused(lambda: VariantValue.objects.bulk_update(changed, ["target"]), NEVER)
    # Rows smuggled in from a draft, or out into one.
    draft = add_variant(cast, make_draft(cast, fixed.recipe), plain)
    smuggled = draft.variant_values.filter(code="dose_mass")
    refused(lambda: smuggled.update(version=fixed, code="rise_time"), NEVER)
    refused(lambda: rows.filter(code="shot_time").update(version=draft, code="rise_time"), NEVER)


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE recipes_variantvalue SET target = 20 WHERE text = '' AND version_id = %s",
        "DELETE FROM recipes_variantvalue WHERE version_id = %s",
        "INSERT INTO recipes_variantvalue (version_id, machine_type_id, code, text) SELECT %s, id,"
        " 'basket', 'wide' FROM stations_machinetype",
    ],
)
def test_by_raw_sql(fixed: Version, statement: str) -> None:
    refused(sql(statement, fixed.pk), NEVER)
    ignoring = (
        "SELECT set_config('pgtrigger.ignore', '{recipes_variantvalue:a_guard_update}', true)"
    )
    with connection.cursor() as cursor:
        cursor.execute(ignoring)
    refused(sql(statement, fixed.pk), NEVER)


def test_emptying_the_table(fixed: Version) -> None:
    sql("SET CONSTRAINTS ALL IMMEDIATE")()
    refused(sql("TRUNCATE recipes_variantvalue"), "can't be emptied")


def test_its_machine_type_is_not_removed(varied: Version, plain: MachineType) -> None:
    sql("SET CONSTRAINTS ALL IMMEDIATE")()
    refused(sql("DELETE FROM stations_machinetype WHERE id = %s", plain.pk), "foreign key|refer")


def test_by_the_actions(fixed: Version, plain: MachineType, cast: Cast) -> None:
    by, revision = cast.head_roaster, fixed.revision
    with pytest.raises(Refused, match="only a version that is draft"):
        set_variant(by=by, version=fixed, machine_type=plain, revision=revision, values=FORMULA)
    with pytest.raises(Refused, match="only a version that is draft"):
        remove_variant(by=by, version=fixed, machine_type=plain, revision=revision)


def test_who_edits_one_is_the_last_editor_and_signs_nothing(
    varied: Version, plain: MachineType, cast: Cast
) -> None:
    now = Version.objects.get(pk=varied.pk)
    set_variant(
        by=cast.second_roaster, version=now, machine_type=plain, revision=now.revision,
        values=FLAT | {"beverage_mass": number("35", "3", "3")},
    )  # fmt: skip
    with pytest.raises(Refused, match="Nobody approves what they"):
        signed(cast, varied)


def test_of_two_who_edit_at_once_one_is_told(
    varied: Version, plain: MachineType, cast: Cast
) -> None:
    seen = Version.objects.get(pk=varied.pk).revision
    add_variant(cast, varied, plain, FLAT | {"beverage_mass": number("35", "3", "3")})
    with pytest.raises(Stale):
        set_variant(
            by=cast.head_roaster, version=varied, machine_type=plain, revision=seen, values=FLAT
        )


def test_what_cannot_be_is_refused_also_in_a_variant(
    varied: Version, plain: MachineType, cast: Cast
) -> None:
    add_variant(cast, varied, plain, FLAT | {"beverage_mass": number("100")})
    with pytest.raises(Invalid) as told:
        sent_for_review(cast, varied)
    assert f"variant_{plain.pk}_beverage_mass" in {each.field for each in told.value.problems}
    submitted = Version.objects.filter(pk=varied.pk)
    refused(lambda: submitted.update(state="in_review", content_digest="0" * 64), "No cup can be")


def test_a_variant_that_lacks_something_or_says_nothing_new_is_refused(
    varied: Version, plain: MachineType, cast: Cast
) -> None:
    add_variant(cast, varied, plain, STAGED)
    with pytest.raises(Invalid, match="something else than the whole formula"):
        sent_for_review(cast, varied)
    add_variant(
        cast, varied, plain, {"grind_note": FLAT.of("grind_note"), "dose_mass": number("9")}
    )
    with pytest.raises(Invalid) as told:
        sent_for_review(cast, varied)
    assert f"variant_{plain.pk}_ends_by" in {each.field for each in told.value.problems}
    with pytest.raises(Invalid, match="at least one parameter"):
        add_variant(cast, varied, plain, {})
